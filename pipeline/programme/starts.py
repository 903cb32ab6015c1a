"""What stands between a choice and its first day: releases, seals made already, water not modelled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from pipeline.core import contract
from pipeline.programme.words import NOT_TOLD

Row = dict[str, Any]


def made_ends(tables: Mapping[str, Any]) -> frozenset[str]:
    """Ends that are sealed by record and wait for acceptance."""
    designs = tables["designs"]
    made = [_is_true(v) for v in designs["is_made"]]
    return frozenset(str(e) for e in designs.loc[made, "end_id"])


def with_starts(choices: Sequence[Row], tables: Mapping[str, Any], packages: Any) -> list[Row]:
    """Choices whose reasons name what must happen first.

    Parameters
    ----------
    choices : sequence of dict
        Rows of `choices`.
    tables : mapping of DataFrame
        designs, reach.
    packages : sequence of dict
        Rows of `packages`.

    Returns
    -------
    list of dict
        A chosen package says how many of its ends may not be started before a release, and how
        many are sealed and wait for acceptance. Where no gain can be told, water that nobody
        modelled is named: that is not the same as dry.

    """
    designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
    ends_of = {str(p["package_id"]): str(p["end_ids"]).split(";") for p in packages}
    reach = tables["reach"]
    dark = set(reach.loc[reach["level_class"] == contract.NO_FLOOD, "building_id"].dropna())
    out = []
    for choice in choices:
        row = dict(choice)
        if row.get("is_chosen"):
            ends = [designs[e] for e in ends_of.get(str(row["package_id"]), ()) if e in designs]
            row["reason"] = "; ".join([str(row["reason"]), *_before(ends)])
        said = row.get("left_out_reason")
        if isinstance(said, str) and said.startswith(NOT_TOLD) and row["building_id"] in dark:
            row["left_out_reason"] = (
                f"{NOT_TOLD}the flood is not modelled at openings of it, which is not the same as "
                f"dry; {said.removeprefix(NOT_TOLD)}"
            )
        out.append(row)
    return out


def _before(ends: Sequence[Row]) -> list[str]:
    words = []
    made = [d for d in ends if _is_true(d.get("is_made"))]
    wait = [d for d in ends if d["hold_reach"] == contract.HOLD_WORK and d not in made]
    if wait:
        names = ", ".join(str(d["end_id"]) for d in wait)
        words.append(
            f"{len(wait)} of its ends may not be started before a release: {names}"
            if len(wait) > 1
            else f"one of its ends may not be started before a release: {names}"
        )
    if made and len(made) < len(ends):  # all of them: the reason begins with it
        words.append(f"{len(made)} of its ends are sealed and wait for acceptance")
    return words


def _is_true(value: Any) -> bool:
    return value is not None and not pd.isna(value) and bool(value)

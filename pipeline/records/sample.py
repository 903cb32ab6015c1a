"""Which made ends to look at: drawn at random, hard ends with more weight, the same every time."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pipeline.core.record_sheets import given
from pipeline.core.settings import Settings
from pipeline.tables import Tables

Row = dict[str, Any]
_WIDE_MM: Final = 150.0
_MANY_CABLES: Final = 3


def draw(weights: Mapping[str, float], count: int, seed: int) -> set[str]:
    """Draw things without replacement, the chance growing with the weight.

    Parameters
    ----------
    weights : mapping
        Id -> weight above zero.
    count : int
        How many to draw; all where there are no more.
    seed : int
        Another seed draws another sample.

    Returns
    -------
    set of str

    Notes
    -----
    Each id gets the key u ** (1 / weight), u uniform in (0, 1) from SHA-256 of seed and id; the
    greatest keys are drawn. The order of the ids never matters, and neither does any clock.

    References
    ----------
    Efraimidis and Spirakis, Weighted random sampling with a reservoir, Information Processing
    Letters 97 (2006): 181-185 (algorithm A; from memory).
    """
    keys = {i: math.log(_uniform(i, seed)) / weights[i] for i in weights}
    return set(sorted(keys, key=lambda i: (-keys[i], i))[:count])


def _uniform(name: str, seed: int) -> float:
    digest = hashlib.sha256(f"{seed}/{name}".encode()).digest()
    return (int.from_bytes(digest[:8], "big") + 0.5) / 2.0**64


def sample_rows(tables: Tables, settings: Settings) -> list[Row]:
    """Rows of `inspection_sample`: every made end that nobody has looked at, drawn or not.

    Parameters
    ----------
    tables : Tables
        sealed_ends, installs, designs, ends, cables, entries.
    settings : Settings
        [records]: share and seed. The share is taken region by region and rounded up.

    Returns
    -------
    list of dict
    """
    policy = settings.records
    if policy is None:
        return []
    waiting = [
        s
        for s in tables["sealed_ends"].to_dict("records")
        if bool(s["is_made"]) and not given(s, "inspected_on")
    ]
    look = _Look(tables)
    reasons = {str(s["end_id"]): look.reasons(s) for s in waiting}
    by_region: dict[str, dict[str, float]] = {}
    for end, points in reasons.items():
        weight = 1.0 + sum(n for _, n in points)
        by_region.setdefault(look.of(end, "region"), {})[end] = weight
    drawn: set[str] = set()
    for weights in by_region.values():
        drawn |= draw(weights, math.ceil(policy.sample_frac * len(weights)), policy.sample_seed)
    return [
        {
            "end_id": s["end_id"],
            "building_id": look.of(str(s["end_id"]), "building_id") or None,
            "site_id": look.of(str(s["end_id"]), "site_id") or None,
            "sealed_on": s["sealed_on"],
            "look_by": s["next_due_on"],
            "weight_count": by_region[look.of(str(s["end_id"]), "region")][str(s["end_id"])],
            "is_drawn": str(s["end_id"]) in drawn,
            "reasons": "; ".join(words for words, _ in reasons[str(s["end_id"])])
            or "an easy end: easy ones are looked at too",
        }
        for s in waiting
    ]


class _Look:
    """What makes an end hard to seal."""

    def __init__(self, tables: Tables) -> None:
        self._designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
        self._ends = {str(e["end_id"]): e for e in tables["ends"].to_dict("records")}
        self._installs = {str(r["install_id"]): r for r in tables["installs"].to_dict("records")}
        self._entries = {str(e["entry_id"]): e for e in tables["entries"].to_dict("records")}
        self._cables: dict[str, list[Row]] = {}
        for cable in tables["cables"].to_dict("records"):
            self._cables.setdefault(str(cable["end_id"]), []).append(cable)

    def of(self, end_id: str, name: str) -> str:
        """A text of the end's design row."""
        return given(self._designs.get(end_id, {}), name)

    def reasons(self, sealed: Row) -> list[tuple[str, float]]:
        """Words and points of each thing that makes the end hard, or its record doubtful."""
        end_id = str(sealed["end_id"])
        end = self._ends.get(end_id, {})
        install = self._installs.get(str(sealed["install_id"]), {})
        cables = self._cables.get(end_id, [])
        count = sum(0 if pd.isna(c["cable_count"]) else int(c["cable_count"]) for c in cables)
        bore = end.get("bore_mm")
        gap = given(self._entries.get(given(end, "place_id"), {}), "gap_around_duct")
        tests = (
            (count >= _MANY_CABLES, f"{count} cables", 2),
            (
                any(given(c, "arrangement") in ("trefoil", "bundle") for c in cables),
                "cables in groups",
                2,
            ),
            (bore is not None and not pd.isna(bore) and bore >= _WIDE_MM, "wide bore", 1),
            (
                given(end, "lie").startswith(("floor", "roof")),
                "mouth in a floor or roof: sealant may slump",
                2,
            ),
            (given(install, "surface") in ("damp", "wet"), "sealed damp or wet", 3),
            (given(install, "old_seal_removed") == "yes", "an old seal was taken out", 1),
            (given(install, "found_as_drawn") == "no", "not as drawn", 3),
            (bool(given(install, "deviation")), "done otherwise than drawn", 2),
            (bool(sealed["is_time_doubtful"]), "times of several ends are equal", 3),
            (
                pd.isna(sealed["least_mm"]) or sealed["least_mm"] < sealed["need_mm"],
                "depth at the lower limit, or not known",
                3,
            ),
            (gap in ("crack", "weeping", "open"), f"gap beside the duct: {gap}", 2),
            (bool(self.of(end_id, "lifted_codes")), "a hold was lifted for it", 1),
        )
        return [(words, float(points)) for is_so, words, points in tests if is_so]

"""Which close openings are worth another survey, and how far each site's levels decide its classes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.doubts import usual_u_m
from pipeline.core.money import about, minor
from pipeline.core.settings import Settings
from pipeline.programme.costs import CostBook
from pipeline.programme.survey_value import Line, chance_of_above, shifted_classes

METHOD: Final = "GNSS of a point, twice, and a dip"
SHIFTS_MM: Final = (-200, -100, -50, 50, 100, 200)
_STEPS: Final = ("GNSS network", "dip")
# house rule: 'no survey can help' only where the chance is this small
_NO_HELP: Final = 0.01
_IN_CHAMBER: Final = "chamber end"
_NEAR: Final = "nearest water:"


def resurvey_rows(
    tables: Mapping[str, Any], settings: Settings, book: CostBook
) -> list[dict[str, Any]]:
    """One row for each opening into a building that is too close to call.

    Parameters
    ----------
    tables : mapping of DataFrame
        reach, reach_sources, designs.
    settings : Settings
        `crews.survey_visit_cost`: without it the advice names the value alone.
    book : CostBook

    Returns
    -------
    list of dict

    Notes
    -----
    Value of a visit = sum over the close openings of its site of the chance that a better survey
    gives `above`, times the cost of the seal that it would save. A link that is not proved is not
    settled by levels: its chance is 0. One that is held by water nearby has no chance given.
    """
    reach = tables["reach"]
    close = reach[(reach["level_class"] == contract.CLOSE) & (reach["opening_kind"] != _IN_CHAMBER)]
    chances = _chances(close, tables["reach_sources"], settings.flood.k)
    saved = _saved(tables["designs"], book)
    currency = settings.programme.currency
    cost = settings.crews.survey_visit_cost
    visit = None if cost is None else minor(cost, currency)
    rows = []
    for site, openings in close.groupby(close["site_id"].fillna(""), sort=True):
        known = [chances.get(str(o), math.nan) for o in openings["opening_id"]]
        costs = [saved.get(str(o), 0) for o in openings["opening_id"]]
        value = sum(round(c * s) for c, s in zip(known, costs, strict=True) if not math.isnan(c))
        words = _advice(value, visit, known, currency)
        for opening, chance, minor_units in zip(openings["opening_id"], known, costs, strict=True):
            rows.append(
                {
                    "opening_id": opening,
                    "site_id": site or None,
                    "method": METHOD,
                    "chance_above_frac": chance,
                    "saved_minor": minor_units,
                    "site_value_minor": value,
                    "visit_minor": visit,
                    "advice": words,
                }
            )
    return rows


def _chances(close: pd.DataFrame, sources: pd.DataFrame, k: float) -> dict[str, float]:
    """Chance of `above` over all sources of an opening: the source that is hardest to clear."""
    own = close.set_index("opening_id")
    ways = sources[
        sources["opening_id"].isin(own.index)
        & sources["water_level_m"].notna()
        & sources["control_level_m"].notna()
    ]
    chance = chance_of_above(
        ways["control_level_m"],
        ways["control_u_m"].fillna(0.0),
        Line(
            policy_m=ways["policy_level_m"],
            water_m=ways["water_level_m"],
            water_u_m=ways["water_u_m"],
            freeboard_m=ways["opening_id"].map(own["freeboard_m"]).astype(float),
        ),
        new_u_m=math.hypot(*(usual_u_m(s) for s in _STEPS)),
        k=k,
    )
    out = pd.Series(chance, index=ways.index).groupby(ways["opening_id"]).min().to_dict()
    for opening, is_proved, reason in zip(
        own.index, own["is_proved_way"], own["reason"], strict=True
    ):
        if not bool(is_proved):
            out[opening] = 0.0
        elif _NEAR in str(reason):
            out[opening] = math.nan  # held by the water nearby, not by the margin of a way
    return {str(o): float(c) for o, c in out.items()}


def _saved(designs: pd.DataFrame, book: CostBook) -> dict[str, int]:
    """What the seal of each end adds to a visit that takes place anyway (minor units)."""
    none = book.of([]).cost_minor
    wanted = designs[designs["is_needed"].astype(bool) & designs["is_designed"].astype(bool)]
    return {str(e): max(0, book.of([str(e)]).cost_minor - none) for e in wanted["end_id"]}


def _advice(value: int, visit: int | None, chances: list[float], currency: str) -> str:
    known = [c for c in chances if not math.isnan(c)]
    if not known:
        return "not known what a survey of levels would give"
    if max(known) < _NO_HELP and len(known) == len(chances):
        return "seal: no survey of levels can help (chance of above under 1 %)"
    worth = f"a visit would save {about(value, currency)} on average"
    if visit is None:
        return f"{worth}; the cost of a visit is not stated"
    if value > visit:
        return f"survey again: {worth}, it costs {about(visit, currency)}"
    return f"seal: {worth}, and costs {about(visit, currency)}"


def site_shift_rows(tables: Mapping[str, Any], k: float) -> list[dict[str, Any]]:
    """How many openings of each site change class if all of its levels were wrong by one amount.

    Parameters
    ----------
    tables : mapping of DataFrame
        reach, reach_sources.
    k : float
        One-sided limit in standard deviations.

    Returns
    -------
    list of dict
        One row per site and shift.
    """
    reach = tables["reach"]
    walls = reach[(reach["opening_kind"] != _IN_CHAMBER) & reach["site_id"].notna()]
    ways = {str(o): g for o, g in tables["reach_sources"].groupby("opening_id")}
    rows = []
    for site, openings in walls.groupby("site_id", sort=True):
        ids = [str(o) for o in openings["opening_id"]]
        parts = [(i, ways[o]) for i, o in enumerate(ids) if o in ways]
        number = np.concatenate([np.full(len(g), i) for i, g in parts] or [np.zeros(0)])
        frames = [g for _, g in parts]
        margin = np.concatenate([_margins(g) for g in frames] or [np.zeros(0)])
        doubt = np.concatenate(
            [g["control_u_m"].fillna(0.0).to_numpy(float) for g in frames] or [np.zeros(0)]
        )
        now = openings["level_class"].to_numpy(object)
        may = (
            openings["has_pedigree"].astype(bool) & openings["is_proved_way"].astype(bool)
        ).to_numpy()
        for shift in SHIFTS_MM:
            after = shifted_classes(
                number.astype(np.int64), margin, np.ceil(np.round(1000.0 * k * doubt, 6)),
                now=now, may_clear=may, shift_mm=float(shift),
            )  # fmt: skip
            rows.append(
                {
                    "site_id": site,
                    "shift_mm": shift,
                    "openings_count": len(ids),
                    "changed_count": int((after != now).sum()),
                    "below_count": int((after == contract.BELOW).sum()),
                    "close_count": int((after == contract.CLOSE).sum()),
                    "above_count": int((after == contract.ABOVE).sum()),
                }
            )
    return rows


def _margins(ways: pd.DataFrame) -> Any:
    """Margins in mm; -inf where the way is open at any water."""
    margin = ways["margin_mm"].to_numpy(float).copy()
    is_open = ways["control_level_m"].isna() & (ways["chance_per_year"] > 0.0)
    margin[is_open.to_numpy()] = -np.inf
    return margin

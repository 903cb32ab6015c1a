"""Checks of flood rows: level or depth, rare and rarer, climate, datum, freeboard, age."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.intake.checks.heights import Heights, whole_mm
from pipeline.intake.checks.view import Check, Hit, Survey, by, is_missing, names, number_text
from pipeline.intake.context import Checked

_DEEPEST_M: Final = 5.0  # a flood deeper than this is no likely depth (house rule)
_WELL_BELOW_M: Final = 3.0  # a number this far below the ground reads as a depth (house rule)
_OUTSIDE: Final = ("river", "sea", "surface water")
_SAME_CHANCE_FRAC: Final = 1e-6


def levels_m(frame: pd.DataFrame) -> pd.Series:
    """Water levels of flood rows (m): the value, or the model's ground plus the depth."""
    deep = frame["ground_m"] + frame["value_m"]
    is_depth = frame["value_is"] == "depth above ground"
    return deep.where(is_depth, frame["value_m"])


def _ground_m(view: Survey, heights: Heights, hit: Hit) -> float:
    """Ground of the place of a flood row: its own, else covers and floors there; NaN unknown."""
    own = hit.row["ground_m"]
    if not is_missing(own):
        return float(own)
    place = view.place_of(hit)
    for known in (heights.cover, heights.floor):
        if place in known and not np.isnan(known[place]):
            return known[place]
    around = heights.of_site(view, view.site_of(hit))
    return around[0] if around else np.nan


def check_depth_or_level(view: Survey) -> Iterator[Checked]:
    """water-02 and water-03: a level that is a depth, or lies below the ground it floods."""
    heights, frame = Heights(view), view.frame("flood_levels")
    sites = view.frame("sites")
    flooded = set(sites.loc[sites["flood_history"] == "yes", "site_id"].dropna())
    mask = (frame["value_is"] != "depth above ground") & frame["value_m"].notna()
    for hit in view.hits("flood_levels", mask):
        value, ground = float(hit.row["value_m"]), _ground_m(view, heights, hit)
        if np.isnan(ground) or value >= ground:
            continue
        fill = {"value": number_text(value), "w": number_text(value)}
        fill |= {"ground": number_text(ground), "g": number_text(ground)}
        if 0.0 <= value <= _DEEPEST_M and value < ground - _WELL_BELOW_M:
            yield from view.say("water-02", [hit], "value_m", fill=fill, values=("value_m",))
            continue
        is_told_wet = not is_missing(hit.row["ground_m"]) or view.site_of(hit) in flooded
        if hit.row["source"] in _OUTSIDE and is_told_wet:
            yield from view.say("water-03", [hit], "value_m", fill=fill)


def check_rarer_is_lower(view: Survey) -> Iterator[Checked]:
    """water-04: within one source, climate and defence state a rarer event is lower."""
    frame = view.frame("flood_levels")
    level = levels_m(frame)
    hits = view.hits("flood_levels", level.notna() & frame["aep_per_year"].notna())
    same = (
        "applies_to",
        "source",
        "kind",
        "issued",
        "climate",
        "climate_name",
        "defences",
        "datum",
    )
    for group in by(hits, lambda h: tuple(h.row[c] for c in same)):
        pairs = _quarrels(group, level)
        if not pairs:
            continue
        rare, frequent = pairs[0]
        rows = list({h.index: h for pair in pairs for h in pair}.values())
        fill = {
            "site": rare.row["applies_to"] or "a place not named",
            "a": _event(rare),
            "x": number_text(float(level.loc[rare.index])),
            "b": _event(frequent),
            "y": number_text(float(level.loc[frequent.index])),
        }
        yield from view.say("water-04", rows, "value_m", fill=fill, values=("value_m",))


def _quarrels(group: list[Hit], level: pd.Series) -> list[tuple[Hit, Hit]]:
    """Pairs of a rarer event and a more frequent one that stands higher."""
    rare_first = sorted(group, key=lambda h: (h.row["aep_per_year"], h.index))
    return [
        (rare, frequent)
        for i, rare in enumerate(rare_first)
        for frequent in rare_first[i + 1 :]
        if rare.row["aep_per_year"] < frequent.row["aep_per_year"]
        and whole_mm(level.loc[rare.index]) < whole_mm(level.loc[frequent.index])
    ]


def _event(hit: Hit) -> str:
    return str(hit.row["event"] or f"{number_text(100.0 * hit.row['aep_per_year'])} %")


def _report(hit: Hit) -> tuple[Any, ...]:
    """What makes rows parts of one report."""
    return tuple(hit.row[c] for c in ("file", "source", "kind", "issued"))


def check_climate(view: Survey) -> Iterator[Checked]:
    """water-05: it is not known whether a level holds a climate allowance."""
    hits = view.hits("flood_levels", view.frame("flood_levels")["climate"] == "unknown")
    for group in by(hits, _report):
        fill = {"value": _values(group)}
        yield from view.say("water-05", group, "climate", fill=fill)


def check_datum(view: Survey) -> Iterator[Checked]:
    """water-06: no height system on the row.

    That of the survey's first sheet does not stand for it: a report has its own.
    """
    hits = [
        h
        for h in view.hits("flood_levels", view.frame("flood_levels")["value_m"].notna())
        if is_missing(h.row["datum"])
        and not view.context.raw("flood_levels", h.index, "datum").strip()
    ]
    for group in by(hits, _report):
        fill = {"id": names(h.id for h in group)}
        yield from view.say("water-06", group, "datum", fill=fill, values=("value_m",))


def check_freeboard(view: Survey) -> Iterator[Checked]:
    """water-11: a freeboard is inside the level already."""
    hits = view.hits("flood_levels", view.frame("flood_levels")["freeboard_in"] == "yes")
    for group in by(hits, lambda h: (*_report(h), h.row["freeboard_in_m"])):
        inside = group[0].row["freeboard_in_m"]
        fill = {
            "f": "an unstated number of" if is_missing(inside) else number_text(inside),
            "value": _values(group),
        }
        yield from view.say("water-11", group, "freeboard_in", fill=fill)


def _values(group: list[Hit]) -> str:
    known = sorted({float(h.row["value_m"]) for h in group if not is_missing(h.row["value_m"])})
    return ", ".join(number_text(v) for v in known) or "its"


def check_event(view: Survey) -> Iterator[Checked]:
    """water-12: it cannot be read how rare a flood is."""
    frame = view.frame("flood_levels")
    unread = frame["event"].notna() & frame["aep_per_year"].isna() & frame["past_date"].isna()
    for group in by(view.hits("flood_levels", unread), lambda h: (h.row["file"], h.row["event"])):
        yield from view.say("water-12", group, "event", fill={"raw": group[0].row["event"]})


def check_age(view: Survey) -> Iterator[Checked]:
    """water-15: a model older than the settings allow, where they name a limit."""
    years = view.settings.flood.model_age_years
    if years is None:
        return
    limit = view.settings.planning_date.year - int(years)
    issued = view.frame("flood_levels")["issued"].map(_year_of).astype("float64")
    for group in by(view.hits("flood_levels", issued < limit), _report):
        fill = {"year": number_text(float(issued.loc[group[0].index]), 0), "limit": limit}
        yield from view.say("water-15", group, "issued", fill=fill)


def _year_of(date: Any) -> float:
    text = "" if is_missing(date) else str(date)[:4]
    return float(text) if text.isdigit() else np.nan


def check_past_flood(view: Survey) -> Iterator[Checked]:
    """water-16: a past flood stood higher than the design level of the survey."""
    frame = view.frame("flood_levels")
    level = levels_m(frame)
    aep = view.settings.flood.design_aep
    near = (frame["aep_per_year"] - aep).abs() <= _SAME_CHANCE_FRAC * aep
    design: dict[tuple[str, Any], list[float]] = {}
    for hit in view.hits("flood_levels", near & level.notna()):
        key = (view.site_of(hit), hit.row["datum"])
        design.setdefault(key, []).append(float(level.loc[hit.index]))
    past = frame["past_date"].notna() | (frame["source"] == "past flood")
    for hit in view.hits("flood_levels", past & level.notna()):
        stated = design.get((view.site_of(hit), hit.row["datum"]))
        if not stated or not view.site_of(hit):
            continue
        if whole_mm(level.loc[hit.index]) > whole_mm(max(stated)):
            fill = {
                "date": hit.row["past_date"] or "a past flood",
                "x": number_text(float(level.loc[hit.index])),
                "y": number_text(max(stated)),
            }
            yield from view.say("water-16", [hit], "value_m", fill=fill)


CHECKS: Final = (
    Check(check_depth_or_level, ("water-02", "water-03")),
    Check(check_rarer_is_lower, ("water-04",)),
    Check(check_climate, ("water-05",)),
    Check(check_datum, ("water-06",)),
    Check(check_freeboard, ("water-11",)),
    Check(check_event, ("water-12",)),
    Check(check_age, ("water-15",), needs_settings=True),
    Check(check_past_flood, ("water-16",), needs_settings=True),
)

"""Checks of level points: units, marks, closures, doubts that are blank."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from pipeline.core.doubts import usual_u_m
from pipeline.core.units import M_PER_FT
from pipeline.intake.checks.view import Check, Hit, Survey, by, is_missing, number_text
from pipeline.intake.context import Checked

_MARK_YEARS: Final = 30  # rule level-16
_MM_PER_M: Final = 1000.0
_LIKELY_M: Final = 100.0  # a rescaled level this near to its neighbours is the likelier reading
_PLAIN_MM: Final = 5000.0  # survey definition: no level in metres is higher
_CLOSURE_MM: Final = 10.0  # rule level-24, common practice, no source
_FEET_NEAR_M: Final = 15.0  # rule level-25's reach: a level belongs within 15 m of the ground
_FEET_FAR_M: Final = 30.0
_MANY_COUNT: Final = 10
_ROUND_SHARE: Final = 0.9  # rule level-26


def check_millimetres(view: Survey) -> Iterator[Checked]:
    """level-05: a level a thousand times too big or too small."""
    frame = view.frame("points")
    near = _neighbours(view)
    for hit in view.hits("points", frame["level_m"].notna()):
        value = float(hit.row["level_m"])
        guess = _rescaled(value, near.get(str(hit.row["site_id"])) or near[""], hit.id)
        if guess is not None:
            fill = {"id": hit.id, "value": number_text(value), "guess": number_text(guess)}
            yield from view.say("level-05", [hit], "level_m", fill=fill, values=("level_m",))


def _neighbours(view: Survey) -> dict[str, dict[str, float]]:
    """Levels of points by site, and all under ''."""
    frame = view.frame("points")
    out: dict[str, dict[str, float]] = {"": {}}
    columns = zip(frame["site_id"], frame["point_id"], frame["level_m"], strict=True)
    for site, point, level in columns:
        if not np.isnan(level):
            out.setdefault(str(site), {})[point] = float(level)
            out[""][point] = float(level)
    return out


def _rescaled(value: float, levels: dict[str, float], point: str) -> float | None:
    """The reading a thousand times smaller or bigger, where it fits the neighbours better."""
    others = [v for p, v in levels.items() if p != point]
    if not others:
        return value / _MM_PER_M if abs(value) > _PLAIN_MM else None
    middle = float(np.median(others))
    for guess in (value / _MM_PER_M, value * _MM_PER_M):
        fits = abs(guess - middle) <= _LIKELY_M and abs(value - middle) > 10.0 * abs(guess - middle)
        big = abs(value) >= _MM_PER_M or (0 < abs(value) < 1 and abs(guess) >= 1)
        if fits and big and abs(value - middle) > _FEET_NEAR_M:
            return guess
    return None


def check_old_mark(view: Survey) -> Iterator[Checked]:
    """level-16: a level that starts from an old national mark, not checked since."""
    frame = view.frame("points")
    year = view.settings.planning_date.year
    old = frame["mark_year"].isna() | (frame["mark_year"] < year - _MARK_YEARS)
    mask = (frame["kind"] == "national mark") & old & frame["checked_year"].isna()
    for hit in view.hits("points", mask):
        stated = hit.row["mark_year"]
        fill = {"year": "year not given" if is_missing(stated) else number_text(stated, 0)}
        yield from view.say("level-16", [hit], "checked_year", fill=fill)


def check_doubt_blank(view: Survey) -> Iterator[Checked]:
    """level-20: no accuracy given; the usual figure of the method is used (a note)."""
    frame = view.frame("points")
    level = frame["level_m"].notna() | frame["gnss_h_m"].notna() | frame["rise_m"].notna()
    hits = view.hits("points", level & frame["u_m"].isna())
    for group in by(hits, lambda h: (h.row["file"], h.row["sheet"], h.row["method"])):
        method = group[0].row["method"] or "unknown"
        fill = {"n": len(group), "u": number_text(usual_u_m(method)), "method": method}
        yield from view.say("level-20", group, "u_m", fill=fill)


def check_feet(view: Survey) -> Iterator[Checked]:
    """level-22: the levels of a site that stand by the flood levels there only as feet."""
    water = flood_levels(view)
    frame = view.frame("points")
    for group in by(view.hits("points", frame["level_m"].notna()), lambda h: h.row["site_id"]):
        known = water.get(str(group[0].row["site_id"]), [])
        if not known:
            continue
        middle = float(np.median([h.row["level_m"] for h in group]))
        as_metres, as_feet = (float(np.median(known)) - m for m in (middle, middle * M_PER_FT))
        if abs(as_metres) > _FEET_FAR_M and abs(as_feet) <= _FEET_NEAR_M:
            first = group[0].row["level_m"]
            fill = {
                "n": len(group),
                "site": group[0].row["site_id"],
                "a": number_text(first),
                "b": number_text(first * M_PER_FT),
            }
            yield from view.say("level-22", group, "level_m", fill=fill, values=("level_m",))


def flood_levels(view: Survey) -> dict[str, list[float]]:
    """Flood levels of the survey by site (m)."""
    frame = view.frame("flood_levels")
    out: dict[str, list[float]] = {}
    mask = (frame["value_is"] == "level") & frame["value_m"].notna()
    for hit in view.hits("flood_levels", mask):
        out.setdefault(view.site_of(hit), []).append(float(hit.row["value_m"]))
    out.pop("", None)
    return out


def check_closure(view: Survey) -> Iterator[Checked]:
    """level-24: a levelling run that misses by more than 10 mm x sqrt(km), at least 10 mm."""
    frame = view.frame("points")
    usual = np.maximum(_CLOSURE_MM, _CLOSURE_MM * np.sqrt(frame["run_km"].fillna(0.0)))
    for hit in view.hits("points", frame["closure_mm"].abs() > usual):
        run = hit.row["run_km"]
        fill = {
            "from": hit.row["from_point_id"] or "a point not named",
            "c": number_text(abs(hit.row["closure_mm"]), 0),
            "t": number_text(float(usual.loc[hit.index]), 0),
            "km": "an unknown number of" if is_missing(run) else number_text(run, 2),
        }
        yield from view.say("level-24", [hit], "closure_mm", fill=fill)


def check_round_levels(view: Survey) -> Iterator[Checked]:
    """level-26: nine levels in ten are whole or half metres."""
    hits: list[tuple[Hit, str]] = []
    for table in ("entries", "ends"):
        for column in ("level_m", "invert_level_m"):
            hits += [(h, column) for h in view.hits(table, view.frame(table)[column].notna())]
    column_of = {(h.table, h.index): c for h, c in hits}
    for group in by([h for h, _ in hits], view.site_of):
        values = [float(h.row[column_of[h.table, h.index]]) for h in group]
        round_share = float(np.mean([float(2.0 * v).is_integer() for v in values]))
        if len(values) >= _MANY_COUNT and round_share >= _ROUND_SHARE:
            column = column_of[group[0].table, group[0].index]
            fill = {
                "site": view.site_of(group[0]) or "a site not known",
                "u": number_text(usual_u_m("drawing")),
            }
            yield from view.say("level-26", group, column, fill=fill)


CHECKS: Final = (
    Check(check_millimetres, ("level-05",)),
    Check(check_old_mark, ("level-16",), needs_settings=True),
    Check(check_doubt_blank, ("level-20",)),
    Check(check_feet, ("level-22",)),
    Check(check_closure, ("level-24",)),
    Check(check_round_levels, ("level-26",)),
)

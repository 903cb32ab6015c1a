"""Checks of satellite heights: observed once, no separation, a wrong one, or taken for a level."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pipeline.core.contract import STOP
from pipeline.core.doubts import usual_u_m
from pipeline.core.units import FloatArray
from pipeline.intake.checks.geoid import separation_m
from pipeline.intake.checks.points import flood_levels
from pipeline.intake.checks.view import Check, Hit, Survey, by, names, number_text
from pipeline.intake.context import Checked

_SEPARATION_ASK_M: Final = 1.0  # rule level-19
_SEPARATION_STOP_M: Final = 5.0
_LIKE_ELLIPSOID_M: Final = 2.0  # rule level-04
# Where the geoid is nearer to the ellipsoid than this, hills look like the separation (house rule).
_TELLING_M: Final = 10.0
_GNSS: Final = ("GNSS network", "GNSS base and rover")


def check_one_occupation(view: Survey) -> Iterator[Checked]:
    """level-17: satellite heights that were observed once."""
    frame = view.frame("visits")
    mask = frame["instrument"].isin(_GNSS) & (frame["occupations_count"] == 1)
    points = view.frame("points")
    for hit in view.hits("visits", mask):
        used = points.loc[(points["visit_id"] == hit.id) & points["method"].isin(_GNSS)]
        what = names(used["point_id"]) or f"site {hit.row['site_id']}"
        fill = {"id": what, "u": number_text(usual_u_m("GNSS network once"))}
        yield from view.say("level-17", [hit], "occupations_count", fill=fill)


def check_satellite_height(view: Survey) -> Iterator[Checked]:
    """level-18: a height above the ellipsoid, and nothing to turn it into a level with."""
    frame, visits = view.frame("points"), view.frame("visits")
    model = dict(zip(visits["visit_id"], visits["geoid_model"], strict=True))
    alone = frame["gnss_h_m"].notna() & frame["geoid_sep_m"].isna() & frame["level_m"].isna()
    no_model = ~frame["visit_id"].map(lambda v: bool(model.get(v))).astype(bool)
    for group in by(view.hits("points", alone & no_model), lambda h: h.row["site_id"]):
        fill = {"id": names(h.id for h in group)}
        yield from view.say("level-18", group, "geoid_sep_m", fill=fill)


def check_separation(view: Survey) -> Iterator[Checked]:
    """level-19: a geoid separation that does not fit the place."""
    frame = view.frame("points")
    world = _world_m(view)
    if world is None:
        return
    off = np.abs(frame["geoid_sep_m"].to_numpy() - world)
    at = dict(zip(frame.index, range(len(frame)), strict=True))
    hits = view.hits("points", off > _SEPARATION_ASK_M)
    for group in by(hits, lambda h: (h.row["site_id"], off[at[h.index]] > _SEPARATION_STOP_M)):
        first = at[group[0].index]
        is_stop = bool(off[first] > _SEPARATION_STOP_M)
        fill = {
            "id": names(h.id for h in group),
            "n": number_text(group[0].row["geoid_sep_m"]),
            "world": number_text(float(world[first]), 1),
        }
        stop = ("geoid_sep_m",) if is_stop else ()
        weight = STOP if is_stop else None
        yield from view.say("level-19", group, "geoid_sep_m", fill=fill, values=stop, weight=weight)


def _world_m(view: Survey) -> FloatArray | None:
    """World geoid at the site of each level point (m); None where no grid is installed."""
    frame = view.frame("points")
    sites = view.frame("sites").drop_duplicates("site_id").set_index("site_id")
    x_m = frame["site_id"].map(sites["x_m"]).astype("float64")
    y_m = frame["site_id"].map(sites["y_m"]).astype("float64")
    return separation_m(x_m, y_m, view.settings.reference.working_crs)


def check_ellipsoid(view: Survey) -> Iterator[Checked]:
    """level-04: a level that stands above its neighbours by the geoid separation there."""
    frame = view.frame("points")
    world = _world_m(view)
    known = frame["geoid_sep_m"].groupby(frame["site_id"]).median()
    separation = frame["site_id"].map(known).astype("float64").to_numpy()
    if world is not None:
        separation = np.where(np.isnan(separation), world, separation)
    at = dict(zip(frame.index, separation, strict=True))
    water = flood_levels(view)
    hits = view.hits("points", frame["level_m"].notna())
    for group in by(hits, lambda h: h.row["site_id"]):
        found = [(h, _like_ellipsoid(h, group, water, at[h.index])) for h in group]
        high = [(h, near) for h, near in found if near is not None]
        if high:
            first, near = high[0]
            fill = {
                "id": names(h.id for h, _ in high),
                "h": number_text(first.row["level_m"]),
                "n": number_text(first.row["level_m"] - near, 1),
                "sep": number_text(at[first.index], 1),
            }
            rows = [h for h, _ in high]
            yield from view.say("level-04", rows, "level_m", fill=fill, values=("level_m",))


def _like_ellipsoid(
    hit: Hit, group: list[Hit], water: dict[str, list[float]], separation: Any
) -> float | None:
    """Level nearby that the height exceeds by the separation; None where it does not."""
    near = [*water.get(str(hit.row["site_id"]), [])]
    near += [float(h.row["level_m"]) for h in group if h.index != hit.index]
    if not near or not abs(separation) >= _TELLING_M:
        return None
    above = [float(hit.row["level_m"]) - level for level in near]
    fits = [abs(a - separation) <= _LIKE_ELLIPSOID_M for a in above]
    return near[fits.index(True)] if any(fits) else None


CHECKS: Final = (
    Check(check_ellipsoid, ("level-04",), needs_settings=True),
    Check(check_one_occupation, ("level-17",)),
    Check(check_satellite_height, ("level-18",)),
    Check(check_separation, ("level-19",), needs_settings=True),
)

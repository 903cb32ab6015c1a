"""Separations at satellite heights that came without one, from the grid that the settings name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from pipeline.core import geo
from pipeline.core.separation import open_separations
from pipeline.core.settings import Settings
from pipeline.intake.positions import Where
from pipeline.intake.rows import Row

_ELLIPSOID: Final = "ellipsoid"
# latitude and longitude for a grid: a metre in plan is far below what a geoid changes in
_DEGREES: Final = "EPSG:4258"


def fill_separations(
    rows: Mapping[str, list[Row]],
    where: Where,
    settings: Settings,
    abouts: Mapping[str, Mapping[str, str]],
) -> None:
    """Give each satellite height without a separation the one of the user's grid at its place.

    Parameters
    ----------
    rows : mapping of sheet to rows
        `level_points` are changed; `sites` have their positions.
    where : Where
    settings : Settings
        Without `[reference.separation]` nothing is filled.
    abouts : mapping

    Notes
    -----
    The place is the point's own, else its site's. Outside the grid, and where neither has a
    place, the cell stays blank and the question for it is asked.
    """
    grid = settings.reference.separation
    if grid is None:
        return
    wanted = [r for r in rows["level_points"] if _lacks_one(r, abouts)]
    if not wanted:
        return
    sites = {r.key: r for r in rows["sites"]}
    places = [_place(row, sites, where) for row in wanted]
    moved = geo.to_working(
        np.array([p[0] for p in places]), np.array([p[1] for p in places]),
        settings.reference.working_crs, _DEGREES,
        max_accuracy_m=settings.reference.max_plan_accuracy_m,
    )  # fmt: skip
    found = open_separations(grid.path).at(moved.x_m, moved.y_m)
    for row, separation, place in zip(wanted, found, places, strict=True):
        if math.isfinite(separation):
            row.values |= {
                "geoid_sep_m": round(float(separation), 4),
                "separation_from": f"{grid.name} at the {place[2]}",
                "separation_u_m": grid.u_m,
            }


def _lacks_one(row: Row, abouts: Mapping[str, Mapping[str, str]]) -> bool:
    values = row.values
    if values.get("geoid_sep_m") is not None or "geoid_sep_m" in row.stopped:
        return False
    if row.raws.get("geoid_sep_m"):
        return False  # something is written there: that is asked, not replaced
    if values.get("gnss_h_m") is not None:
        return True
    datum = values.get("datum") or abouts.get(row.file, {}).get("vertical_datum", "")
    return str(datum).casefold() == _ELLIPSOID and values.get("level_m") is not None


def _place(row: Row, sites: Mapping[str, Row], where: Where) -> tuple[float, float, str]:
    own = where.in_working(row, "easting_m", "northing_m")
    if own is not None:
        return (*own, "point")
    site = sites.get(str(row.values.get("site_id") or ""))
    x, y = (site.values.get("x_m"), site.values.get("y_m")) if site else (None, None)
    nowhere = x is None or y is None
    return (math.nan, math.nan, "") if nowhere else (float(x), float(y), "site")  # type: ignore[arg-type]

"""Water levels and tide marks that somebody saw, as heights on the working datum."""

from __future__ import annotations

from typing import Any, Final

from pipeline.levels.steps import number
from pipeline.levels.things import Found
from pipeline.levels.visits import text
from pipeline.tables import Tables

_MARKS: Final = ("water level", "tide mark")
_TO_M: Final = {"m": 1.0, "mm": 0.001}


def add_observed(tables: Tables, found: Found) -> None:
    """Add 'water seen' levels from the observations; the highest of several stands.

    A value at a chamber is metres below its cover, at a building or entry metres above the
    building's floor mark.
    """
    building_of = dict(
        zip(tables["entries"]["entry_id"], tables["entries"]["building_id"], strict=True)
    )
    for row in tables["observations"].to_dict("records"):
        if text(row["what"]) in _MARKS:
            _add(row, found, building_of)


def _add(row: dict[str, Any], found: Found, building_of: dict[Any, Any]) -> None:
    place = text(row["place_id"])
    value, factor = number(row["observed_value"]), _TO_M.get(text(row["observed_unit"]))
    if value is None or factor is None:
        return
    what = text(row["what"])
    cover = found.levels.get(("cover", place))
    floor = found.levels.get(("floor", text(building_of.get(place, place))))
    if cover is not None:
        level = cover.step(-value * factor, f"{what} {value * factor:.3f} below cover", u_m=0.02)
    elif floor is not None:
        level = floor.step(value * factor, f"{what} {abs(value * factor):.3f}", u_m=0.02)
    else:
        return
    before = found.levels.get(("water seen", place))
    if before is None or level.value_m > before.value_m:
        site = found.site_of.get(("cover", place)) or found.site_of.get(("floor", place)) or ""
        found.put("water seen", place, site, level)

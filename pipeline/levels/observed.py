"""Water levels and tide marks that somebody saw, as heights on the working datum."""

from __future__ import annotations

from typing import Any, Final

from pipeline.core.doubts import usual_u_m
from pipeline.levels.chain import Level
from pipeline.levels.found import At, Found
from pipeline.levels.points import Points
from pipeline.levels.steps import number
from pipeline.levels.visits import text
from pipeline.tables import Tables

_MARKS: Final = ("water level", "tide mark")
_TO_M: Final = {"m": 1.0, "mm": 0.001}


def add_observed(tables: Tables, points: Points, found: Found) -> None:
    """Add 'water seen' levels from the observations; the highest of several stands.

    A value at a chamber or one of its ends is metres below the cover, at a building or one of its
    entries or ends metres above the floor mark. Water without a readable height may stand
    anywhere: its level is unknown, and a known one beside it does not take its place.
    """
    place_of = _places(tables)
    unknown = set()
    for row in tables["observations"].to_dict("records"):
        if text(row["what"]) not in _MARKS:
            continue
        place = place_of.get(text(row["place_id"]), text(row["place_id"]))
        kind = "cover" if ("cover", place) in found.levels else "floor"
        if (kind, place) not in found.levels:
            continue  # a site as a whole, or a place that is not listed: intake asks
        level = _level(row, kind, found.get(kind, place), points)
        before = found.get("water seen", place)
        if level is None or place in unknown:
            unknown.add(place)
            level = None
        elif before is not None and before.value_m >= level.value_m:
            level = before
        else:
            found.seen_at[place] = At(points, row, "observed_value", "observations", place)
        found.put("water seen", place, found.site_of[kind, place], level)


def _places(tables: Tables) -> dict[str, str]:
    """Chamber or building of every entry and end."""
    entries, ends = tables["entries"], tables["ends"]
    building = dict(zip(entries["entry_id"], entries["building_id"], strict=True))
    out = {text(e): text(b) for e, b in building.items()}
    for end, place in zip(ends["end_id"], ends["place_id"], strict=True):
        out[text(end)] = text(building.get(place, place))
    return out


def _level(row: dict[str, Any], kind: str, mark: Level | None, points: Points) -> Level | None:
    """Height of one mark; None where it, or the mark it is measured from, is not known."""
    value, factor = number(row["observed_value"]), _TO_M.get(text(row["observed_unit"]))
    if value is None or factor is None or mark is None:
        return None
    what, cell, height = text(row["what"]), points.cell(row, "observed_value"), value * factor
    sign, word = (-1.0, f"{what} below cover") if kind == "cover" else (1.0, what)
    return mark.step(sign * height, f"{word} {abs(height):.3f}", u_m=usual_u_m("water seen"),
                     cell=cell)  # fmt: skip

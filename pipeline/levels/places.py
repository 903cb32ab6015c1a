"""Levels of chambers and buildings: cover, floors, sills, vents, and the water seen in chambers.

A cover or floor mark may be told in three ways: a named point, a short cut on the row, a point
that bears the id of the place. The lowest counts. A way that is begun and gives no level may have
been the lowest: then the place has no level, which is open at any water (law 1 of the house).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

from pipeline.core.doubts import usual_u_m
from pipeline.levels.chain import Level, disagree, lowest
from pipeline.levels.found import At, Found, Row
from pipeline.levels.points import FROM_GROUND_M, Points
from pipeline.levels.steps import Opening, direct, from_frame, number
from pipeline.levels.visits import Visits, doubt_gap, is_stopped, text
from pipeline.tables import Tables

_COVER_OFF_M: Final = 0.5
_WATER: Final = ("standing", "running", "full")


class Places:
    """Works through chambers and buildings."""

    def __init__(
        self, tables: Tables, points: Points, visits: Visits, ground: dict[tuple[str, str], float]
    ) -> None:
        self._points, self._visits, self._ground = points, visits, ground
        self.chambers = {text(r["chamber_id"]): r for r in tables["chambers"].to_dict("records")}
        self.buildings = {text(r["building_id"]): r for r in tables["buildings"].to_dict("records")}

    def work(self, found: Found) -> None:
        """Put the levels of all chambers and buildings."""
        for chamber, row in sorted(self.chambers.items()):
            self._chamber(chamber, row, found)
        for building, row in sorted(self.buildings.items()):
            self._building(building, row, found)

    def near_ground(self, level: Level, site: str) -> bool:
        """Whether a level is a believable one for its site."""
        ground = self._ground.get(("site", site), math.nan)
        return not abs(level.value_m - ground) > FROM_GROUND_M

    def off_ground(self, level: Level, site: str) -> dict[str, Any]:
        """The words of a finding on a level far from the ground of its site."""
        ground = self._ground[("site", site)]
        return {"level": f"{level.value_m:.3f}", "d": f"{abs(level.value_m - ground):.1f}",
                "updown": "above" if level.value_m > ground else "below"}  # fmt: skip

    # --- the mark of a place ------------------------------------------------------------------

    def _mark(self, row: Row, thing: str, named_in: str, short_in: str) -> Level | None:
        """Level of the cover or floor mark of a place."""
        named = text(row[named_in])
        ways: list[Level | None] = []
        if named or is_stopped(row, named_in):
            ways.append(self._points.get(named))
        if number(row[short_in]) is not None or is_stopped(row, short_in):
            ways.append(self._short_cut(row, thing, short_in))
        if self._points.has(thing) and thing != named:
            ways.append(self._points.get(thing))
        known = [w for w in ways if w is not None]
        low = lowest(known)
        if low is None or len(known) < len(ways):
            return None
        if any(disagree(low, other) for other in known):
            return low.without_pedigree("two chains disagree", assumed="the lower of two levels")
        gap = next((other.gap for other in known if other.gap), "")
        return low.without_pedigree(gap)

    def _short_cut(self, row: Row, thing: str, column: str) -> Level | None:
        """A short cut stands for a point of its own: what hangs on it shares its doubt."""
        site = text(row["site_id"])
        opening = Opening(row, site, self._visits.of(row, site), self._points.cell)
        level = direct(opening, column)
        level = None if level is None else self._points.to_working(level, site, row)
        if level is None or not self.near_ground(level, site):
            return None
        return replace(level.shared_by(thing), path=f"{thing} {level.path}")

    # --- chambers -----------------------------------------------------------------------------

    def _chamber(self, chamber: str, row: Row, found: Found) -> None:
        site = text(row["site_id"])
        cover = self._mark(row, chamber, "cover_point_id", "cover_level_m")
        found.put("cover", chamber, site, cover)
        self._tell_cover(chamber, row, cover, found)
        depth = number(row["depth_m"])
        floor = None
        if cover is not None and depth is not None:
            start = text(row["depth_from"])
            opening = Opening(row, site, self._visits.of(row, site), self._points.cell,
                              chamber=row, frame_from=start)  # fmt: skip
            floor = from_frame(opening, cover).step(
                -depth, f"depth {depth:.3f}", u_m=usual_u_m("chamber floor"),
                cell=self._points.cell(row, "depth_m"))  # fmt: skip
        found.put("chamber floor", chamber, site, floor)
        self._water(chamber, row, cover, found)

    def _tell_cover(self, chamber: str, row: Row, cover: Level | None, found: Found) -> None:
        site = text(row["site_id"])
        if cover is None:
            return
        ground = self._ground.get(("chamber", chamber), math.nan)
        off = cover.value_m - ground
        if abs(off) > _COVER_OFF_M:
            column = "cover_point_id" if text(row["cover_point_id"]) else "cover_level_m"
            fill = {
                "id": chamber,
                "d": f"{abs(off):.2f}",
                "updown": "above" if off > 0 else "below",
            }
            found.say(
                "level-14", At(self._points, row, column, "chambers", chamber), fill, site=site
            )

    def _water(self, chamber: str, row: Row, cover: Level | None, found: Found) -> None:
        """Water seen in a chamber; a depth that was measured counts whatever the state says."""
        state, down = text(row["water_state"]), number(row["water_below_cover_m"])
        if down is None and state not in _WATER and row["pumped_out"] is not True:
            return
        assumed = ""
        if down is None and state == "full":
            down, assumed = 0.0, "full: up to the cover"
        level = None
        if cover is not None and down is not None:
            level = cover.step(-down, f"water {abs(down):.3f} below cover",
                               u_m=usual_u_m("water seen"), assumed=assumed,
                               cell=self._points.cell(row, "water_below_cover_m"))  # fmt: skip
        found.put("water seen", chamber, text(row["site_id"]), level)
        column = "water_below_cover_m" if text(row["water_below_cover_m"]) else "water_state"
        found.seen_at[chamber] = At(self._points, row, column, "chambers", chamber)

    # --- buildings ----------------------------------------------------------------------------

    def _building(self, building: str, row: Row, found: Found) -> None:
        site = text(row["site_id"])
        mark = self._mark(row, building, "floor_point_id", "floor_level_m")
        found.put("floor", building, site, mark)

        def offset(kind: str, column: str, sign: float) -> Level | None:
            value = number(row[column])
            if value is None or mark is None:
                return None
            return mark.step(sign * value, f"{kind} {abs(value):.3f}", u_m=usual_u_m("offset"),
                             cell=self._points.cell(row, column),
                             gap=self._visits.of(row, site).date_gap or doubt_gap(row))  # fmt: skip

        low = offset("lowest floor", "lowest_floor_below_m", -1.0)
        if (
            text(row["lowest_space"]) == "ground floor"
            and number(row["lowest_floor_below_m"]) is None
        ):
            low = mark
        found.put("lowest floor", building, site, low)
        found.put("door", building, site, offset("door", "door_sill_above_floor_m", 1.0))
        for kind, column in (
            ("vent", "lowest_vent_above_floor_m"), ("equipment", "equipment_above_floor_m"),
        ):  # fmt: skip
            if number(row[column]) is not None or is_stopped(row, column):
                found.put(kind, building, site, offset(kind, column, 1.0))
        openings = {word.strip() for word in text(row["other_openings"]).split(";")}
        if openings & {"drain", "sump outlet"}:
            found.put("drain", building, site, low)
        if openings & {"hatch", "trench cover"}:
            found.put("hatch", building, site, None)
        if "crack" in openings:
            found.put("crack", building, site, None)

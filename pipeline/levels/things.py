"""Levels of chambers, buildings, entries and duct ends from points and steps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Final

import pandas as pd

from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings
from pipeline.levels.chain import Level, tolerance_m
from pipeline.levels.points import Points
from pipeline.levels.steps import Opening, by_dip, by_offset, direct, number
from pipeline.levels.visits import Visits, text
from pipeline.tables import Tables

_BELOW_FLOOR_M: Final = 0.1  # house rule: a chamber end without a level lies 0.1 m below the floor
_FROM_GROUND_M: Final = 15.0
_COVER_OFF_M: Final = 0.5
_UNREAD: Final = ("counted only", "not reached")
_MAIN: Final = {
    "direct": ("direct",), "dip": ("dip",), "offset from floor": ("offset",),
    "drawing": ("direct", "dip", "offset"), "judged": ("direct", "dip", "offset"),
}  # fmt: skip


@dataclass
class Found:
    """Levels by kind and id, second chains, and findings."""

    levels: dict[tuple[str, str], Level | None] = field(default_factory=dict)
    second: dict[tuple[str, str], Level] = field(default_factory=dict)
    site_of: dict[tuple[str, str], str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def put(self, kind: str, thing: str, site: str, level: Level | None) -> None:
        """Note the level of a thing; None = no level."""
        self.levels[kind, thing] = level
        self.site_of[kind, thing] = site


class Things:
    """Works through a survey: chambers and buildings first, then ends, then entries."""

    def __init__(
        self,
        tables: Tables,
        settings: Settings,
        points: Points,
        visits: Visits,
        ground: dict[tuple[str, str], float],
    ) -> None:
        self._tables, self._settings = tables, settings
        self._points, self._visits = points, visits
        self._ground = ground
        self.found = Found()
        self._chambers = {text(r["chamber_id"]): r for r in tables["chambers"].to_dict("records")}
        self._buildings = {
            text(r["building_id"]): r for r in tables["buildings"].to_dict("records")
        }
        self._entries = {text(r["entry_id"]): r for r in tables["entries"].to_dict("records")}

    def work(self) -> Found:
        """All levels of the survey."""
        for chamber, row in sorted(self._chambers.items()):
            self._chamber(chamber, row)
        for building, row in sorted(self._buildings.items()):
            self._building(building, row)
        self._entry_own: dict[str, Level | None] = {
            entry: self._own_chain(self._entry_opening(row), entry, "entries")
            for entry, row in sorted(self._entries.items())
        }
        self._ends()
        self._entries_lowest()
        return self.found

    # --- places -----------------------------------------------------------------------------

    def _short_cut(self, row: dict[str, Any], column: str, site: str) -> Level | None:
        opening = Opening(row, self._visits.of(row, site), None, is_size_judged=False,
                          cell=self._points.cell)  # fmt: skip
        level = direct(opening, column, self._settings)
        return None if level is None else _as_point(level, text(row.get("chamber_id"))
                                                    or text(row.get("building_id")))  # fmt: skip

    def cover(self, row: dict[str, Any]) -> Level | None:
        """Cover level of a chamber: its point, a short cut, or a point that bears its id."""
        point = self._points.get(text(row["cover_point_id"]))
        if point is not None:
            return point
        short = self._short_cut(row, "cover_level_m", text(row["site_id"]))
        return short if short is not None else self._points.get(text(row["chamber_id"]))

    def _chamber(self, chamber: str, row: dict[str, Any]) -> None:
        site = text(row["site_id"])
        cover = self.cover(row)
        self.found.put("cover", chamber, site, cover)
        ground = self._ground.get(("chamber", chamber), math.nan)
        if cover is not None and abs(cover.value_m - ground) > _COVER_OFF_M:
            off = cover.value_m - ground
            self._say("level-14", row, "cover_level_m" if not text(row["cover_point_id"])
                      else "cover_point_id", "chambers", chamber,
                      {"id": chamber, "d": f"{abs(off):.2f}",
                       "updown": "above" if off > 0 else "below"})  # fmt: skip
        depth = number(row["depth_m"])
        floor = None
        if cover is not None and depth is not None:
            floor = cover.step(-depth, f"depth {depth:.3f}", u_m=0.03,
                               cell=self._points.cell(row, "depth_m"))  # fmt: skip
        self.found.put("chamber floor", chamber, site, floor)
        self._water(chamber, row, cover, site)

    def _water(self, chamber: str, row: dict[str, Any], cover: Level | None, site: str) -> None:
        if text(row["water_state"]) not in ("standing", "running", "full"):
            return
        down = number(row["water_below_cover_m"])
        if down is None and text(row["water_state"]) == "full":
            down = 0.0
        level = None
        if cover is not None and down is not None:
            level = cover.step(-down, f"water {down:.3f} below cover", u_m=0.02,
                               cell=self._points.cell(row, "water_below_cover_m"))  # fmt: skip
        self.found.put("water seen", chamber, site, level)

    def floor(self, row: dict[str, Any]) -> Level | None:
        """Level of the floor mark of a building."""
        point = self._points.get(text(row["floor_point_id"]))
        if point is not None:
            return point
        short = self._short_cut(row, "floor_level_m", text(row["site_id"]))
        return short if short is not None else self._points.get(text(row["building_id"]))

    def _building(self, building: str, row: dict[str, Any]) -> None:
        site = text(row["site_id"])
        mark = self.floor(row)
        self.found.put("floor", building, site, mark)

        def offset(kind: str, column: str, sign: float) -> None:
            value = number(row[column])
            if value is None:
                return
            level = None if mark is None else mark.step(
                sign * value, f"{kind} {abs(value):.3f}", u_m=0.01,
                cell=self._points.cell(row, column))  # fmt: skip
            self.found.put(kind, building, site, level)

        lowest = number(row["lowest_floor_below_m"])
        if text(row["lowest_space"]) == "ground floor" and lowest is None:
            self.found.put("lowest floor", building, site, mark)
        elif lowest is not None:
            offset("lowest floor", "lowest_floor_below_m", -1.0)
        else:
            self.found.put("lowest floor", building, site, None)
        if number(row["door_sill_above_floor_m"]) is None:
            self.found.put("door", building, site, None)
        offset("door", "door_sill_above_floor_m", 1.0)
        offset("vent", "lowest_vent_above_floor_m", 1.0)
        offset("equipment", "equipment_above_floor_m", 1.0)
        openings = set(text(row["other_openings"]).split(";"))
        if openings & {"drain", "sump outlet"}:
            base = self.found.levels["lowest floor", building]
            self.found.put("drain", building, site, base)
        if openings & {"hatch", "trench cover"}:
            self.found.put("hatch", building, site, None)
        if "crack" in openings:
            self.found.put("crack", building, site, None)

    # --- openings ---------------------------------------------------------------------------

    def _entry_opening(self, row: dict[str, Any]) -> Opening:
        building = self._buildings.get(text(row["building_id"]), {})
        site = text(building.get("site_id"))
        height = number(row["height_mm"])
        return Opening(row, self._visits.of(row, site), height, is_size_judged=False,
                       cell=self._points.cell)  # fmt: skip

    def _end_opening(self, row: dict[str, Any]) -> Opening:
        place = text(row["place_id"])
        chamber = self._chambers.get(place)
        size = number(row["bore_mm"])
        other = number(row["bore_b_mm"])
        if size is not None and other is not None:
            size = max(size, other)
        return Opening(row, self._visits.of(row, text(row["site_id"])), size,
                       is_size_judged=text(row["bore_method"]) in ("judged", ""),
                       cell=self._points.cell, chamber=chamber)  # fmt: skip

    def _own_chain(self, opening: Opening, thing: str, sheet: str) -> Level | None:
        """The row's own level: main chain, checked by a second one where there is one."""
        row = opening.row
        chains: dict[str, Level] = {}
        for column in ("level_m", "invert_level_m"):
            level = direct(opening, column, self._settings)
            if level is not None:
                chains.setdefault("direct", level)
        point = self._points.get(text(row["ref_point_id"]))
        if point is not None:
            for name, level in (
                ("dip", by_dip(opening, point, "dip_down_m")),
                ("offset", by_offset(opening, point, "above_m")),
            ):
                if level is not None:
                    chains[name] = level
        check = None
        checked = self._points.get(text(row.get("check_point_id")))
        if checked is not None:
            check = by_dip(opening, checked, "check_dip_down_m", check=True)
        return self._agreed(opening, thing, sheet, chains, check)

    def _agreed(
        self,
        opening: Opening,
        thing: str,
        sheet: str,
        chains: dict[str, Level],
        check: Level | None,
    ) -> Level | None:
        row = opening.row
        wanted = _MAIN.get(text(row["level_method"]), ("direct", "dip", "offset"))
        main = next((chains[n] for n in wanted if n in chains), None)
        others = [c for n, c in chains.items() if c is not main]
        second = check if check is not None else (others[0] if others else None)
        if main is None:
            # only a chain beside the main one is left: it may be higher than the main one was by
            # as much as two agreeing chains may differ
            if second is None:
                return None
            slack = tolerance_m(second, second) or 2.0 * second.own_m
            return second.step(-slack, f"allowance {slack:.3f}", gap="the main chain is incomplete",
                               assumed="only a second chain is left")  # fmt: skip
        if second is None:
            return main
        self.found.second["duct end" if sheet == "ducts" else "entry", thing] = second
        limit = tolerance_m(main, second)
        apart = abs(main.value_m - second.value_m)
        if apart <= limit + 1e-9:
            return main
        column = "check_dip_down_m" if check is not None else "level_method"
        self._say("level-02", row, column, sheet, thing, {
            "a": main.path, "x": f"{main.value_m:.3f}", "b": second.path,
            "y": f"{second.value_m:.3f}", "d": f"{apart * 1000:.0f}", "t": f"{limit * 1000:.0f}",
        })  # fmt: skip
        low = min(main, second, key=lambda level: level.value_m)
        return low.without_pedigree("two chains disagree", assumed="the lower of two chains")

    def _ends(self) -> None:
        rows = self._tables["ends"].to_dict("records")
        own: dict[str, Level | None] = {}
        openings: dict[str, Opening] = {}
        for row in rows:
            end = text(row["end_id"])
            openings[end] = self._end_opening(row)
            own[end] = self._believable(openings[end], end,
                                        self._own_chain(openings[end], end, "ducts"))  # fmt: skip
        lowest: dict[str, float] = {}
        for row in rows:
            level = own[text(row["end_id"])]
            if level is not None:
                place = text(row["place_id"])
                lowest[place] = min(lowest.get(place, math.inf), level.value_m)
        without: dict[str, list[dict[str, Any]]] = {}
        for row in rows:
            end, place = text(row["end_id"]), text(row["place_id"])
            level = own[end]
            if level is None:
                level = self._fallback(place, lowest)
                if not row["is_unlisted"] and text(row["seen"]) not in _UNREAD:
                    without.setdefault(place, []).append(row)
            self.found.put("duct end", end, text(row["site_id"]), level)
            self._high_point(row, end)
        for place, missing in sorted(without.items()):
            self._say_without(place, missing)

    def _say_without(self, place: str, missing: list[dict[str, Any]]) -> None:
        names = ", ".join(str(r["row"]) for r in missing[:8])
        self._say(
            "level-01",
            missing[0],
            "dip_down_m",
            "ducts",
            text(missing[0]["end_id"]),
            {"row": names if len(missing) <= 8 else names + " ..."},
            place,
        )

    def _fallback(self, place: str, lowest: dict[str, float]) -> Level | None:
        """Level of an end without a chain: lowest edge of its entry, or below the chamber's floor.

        The lowest edge counts only where the entry was measured itself: the other ends of a wall
        say nothing of how low a missing one lies.
        """
        if place in self._chambers:
            floor = self.found.levels.get(("chamber floor", place))
            if floor is None:
                return None
            return floor.step(-_BELOW_FLOOR_M, f"{_BELOW_FLOOR_M:.3f}",
                              gap="its own level was not measured",
                              assumed="taken below the chamber's floor")  # fmt: skip
        entry = self._entry_own.get(place)
        if entry is None:
            return None
        level = entry.without_pedigree("its own level was not measured",
                                       assumed="taken at the entry's lowest edge")  # fmt: skip
        low = lowest.get(place, math.inf)
        if low < level.value_m:
            level = level.step(low - level.value_m, f"{level.value_m - low:.3f} to the lowest end")
        return level

    def _believable(self, opening: Opening, end: str, level: Level | None) -> Level | None:
        """Refuse a level above the cover, or far from the ground of its site."""
        if level is None:
            return None
        row = opening.row
        site = text(row["site_id"])
        ground = self._ground.get(("site", site), math.nan)
        if abs(level.value_m - ground) > _FROM_GROUND_M:
            self._say("level-25", row, _level_column(row), "ducts", end, {
                "row": row["row"], "level": f"{level.value_m:.3f}",
                "d": f"{abs(level.value_m - ground):.1f}",
                "updown": "above" if level.value_m > ground else "below",
            })  # fmt: skip
            return None
        cover = self.found.levels.get(("cover", text(row["place_id"])))
        if cover is not None and level.value_m > cover.value_m:
            self._say("level-09", row, _level_column(row), "ducts", end,
                      {"row": row["row"], "d": f"{level.value_m - cover.value_m:.2f}"})  # fmt: skip
            return None
        return level

    def _high_point(self, row: dict[str, Any], end: str) -> None:
        value = number(row["high_point_m"])
        if value is None:
            return
        visit = self._visits.of(row, text(row["site_id"]))
        opening = Opening(row, visit, None, is_size_judged=False, cell=self._points.cell)
        self.found.put("high point", end, text(row["site_id"]),
                       direct(opening, "high_point_m", self._settings))  # fmt: skip

    def _entries_lowest(self) -> None:
        """Level of an entry: the lowest of its ends and of its own chain."""
        lowest: dict[str, Level] = {}
        unknown: set[str] = set()
        for row in self._tables["ends"].to_dict("records"):
            place = text(row["place_id"])
            level = self.found.levels["duct end", text(row["end_id"])]
            if level is None:
                unknown.add(place)
            elif place not in lowest or level.value_m < lowest[place].value_m:
                lowest[place] = level
        for entry, row in sorted(self._entries.items()):
            own = self._entry_own[entry]
            site = text(self._buildings.get(text(row["building_id"]), {}).get("site_id"))
            options = [x for x in (own, lowest.get(entry)) if x is not None]
            level = min(options, key=lambda x: x.value_m) if options else None
            if level is not None and own is None and entry in unknown:
                level = level.without_pedigree("one of its ends has no level")
            self.found.put("entry", entry, site, level)

    def _say(  # noqa: PLR0913 - a finding of a cell has these parts
        self,
        code: str,
        row: dict[str, Any],
        column: str,
        sheet: str,
        thing: str,
        fill: dict[str, Any],
        place: str = "",
    ) -> None:
        cell = self._points.name(row, column)
        where = Cell(file=text(row["file"]), sheet=text(row["sheet"]),
                     row=None if pd.isna(row["row"]) else int(row["row"]), column=column,
                     cell=cell)  # fmt: skip
        self.found.findings.append(
            make(code, where, fill=fill, key=f"{sheet}/{thing}",
                 place_id=place or text(row.get("place_id")) or thing,
                 site_id=text(row.get("site_id")))
        )  # fmt: skip


def _level_column(row: dict[str, Any]) -> str:
    return next((c for c in ("dip_down_m", "level_m", "invert_level_m", "above_m")
                 if number(row.get(c)) is not None), "level_method")  # fmt: skip


def _as_point(level: Level, name: str) -> Level:
    """A short cut stands for a point of its own: its whole doubt is shared by what hangs on it."""
    shared = math.hypot(level.shared_m, level.own_m)
    path = f"{name} {level.path}" if name else level.path
    return replace(level, shared_m=shared, own_m=0.0, shared_key=name, path=path)

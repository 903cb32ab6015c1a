"""Levels of duct ends and entries.

What an end without a chain of its own gets (and why it is never too high):
- at a chamber: cover - depth - 0.1 m, under every duct that a chamber of that depth can have;
- at an entry that was measured: the entry's lowest edge, or its lowest end if that is lower;
- at an entry that was not: an end in a lower row of the same face, if there is one, as it lies
  below; else no level. The other ends of a wall say nothing of how low the missing one lies.
An entry whose own chain is begun but not complete, or that was not measured and has an end
without a level, has no level for the same reason.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

import pandas as pd

from pipeline.levels import sizes
from pipeline.levels.chain import Level, lowest
from pipeline.levels.found import At, Found, Row
from pipeline.levels.own_chain import Chains, OwnChain
from pipeline.levels.places import Places
from pipeline.levels.points import Points
from pipeline.levels.steps import Opening, direct, number
from pipeline.levels.visits import Visits, text
from pipeline.tables import Tables

_BELOW_FLOOR_M: Final = 0.1  # house rule
_UNREAD: Final = ("counted only", "not reached")
_NOT_MEASURED: Final = "its own level was not measured"
_ROWS_NAMED: Final = 8


class Openings:
    """Works through entries and ends once the places are known."""

    def __init__(
        self, tables: Tables, points: Points, visits: Visits, places: Places, found: Found
    ) -> None:
        self._points, self._visits, self._places, self._found = points, visits, places, found
        self._chains = Chains(points, found)
        self._ends = tables["ends"].to_dict("records")
        self._entries = {text(r["entry_id"]): r for r in tables["entries"].to_dict("records")}
        self._own_entries: dict[str, OwnChain] = {}
        self._own_ends: dict[str, Level | None] = {}
        self._bounds: dict[str, Level] = {}
        self._of_place: dict[str, list[Row]] = {}
        for row in self._ends:
            self._of_place.setdefault(text(row["place_id"]), []).append(row)
        self._dips_from = {
            place: {text(r["dip_from"]) for r in rows if text(r["dip_from"])}
            for place, rows in self._of_place.items()
        }

    def work(self) -> None:
        """Put the levels of all ends and entries."""
        for entry, row in sorted(self._entries.items()):
            self._own_entries[entry] = self._own_entry(entry, row)
        for row in self._ends:
            self._own_end(row)
        without: dict[str, list[Row]] = {}
        for row in self._ends:
            end = text(row["end_id"])
            level = self._own_ends[end]
            if level is None:
                level = self._without_chain(row)
                if not row["is_unlisted"] and text(row["seen"]) not in _UNREAD:
                    without.setdefault(text(row["place_id"]), []).append(row)
            self._found.put("duct end", end, text(row["site_id"]), level)
            self._high_point(row, end)
        for place, missing in sorted(without.items()):
            self._ask(place, missing, "ducts")
        for entry, row in sorted(self._entries.items()):
            if self._entry(entry, row) is None and entry not in without:
                self._ask(entry, [row], "entries")

    # --- own chains ---------------------------------------------------------------------------

    def _site_of(self, row: Row) -> str:
        return text(self._places.buildings.get(text(row["building_id"]), {}).get("site_id"))

    def _own_entry(self, entry: str, row: Row) -> OwnChain:
        site = self._site_of(row)
        ends = self._of_place.get(entry, [])
        size, assumed = sizes.of_entry(
            text(row["kind"]), number(row["height_mm"]),
            [math.nan if pd.isna(e["bore_mm"]) else float(e["bore_mm"]) for e in ends],
        )  # fmt: skip
        opening = Opening(row, site, self._visits.of(row, site), self._points.cell, size, assumed)
        own = self._chains.own(opening, building=text(row["building_id"]))
        self._tell_quarrel(own, row, "entries", entry, site)
        if own.level is not None and not self._places.near_ground(own.level, site):
            self._tell_far(own.level, row, "entries", entry, site)
            return OwnChain(is_partial=True)
        return own

    def _opening(self, row: Row) -> Opening:
        place, site = text(row["place_id"]), text(row["site_id"])
        chamber = self._places.chambers.get(place)
        size, assumed = sizes.of_end(
            text(row["shape"]), number(row["bore_mm"]), number(row["bore_b_mm"])
        )
        return Opening(
            row, site, self._visits.of(row, site), self._points.cell, size, assumed,
            is_size_judged=text(row["bore_method"]) in ("judged", ""), chamber=chamber,
            frame_from=None if chamber is None else self._dip_from(row, chamber, place),
        )  # fmt: skip

    def _dip_from(self, row: Row, chamber: Row, place: str) -> str:
        """Where the dip of a chamber's end starts; '' = not known.

        A blank is as the chamber, but not where other dips of the chamber start elsewhere.
        """
        own, rule = text(row["dip_from"]), text(chamber["depth_from"])
        if own:
            return own
        return rule if self._dips_from[place] <= {rule} else ""

    def _own_end(self, row: Row) -> None:
        end, site = text(row["end_id"]), text(row["site_id"])
        own = self._chains.own(self._opening(row), building=text(row["building_id"]))
        self._tell_quarrel(own, row, "ducts", end, site)
        level = self._believable(row, end, own.level)
        if own.is_partial and level is not None:
            self._bounds[end] = level
            level = None
        if level is not None and own.second is not None:
            self._found.second["duct end", end] = own.second
        self._own_ends[end] = level

    def _believable(self, row: Row, end: str, level: Level | None) -> Level | None:
        """Refuse a level above the cover, or far from the ground of its site."""
        if level is None:
            return None
        site, place = text(row["site_id"]), text(row["place_id"])
        if not self._places.near_ground(level, site):
            self._tell_far(level, row, "ducts", end, site)
            return None
        if place not in self._places.chambers:
            return level
        cover = self._found.get("cover", place)
        if cover is None:
            return level.without_pedigree("cover not known: not checked against it")
        if level.value_m > cover.value_m:
            fill = {"row": row["row"], "d": f"{level.value_m - cover.value_m:.2f}"}
            self._found.say("level-09", self._at(row, "ducts", end), fill)
            return None
        return level

    # --- ends without a chain -----------------------------------------------------------------

    def _without_chain(self, row: Row) -> Level | None:
        """Level of an end without a complete chain; a chain that is left counts if it is lower."""
        place = text(row["place_id"])
        if place in self._places.chambers:
            level = self._under_floor(place)
        else:
            level = self._in_wall(row, place)
        bound = self._bounds.get(text(row["end_id"]))
        if level is None or bound is None or bound.value_m >= level.value_m:
            return level
        return bound

    def _under_floor(self, chamber: str) -> Level | None:
        floor = self._found.get("chamber floor", chamber)
        if floor is None:
            return None
        return floor.step(-_BELOW_FLOOR_M, f"allowance {_BELOW_FLOOR_M:.3f}", gap=_NOT_MEASURED,
                          assumed="taken below the chamber's floor")  # fmt: skip

    def _in_wall(self, row: Row, entry: str) -> Level | None:
        siblings = self._of_place[entry]
        own = self._own_entries.get(entry)
        if own is not None and own.level is not None and not own.is_partial:
            low = lowest([own.level, *self._known(siblings)])
            assumed = "taken at the entry's lowest edge"
        else:
            here = number(row["row_no"])
            below = [
                s for s in siblings
                if here is not None and text(s["face"]) == text(row["face"]) != ""
                and (number(s["row_no"]) or -1.0) > here
            ]  # fmt: skip
            low = lowest(self._known(siblings)) if any(self._known(below)) else None
            assumed = "taken at the lowest end of the wall, which has ends in rows below it"
        return None if low is None else low.without_pedigree(_NOT_MEASURED, assumed=assumed)

    def _known(self, rows: Iterable[Row]) -> list[Level]:
        levels = (self._own_ends[text(r["end_id"])] for r in rows)
        return [level for level in levels if level is not None]

    # --- entries and high points --------------------------------------------------------------

    def _entry(self, entry: str, row: Row) -> Level | None:
        """Level of an entry: the lowest of its ends and of its own chain."""
        site = self._site_of(row)
        own = self._own_entries[entry]
        ends = [
            self._found.get("duct end", text(r["end_id"])) for r in self._of_place.get(entry, [])
        ]
        options = [x for x in (None if own.is_partial else own.level, *ends) if x is not None]
        low = lowest(options)
        has_blank_end = any(level is None for level in ends)
        if own.is_partial or (own.level is None and (has_blank_end or not ends)):
            low = None
        if low is not None:
            low = low.without_pedigree(next((x.gap for x in options if x.gap), ""))
            if own.second is not None:
                self._found.second["entry", entry] = own.second
        self._found.put("entry", entry, site, low)
        return low

    def _high_point(self, row: Row, end: str) -> None:
        """The crest of a duct as stated; no column says how it was measured."""
        if number(row["high_point_m"]) is None:
            return
        site = text(row["site_id"])
        opening = Opening(row, site, self._visits.of(row, site), self._points.cell)
        level = direct(opening, "high_point_m")
        level = None if level is None else self._points.to_working(level, site, row)
        if level is not None and not self._places.near_ground(level, site):
            level = None
        self._found.put("high point", end, site, level)

    # --- findings -----------------------------------------------------------------------------

    def _at(self, row: Row, sheet: str, thing: str) -> At:
        column = next((c for c in ("dip_down_m", "level_m", "invert_level_m", "above_m")
                       if number(row.get(c)) is not None), "level_method")  # fmt: skip
        return At(self._points, row, column, sheet, thing)

    def _tell_far(self, level: Level, row: Row, sheet: str, thing: str, site: str) -> None:
        fill = {"row": row["row"], **self._places.off_ground(level, site)}
        self._found.say("level-25", self._at(row, sheet, thing), fill, site=site)

    def _tell_quarrel(self, own: OwnChain, row: Row, sheet: str, thing: str, site: str) -> None:
        if own.quarrel is None:
            return
        one, other, allowed_m = own.quarrel
        column = (
            "level_method" if number(row.get("check_dip_down_m")) is None else "check_dip_down_m"
        )
        fill = {
            "row": row["row"], "a": one.path, "x": f"{one.value_m:.3f}", "b": other.path,
            "y": f"{other.value_m:.3f}", "t": f"{allowed_m * 1000:.0f}",
            "d": f"{abs(one.value_m - other.value_m) * 1000:.0f}",
        }  # fmt: skip
        self._found.say("level-02", At(self._points, row, column, sheet, thing), fill, site=site)

    def _ask(self, place: str, missing: list[Row], sheet: str) -> None:
        rows: list[Any] = [r["row"] for r in missing]
        names = ", ".join(str(r) for r in rows[:_ROWS_NAMED])
        more = " ..." if len(rows) > _ROWS_NAMED else ""
        thing = text(missing[0]["end_id"]) if sheet == "ducts" else place
        site = text(missing[0].get("site_id")) or self._site_of(missing[0])
        self._found.say("level-01", At(self._points, missing[0], "dip_down_m", sheet, thing),
                        {"row": names + more}, place=place, site=site)  # fmt: skip

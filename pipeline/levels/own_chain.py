"""The chains that a row of its own gives to its level, and what they come to together.

Less knowledge never raises a level (law 1 of the house):
- the main chain is the one that `level_method` names. Where it is not complete, or a second chain
  is begun and not complete, the missing one may have been the lower: what is left counts only if
  it is lower than what an opening without a chain gets;
- where no chain is named, the lowest of the complete ones counts and cannot clear;
- a dip whose point is not named counts from the cover, an offset from the lowest mark of the site,
  and only where nothing else can have been meant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from pipeline.levels.chain import Level, disagree, lowest, tolerance_m
from pipeline.levels.found import Found
from pipeline.levels.points import Points
from pipeline.levels.steps import Opening, by_dip, by_offset, direct, number, to_bottom
from pipeline.levels.visits import is_stopped, text

_MAIN: Final = {
    "direct": ("direct", "short cut"), "dip": ("dip",), "offset from floor": ("offset",),
}  # fmt: skip
_MARKS: Final = ("floor", "sill", "site mark")


@dataclass(frozen=True)
class OwnChain:
    """What a row's own chains come to.

    `is_partial`: a chain is begun and not complete, so that `level` is an upper bound at best.
    `quarrel` holds the two chains that contradict each other, with the difference allowed (m).
    """

    level: Level | None = None
    second: Level | None = None
    is_partial: bool = False
    quarrel: tuple[Level, Level, float] | None = None


NONE: Final = OwnChain()


class Chains:
    """Makes the chains of rows; covers and floor marks are known by then."""

    def __init__(self, points: Points, found: Found) -> None:
        self._points, self._found = points, found
        self._marks: dict[str, list[Level]] = {}

    def own(self, opening: Opening, *, building: str = "") -> OwnChain:
        """All chains of a row brought to one.

        Parameters
        ----------
        opening : Opening
        building : str
            Building of an entry or of an end at an entry; '' = at a chamber.

        Returns
        -------
        OwnChain

        """
        row = opening.row
        complete = {
            name: level
            for name, level in (
                ("direct", self._direct(opening, "level_m")),
                ("short cut", self._direct(opening, "invert_level_m")),
                ("dip", self._dip(opening)),
                ("offset", self._offset(opening, building)),
                ("check", self._check(opening)),
            )
            if level is not None
        }
        wanted = _MAIN.get(text(row.get("level_method")), ())
        mains = [complete[n] for n in wanted if n in complete]
        is_partial = (bool(wanted) and not mains) or (
            "check" not in complete and _has(row, "check_point_id", "check_dip_down_m")
        ) or any(is_stopped(row, c) for c in ("level_m", "invert_level_m"))  # fmt: skip
        if is_partial or not complete:
            left = lowest(complete.values())
            if left is not None:
                left = left.without_pedigree("a chain to it is not complete",
                                             assumed="the other chain is not complete")  # fmt: skip
            return OwnChain(left, is_partial=is_partial)
        return _agreed(complete, lowest(mains))

    def _direct(self, opening: Opening, column: str) -> Level | None:
        level = direct(opening, column)
        if level is None:
            return None
        home = self._points.to_working(level, opening.site_id, opening.row)
        if home is None or column == "invert_level_m":  # an invert is the bottom by its name
            return home
        return to_bottom(opening, home)

    def _dip(self, opening: Opening) -> Level | None:
        if number(opening.row.get("dip_down_m")) is None:
            return None
        named = text(opening.row.get("ref_point_id"))
        point = self._point(named)
        if not named and not is_stopped(opening.row, "ref_point_id"):
            point = self._unnamed_cover(opening)
        return None if point is None else by_dip(opening, point, "dip_down_m")

    def _check(self, opening: Opening) -> Level | None:
        point = self._point(text(opening.row.get("check_point_id")))
        return None if point is None else by_dip(opening, point, "check_dip_down_m")

    def _offset(self, opening: Opening, building: str) -> Level | None:
        if number(opening.row.get("above_m")) is None:
            return None
        named = text(opening.row.get("ref_point_id"))
        point = self._point(named)
        if not named and building and not is_stopped(opening.row, "ref_point_id"):
            point = self._lowest_mark(opening.site_id, building)
        return None if point is None else by_offset(opening, point, "above_m")

    def _point(self, named: str) -> Level | None:
        """A named point; the id of a chamber or building stands for its cover or floor mark."""
        if not named or self._points.has(named):
            return self._points.get(named)
        return self._found.get("cover", named) or self._found.get("floor", named)

    def _unnamed_cover(self, opening: Opening) -> Level | None:
        """The cover, where the site has no points that a surveyor could have named instead."""
        chamber = text((opening.chamber or {}).get("chamber_id"))
        others = [
            p for p in self._points.of_site(opening.site_id) if text(p["point_id"]) != chamber
        ]
        cover = self._found.get("cover", chamber)
        if not chamber or others or cover is None:
            return None
        return cover.without_pedigree("point of the dip not named", assumed="dip from the cover")

    def _lowest_mark(self, site: str, building: str) -> Level | None:
        """The lowest mark of the site that an offset can have been taken from."""
        floor = self._found.get("floor", building)
        if floor is None:
            return None
        if site not in self._marks:
            rows = [p for p in self._points.of_site(site) if text(p["kind"]) in (*_MARKS, "")]
            levels = [self._points.get(text(p["point_id"])) for p in rows]
            self._marks[site] = [level for level in levels if level is not None]
        low = lowest([floor, *self._marks[site]])
        assert low is not None
        return low.without_pedigree("point of the offset not named",
                                    assumed="offset from the lowest mark of the site")  # fmt: skip


def _has(row: dict[str, Any], *columns: str) -> bool:
    return any(number_or_text(row.get(c)) for c in columns) or any(
        is_stopped(row, c) for c in columns
    )


def number_or_text(value: Any) -> bool:
    """Whether a cell holds anything."""
    return number(value) is not None if not isinstance(value, str) else bool(value.strip())


def _agreed(complete: dict[str, Level], main: Level | None) -> OwnChain:
    """The main chain where all agree and clear, else the lowest.

    A chain with a wide doubt contradicts nothing, so its agreement proves nothing either.
    """
    low = lowest(complete.values())
    assert low is not None
    first = main if main is not None else low
    others = [level for level in complete.values() if level is not first]
    second = complete.get("check", others[0] if others else None)
    second = second if second is not first else None
    against = [level for level in others if disagree(first, level)]
    if against:
        worst = max(against, key=lambda level: abs(level.value_m - first.value_m))
        lower = low.without_pedigree("two chains disagree", assumed="the lower of two chains")
        return OwnChain(lower, worst, quarrel=(first, worst, tolerance_m(first, worst)))
    gap = next((level.gap for level in complete.values() if level.gap), "")
    return OwnChain(low.without_pedigree(gap) if gap else first, second)

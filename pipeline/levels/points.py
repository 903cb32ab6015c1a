"""Levels of known points: stated, by satellite height and separation, by rise, by tie.

Less knowledge never raises a level or lets it clear (law 1 of the house):
- a route that is begun but not complete (a rise without its start, a satellite height without its
  separation) may have been the lower one: what else gives the level cannot clear;
- a blank method, kind, date, start of a levelled run or year of a national mark cannot clear;
- a level hangs on its start: it takes the start's doubt, bias and lack of pedigree over.
Where a cell holds the lower of two measurements of one thing and its loss leaves no trace, the
other one stands: that is not to be helped.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from pipeline.core.cells import Addresses
from pipeline.core.doubts import usual_u_m
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings
from pipeline.levels.chain import Level, disagree, lowest, method_gap
from pipeline.levels.datums import (
    ELLIPSOID,
    SITE_DATUM,
    UNKNOWN,
    Tie,
    shifted,
    tied,
    to_working_datum,
)
from pipeline.levels.visits import Visit, Visits, doubt_gap, is_stopped, text
from pipeline.tables import Tables

FROM_GROUND_M: Final = 15.0
_OLD_MARK_YEARS: Final = 30
_NOT_BY_INSTRUMENT: Final = ("tape", "lidar", "drawing", "judged")
_RUN: Final = ("levelled", "tape")


class Points:
    """Every level point on the working datum, with findings on those that cannot be used."""

    def __init__(
        self, tables: Tables, settings: Settings, visits: Visits, ground: dict[str, float]
    ) -> None:
        self._settings = settings
        self._visits = visits
        self._ground = ground
        self._at = Addresses(tables["columns"])
        self._rows = {text(r["point_id"]): r for r in tables["points"].to_dict("records")}
        self._of_site: dict[str, list[dict[str, Any]]] = {}
        for _, row in sorted(self._rows.items()):
            self._of_site.setdefault(text(row["site_id"]), []).append(row)
        self._native: dict[str, Level | None] = {}
        self._known: dict[str, Level | None] = {}
        self._told: set[tuple[str, str]] = set()
        self.findings: list[Finding] = []
        self._ties = self._site_ties()
        for point in sorted(self._rows):
            self.get(point)

    def get(self, point_id: str) -> Level | None:
        """Level of a point on the working datum; None when there is none that may be used."""
        if point_id not in self._rows:
            return None
        if point_id not in self._known:
            self._known[point_id] = self._level(self._rows[point_id])
        return self._known[point_id]

    def has(self, point_id: str) -> bool:
        """Whether there is such a point, with a level or without."""
        return point_id in self._rows

    def of_site(self, site_id: str) -> list[dict[str, Any]]:
        """Rows of the points of a site, by id."""
        return self._of_site.get(site_id, [])

    def cell(self, row: dict[str, Any], column: str) -> str:
        """Address of a cell of a row; '' where it holds nothing."""
        if row.get(column) is None or pd.isna(row[column]):
            return ""
        return self._at.cell(row["file"], row["sheet"], column, row["row"])

    def name(self, row: dict[str, Any], column: str) -> str:
        """The cell alone: 'H14'."""
        return self._at.name(row["file"], row["sheet"], column, row["row"])

    def to_working(self, level: Level, site: str, row: dict[str, Any]) -> Level | None:
        """A level brought from its own datum to the working one, by a shift or a tie, or not.

        Parameters
        ----------
        level : Level
            With its datum.
        site : str
            Site whose ties may serve.
        row : dict
            Row of the level, for the finding.

        Returns
        -------
        Level or None
            None where no shift is known, which is told once per site and datum.

        """
        name = level.datum.casefold()
        home = shifted(level, self._settings)
        if home is None:
            home = tied(level, self._ties.get((site, name), []), self._settings)
        if home is not None:
            return home
        working = self._settings.reference.vertical_datum
        if name == SITE_DATUM:
            fill = {"site": site, "value": f"{level.value_m:.3f}", "datum": working}
            self._once("level-21", row, site, name, fill)
        elif name != ELLIPSOID:  # level-18 asks for the separation
            stated = level.datum if name not in UNKNOWN else "a datum that is not stated"
            self._once("level-03", row, site, name, {"a": stated, "b": working})
        return None

    # --- one point ----------------------------------------------------------------------------

    def _level(self, row: dict[str, Any]) -> Level | None:
        site = text(row["site_id"])
        base = self._on_own_datum(row)
        level = None if base is None else self.to_working(base, site, row)
        if level is None:
            return None
        ground = self._ground.get(site, math.nan)
        if abs(level.value_m - ground) > FROM_GROUND_M:
            fill = {"row": row["row"], "level": f"{level.value_m:.3f}",
                    "d": f"{abs(level.value_m - ground):.1f}",
                    "updown": "above" if level.value_m > ground else "below"}  # fmt: skip
            self._say("level-25", row, "level_m", fill, site)
            return None
        return level

    def _on_own_datum(self, row: dict[str, Any]) -> Level | None:
        """Level of a point on the datum that it was measured on."""
        point = text(row["point_id"])
        if point in self._native:
            return self._native[point]
        self._native[point] = None  # a loop of starts ends here: no start, so it cannot clear
        start = self._start(row)
        visit = self._visits.of(row, text(row["site_id"]))
        routes = [self._stated(row, visit), self._satellite(row, visit), self._by_rise(row, start)]
        found = [level for level in routes if level is not None]
        # heights on unlike datums do not compare: the first one stands
        known = [r for r in found if r.datum.casefold() == found[0].datum.casefold()]
        level = lowest(known)
        if level is not None:
            level = self._doubted(row, level, visit, start)
            begun = (not pd.isna(row["gnss_h_m"]) and routes[1] is None) or (
                not pd.isna(row["rise_m"]) and routes[2] is None
            )
            if begun or len(known) < len(found):
                level = level.without_pedigree("another route to the point is not complete")
            if any(disagree(level, self._doubted(row, other, visit, start)) for other in known):
                level = level.without_pedigree("two chains disagree", assumed="the lower of two")
        self._native[point] = level
        return level

    def _start(self, row: dict[str, Any]) -> Level | None:
        start = text(row["from_point_id"])
        return self._on_own_datum(self._rows[start]) if start in self._rows else None

    def _datum(self, row: dict[str, Any], visit: Visit) -> str:
        stated = text(row["datum"])
        if stated or is_stopped(row, "datum"):
            return stated
        return visit.datum

    def _stated(self, row: dict[str, Any], visit: Visit) -> Level | None:
        if pd.isna(row["level_m"]):
            return None
        datum, value = self._datum(row, visit), float(row["level_m"])
        if datum.casefold() == ELLIPSOID:
            return self._separated(row, "level_m", visit)
        path = f"{text(row['kind']) or 'point'} {text(row['point_id'])} {value:.3f}"
        return Level(value, datum=datum, path=path, cells=(self.cell(row, "level_m"),))

    def _satellite(self, row: dict[str, Any], visit: Visit) -> Level | None:
        return None if pd.isna(row["gnss_h_m"]) else self._separated(row, "gnss_h_m", visit)

    def _separated(self, row: dict[str, Any], column: str, visit: Visit) -> Level | None:
        """H = h - N, only with the surveyor's separation at that place."""
        if pd.isna(row["geoid_sep_m"]):
            return None  # level-18 asks for it
        height, n = float(row[column]), float(row["geoid_sep_m"])
        datums = (self._datum(row, visit), visit.datum, self._settings.reference.vertical_datum)
        datum = next(d for d in datums if d.casefold() not in (*UNKNOWN, ELLIPSOID))
        point, source = text(row["point_id"]), text(row.get("separation_from"))
        return Level(
            round(height - n, 6), datum=datum,
            path=f"point {point} height above ellipsoid {height:.3f} {'-' if n >= 0 else '+'} "
                 f"separation {abs(n):.3f}" + (f" ({source})" if source else ""),
            cells=(self.cell(row, column), "" if source else self.cell(row, "geoid_sep_m")),
        )  # fmt: skip

    def _by_rise(self, row: dict[str, Any], start: Level | None) -> Level | None:
        if start is None or pd.isna(row["rise_m"]):
            return None
        rise = float(row["rise_m"])
        return start.step(rise, f"rise {abs(rise):.3f} to {text(row['point_id'])}",
                          cell=self.cell(row, "rise_m"))  # fmt: skip

    def _doubted(
        self, row: dict[str, Any], level: Level, visit: Visit, start: Level | None
    ) -> Level:
        """The level with its doubt, bias and the first step that cannot clear."""
        point, method = text(row["point_id"]), text(row["method"]) or "unknown"
        own = max(self._method_u_m(row, method, visit), self._mark_u_m(row))
        begin = start if start is not None else Level(0.0)
        biases = begin.biases
        is_mark = text(row["kind"]) == "national mark"
        if method not in _NOT_BY_INSTRUMENT and not is_mark:
            biases = (*biases, *visit.biases())
        stated = 0.0 if pd.isna(row["u_m"]) else float(row["u_m"])
        out = replace(
            level, shared=(*begin.shared, *_of_grid(row, level)), own_m=own, biases=biases, method=method,
            gap=self._gap(row, method, visit, start),
            cells=tuple(c for c in level.cells if c),
        )  # fmt: skip
        return out.at_least(stated).shared_by(point)

    def _method_u_m(self, row: dict[str, Any], method: str, visit: Visit) -> float:
        usual = visit.method_u_m(method)
        if method == "levelled" and not pd.isna(row["run_km"]):
            usual = max(usual, usual_u_m("levelled per root km") * float(row["run_km"]) ** 0.5)
        closure = 0.0 if pd.isna(row["closure_mm"]) else abs(float(row["closure_mm"])) / 1000.0
        return max(usual, closure / 2.0)

    def _mark_u_m(self, row: dict[str, Any]) -> float:
        return usual_u_m("old mark") if self._is_old_mark(row) else 0.0

    def _gap(self, row: dict[str, Any], method: str, visit: Visit, start: Level | None) -> str:
        """The first reason why a point cannot clear; '' = it can."""
        kind = text(row["kind"])
        is_mark = kind == "national mark"
        dated = visit.date or not pd.isna(row["mark_year"]) or not pd.isna(row["checked_year"])
        reasons = (
            method_gap(method),
            "" if dated else "no date of the measurement",
            "" if is_mark else visit.gap,
            visit.geoid_gap(method),
            "" if kind else "kind of the point not stated",
            "old mark, not checked" if self._is_old_mark(row) else "",
            doubt_gap(row),
            self._start_gap(row, method, start),
        )
        return next((r for r in reasons if r), "")

    def _start_gap(self, row: dict[str, Any], method: str, start: Level | None) -> str:
        named = text(row["from_point_id"])
        if not named:
            begins = method in _RUN and text(row["kind"]) != "national mark"
            return f"start of the {method} run not named" if begins else ""
        if start is None:
            return f"start {named} has no level"
        return start.gap

    def _is_old_mark(self, row: dict[str, Any]) -> bool:
        if text(row["kind"]) != "national mark" or not pd.isna(row["checked_year"]):
            return False
        year = row["mark_year"]
        return pd.isna(year) or self._settings.planning_date.year - int(year) > _OLD_MARK_YEARS

    # --- datums -------------------------------------------------------------------------------

    def _site_ties(self) -> dict[tuple[str, str], list[Tie]]:
        """Points known on a datum without a stated shift and on another one, by site and datum."""
        out: dict[tuple[str, str], list[Tie]] = {}
        for point, row in sorted(self._rows.items()):
            level = None if pd.isna(row["tie_level_m"]) else self._on_own_datum(row)
            if level is None or level.datum.casefold() in UNKNOWN:
                continue
            if to_working_datum(level.datum, self._settings) is not None:
                continue  # this point needs no tie, and gives none to others
            key = (text(row["site_id"]), level.datum.casefold())
            add = round(float(row["tie_level_m"]) - level.value_m, 6)
            u_m = max(usual_u_m("tie"), level.u_m)
            tie = Tie(point, add, u_m, text(row["tie_datum"]), level.gap,
                      self.cell(row, "tie_level_m"))  # fmt: skip
            out.setdefault(key, []).append(tie)
        return out

    # --- findings -----------------------------------------------------------------------------

    def _say(
        self, code: str, row: dict[str, Any], column: str, fill: dict[str, Any], site: str
    ) -> None:
        where = Cell(file=text(row["file"]), sheet=text(row["sheet"]), row=int(row["row"]),
                     column=column, cell=self.name(row, column))  # fmt: skip
        point = text(row.get("point_id"))
        self.findings.append(
            make(code, where, fill={"id": point, **fill}, site_id=site,
                 key=f"level_points/{point}" if point else "", place_id=point)
        )  # fmt: skip

    def _once(
        self, code: str, row: dict[str, Any], site: str, datum: str, fill: dict[str, Any]
    ) -> None:
        """One finding per site and datum, at its first row."""
        if (site, datum) not in self._told:
            self._told.add((site, datum))
            self._say(code, row, "datum", fill, site)


def _of_grid(row: dict[str, Any], level: Level) -> tuple[tuple[str, float], ...]:
    """Doubt that all heights turned by one grid share."""
    source = text(row.get("separation_from"))
    if not source or f"({source})" not in level.path:
        return ()
    return ((f"separation {source.rpartition(' at the ')[0]}", float(row["separation_u_m"])),)

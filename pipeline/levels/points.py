"""Levels of known points: stated, by satellite height and separation, by rise, by tie."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from pipeline.core.cells import Addresses
from pipeline.core.doubts import usual_u_m
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings
from pipeline.levels.chain import Level, method_gap
from pipeline.levels.datums import ELLIPSOID, SITE_DATUM, UNKNOWN, to_working_datum
from pipeline.levels.visits import Visit, Visits, text
from pipeline.tables import Tables

_OLD_MARK_YEARS: Final = 30
_FROM_GROUND_M: Final = 15.0


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
        self._ties = self._site_ties()
        self._known: dict[str, Level | None] = {}
        self._told: set[tuple[str, str]] = set()
        self.findings: list[Finding] = []
        for point in sorted(self._rows):
            self.get(point)

    def get(self, point_id: str) -> Level | None:
        """Level of a point on the working datum; None when there is none that may be used."""
        if point_id not in self._rows:
            return None
        if point_id not in self._known:
            self._known[point_id] = None  # a loop of rises ends here
            self._known[point_id] = self._level(self._rows[point_id])
        return self._known[point_id]

    def cell(self, row: dict[str, Any], column: str) -> str:
        """Address of a cell of a row."""
        return self._at.cell(row["file"], row["sheet"], column, row["row"])

    def name(self, row: dict[str, Any], column: str) -> str:
        """The cell alone: 'H14'."""
        return self._at.name(row["file"], row["sheet"], column, row["row"])

    def _say(self, code: str, row: dict[str, Any], column: str, fill: dict[str, Any]) -> None:
        where = Cell(file=text(row["file"]), sheet=text(row["sheet"]), row=int(row["row"]),
                     column=column, cell=self.name(row, column))  # fmt: skip
        point = text(row["point_id"])
        self.findings.append(
            make(code, where, fill={"id": point, **fill}, key=f"level_points/{point}",
                 site_id=text(row["site_id"]), place_id=point)
        )  # fmt: skip

    def _level(self, row: dict[str, Any]) -> Level | None:
        visit = self._visits.of(row, text(row["site_id"]))
        base = self._stated(row, visit)
        if base is None:
            base = self._by_rise(row)
        if base is None:
            return None
        ground = self._ground.get(text(row["site_id"]), math.nan)
        if abs(base.value_m - ground) > _FROM_GROUND_M:
            fill = {"row": row["row"], "level": f"{base.value_m:.3f}",
                    "d": f"{abs(base.value_m - ground):.1f}",
                    "updown": "above" if base.value_m > ground else "below"}  # fmt: skip
            self._say("level-25", row, "level_m", fill)
            return None
        return base

    def _stated(self, row: dict[str, Any], visit: Visit) -> Level | None:
        point = text(row["point_id"])
        method = text(row["method"]) or "unknown"
        datum = text(row["datum"]) or visit.datum
        if not pd.isna(row["level_m"]):
            value, cells = float(row["level_m"]), (self.cell(row, "level_m"),)
            path = f"{text(row['kind']) or 'point'} {point} {value:.3f}"
            if datum.casefold() == ELLIPSOID:
                return self._ellipsoid(row, value, method, visit)
        elif not pd.isna(row["gnss_h_m"]):
            return self._ellipsoid(row, float(row["gnss_h_m"]), method, visit)
        else:
            return None
        u, gap = self._doubt(row, method, visit)
        level = Level(value, u, 0.0, point, self._bias(method, visit), gap, method, datum, path,
                      cells)  # fmt: skip
        return self._on_working_datum(row, level, datum)

    def _ellipsoid(
        self, row: dict[str, Any], height_m: float, method: str, visit: Visit
    ) -> Level | None:
        """H = h - N, only with the surveyor's separation at that place."""
        if pd.isna(row["geoid_sep_m"]):
            return None  # level-18 asks for it
        n = float(row["geoid_sep_m"])
        u, gap = self._doubt(row, method, visit)
        point = text(row["point_id"])
        return Level(
            round(height_m - n, 6), math.hypot(u, usual_u_m("geoid model")), 0.0, point,
            self._bias(method, visit), gap, method, self._settings.reference.vertical_datum,
            f"point {point} height above ellipsoid {height_m:.3f} - separation {n:.3f}",
            (self.cell(row, "gnss_h_m"), self.cell(row, "geoid_sep_m")),
        )  # fmt: skip

    def _by_rise(self, row: dict[str, Any]) -> Level | None:
        start = text(row["from_point_id"])
        if not start or pd.isna(row["rise_m"]):
            return None
        base = self.get(start)
        if base is None:
            return None
        rise = float(row["rise_m"])
        method = text(row["method"]) or "unknown"
        closure = 0.0 if pd.isna(row["closure_mm"]) else abs(float(row["closure_mm"])) / 1000.0
        u = max(usual_u_m(method), closure / 2.0)
        level = base.step(rise, f"rise {abs(rise):.3f} to {text(row['point_id'])}", u_m=u,
                          cell=self.cell(row, "rise_m"), gap=method_gap(method))  # fmt: skip
        # what hangs on this point shares all of its doubt
        shared = math.hypot(level.shared_m, level.own_m)
        return replace(level, shared_m=shared, own_m=0.0, shared_key=text(row["point_id"]))

    def _doubt(self, row: dict[str, Any], method: str, visit: Visit) -> tuple[float, str]:
        usual = usual_u_m(method)
        if method == "GNSS network" and (visit.occupations or 1) < 2:
            usual = usual_u_m("GNSS network once")
        stated = 0.0 if pd.isna(row["u_m"]) else float(row["u_m"])
        gap = method_gap(method)
        dated = visit.date or not pd.isna(row["mark_year"]) or not pd.isna(row["checked_year"])
        if not gap and not dated:
            gap = "no date of the measurement"
        if self._is_old_mark(row):
            usual, gap = max(usual, usual_u_m("old mark")), gap or "old mark, not checked"
        return max(stated, usual), gap

    def _is_old_mark(self, row: dict[str, Any]) -> bool:
        if text(row["kind"]) != "national mark" or not pd.isna(row["checked_year"]):
            return False
        year = row["mark_year"]
        return pd.isna(year) or self._settings.planning_date.year - int(year) > _OLD_MARK_YEARS

    @staticmethod
    def _bias(method: str, visit: Visit) -> float:
        return visit.bias_m if method.startswith("GNSS") or method == visit.method else 0.0

    def _site_ties(self) -> dict[str, tuple[float, str, str]]:
        """Shift of each site's own datum from a tied point: site -> (add, tie datum, words)."""
        out: dict[str, tuple[float, str, str]] = {}
        for point, row in sorted(self._rows.items()):
            if pd.isna(row["tie_level_m"]) or pd.isna(row["level_m"]):
                continue
            add = float(row["tie_level_m"]) - float(row["level_m"])
            words = f"tie at {point} {add:+.3f}"
            out.setdefault(text(row["site_id"]), (round(add, 6), text(row["tie_datum"]), words))
        return out

    def _on_working_datum(self, row: dict[str, Any], level: Level, datum: str) -> Level | None:
        site = text(row["site_id"])
        if datum.casefold() == SITE_DATUM:
            tie = self._ties.get(site)
            if tie is None:
                self._once("level-21", row, {"site": site, "value": f"{level.value_m:.3f}",
                                             "datum": self._settings.reference.vertical_datum})  # fmt: skip
                return None
            level = self._shifted(level, tie[0], usual_u_m("tie"), tie[2])
            datum = tie[1]
        shift = to_working_datum(datum, self._settings)
        if shift is None:
            a = datum if datum.casefold() not in UNKNOWN else "a datum that is not stated"
            self._once("level-03", row, {"a": a, "b": self._settings.reference.vertical_datum})
            return None
        return self._shifted(level, *shift) if shift[0] or shift[1] else level

    def _once(self, code: str, row: dict[str, Any], fill: dict[str, Any]) -> None:
        """One finding per site and datum, at its first point."""
        key = (code, f"{text(row['site_id'])}/{text(row['datum'])}")
        if key not in self._told:
            self._told.add(key)
            self._say(code, row, "datum", fill)

    def _shifted(self, level: Level, add_m: float, u_m: float, words: str) -> Level:
        return replace(
            level,
            value_m=round(level.value_m + add_m, 6),
            shared_m=math.hypot(level.shared_m, u_m),
            path=f"{level.path} {words}",
        )

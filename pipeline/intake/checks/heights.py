"""Rough heights for the checks: enough to tell a dip from a level, never used in a result."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.intake.checks.view import KEY_OF_TABLE, Row, Survey, is_missing


class Heights:
    """Levels as typed of points, covers, floors and openings (m), datum not considered.

    Parameters
    ----------
    view : Survey
    """

    def __init__(self, view: Survey) -> None:
        points = view.frame("points")
        satellite = points["gnss_h_m"] - points["geoid_sep_m"]
        level = points["level_m"].where(points["level_m"].notna(), satellite)
        self.point = dict(zip(points["point_id"], level, strict=True))
        self.cover = self._places(view, "chambers", "cover_point_id", "cover_level_m")
        self.floor = self._places(view, "buildings", "floor_point_id", "floor_level_m")
        self._building_of = view.entry_building

    def _places(self, view: Survey, table: str, point: str, level: str) -> dict[str, float]:
        frame = view.frame(table)
        ids = frame[KEY_OF_TABLE[table]]
        out: dict[str, float] = {}
        for an_id, named, short in zip(ids, frame[point], frame[level], strict=True):
            value = self.point.get(named, np.nan)
            value = short if np.isnan(value) else value
            value = self.point.get(an_id, np.nan) if np.isnan(value) else value
            out[an_id] = float(value)
        return out

    def reference(self, row: Row) -> float:
        """Level of the point that an opening's dip or offset starts from; NaN when unknown."""
        named = row["ref_point_id"]
        for known in (self.point, self.cover, self.floor):
            if named in known and not np.isnan(known[named]):
                return float(known[named])
        place = row.get("place_id")
        if place in self.cover:
            return self.cover[place]
        building = row.get("building_id") or self._building_of.get(str(place))
        return self.floor.get(str(building), np.nan)

    def opening(self, row: Row) -> float:
        """Rough level of an opening by the first chain that is complete; NaN when none is."""
        for column in ("invert_level_m", "level_m"):
            if not is_missing(row[column]):
                return float(row[column])
        start = self.reference(row)
        if not is_missing(row["dip_down_m"]):
            return start - abs(float(row["dip_down_m"]))
        if not is_missing(row["above_m"]):
            return start + float(row["above_m"])
        return np.nan

    def of_site(self, view: Survey, site: str) -> list[float]:
        """Levels of covers and floors of a site: what is known of its ground."""
        places: list[tuple[dict[str, float], dict[str, str]]] = [
            (self.cover, view.chamber_site),
            (self.floor, view.building_site),
        ]
        return sorted(
            level
            for levels, sites in places
            for place, level in levels.items()
            if sites.get(place) == site and not np.isnan(level)
        )


def whole_mm(value_m: Any) -> float:
    """A length in whole millimetres, so that float noise decides nothing."""
    return float(np.round(float(value_m) * 1000.0))

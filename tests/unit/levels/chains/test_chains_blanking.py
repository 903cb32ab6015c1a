"""Less knowledge never raises a level, finds one, or lets one clear (law 1 of the house).

One survey with every kind of chain; each of its cells is blanked alone. What a blank may do is to
lower a level, to lose it, or to take its pedigree away.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import pytest

from pipeline.core.settings import Settings
from pipeline.levels.chain import Level
from pipeline.levels.heights import heights
from pipeline.tables import Tables

Levels = dict[tuple[str, str], Level | None]
DATUM = "Working Datum"
# What carries no fact of a level, or whose key names the row itself.
KEYS: Final = {"file", "sheet", "row", "row_state", "stopped", "is_unlisted",
               "point_id", "visit_id", "chamber_id", "building_id", "entry_id", "end_id",
               "obs_id"}  # fmt: skip
# A blank that the form defines to inherit, or that leaves no trace of what it said.
INHERITS: Final = {
    ("points", "datum"): "blank = as the visit",
    ("ends", "place_id"): "the end then stands at no place",
    ("ends", "site_id"): "made by intake from the place",
    ("ends", "face"): "the end then stands on no wall",
}
SURVEY: Final[dict[str, list[dict[str, Any]]]] = {
    "visits": [{}, {"visit_id": "V2", "visit_date": "2025-06-07", "instrument": "GNSS network",
                    "occupations_count": 2, "geoid_model": "Model 2015", "check_point_id": "M1",
                    "check_diff_mm": 20.0}],
    "points": [
        {"point_id": "M1", "kind": "national mark", "level_m": 40.0, "mark_year": 2019},
        {"point_id": "M2", "kind": "national mark", "level_m": 40.5, "mark_year": 1970,
         "checked_year": 2021},
        {"point_id": "M3", "kind": "national mark", "level_m": 40.5, "mark_year": 1970},
        {"point_id": "G1", "kind": "site mark", "gnss_h_m": 92.345, "geoid_sep_m": 50.012,
         "method": "GNSS network", "datum": "ellipsoid", "visit_id": "V2"},
        {"point_id": "P1", "kind": "cover", "level_m": 42.315, "from_point_id": "M1"},
        {"point_id": "P2", "kind": "cover", "from_point_id": "M2", "rise_m": 1.8},
        {"point_id": "P3", "kind": "cover", "level_m": 42.3, "from_point_id": "M3"},
        {"point_id": "F1", "kind": "floor", "level_m": 42.6, "from_point_id": "G1"},
        {"point_id": "T1", "kind": "site mark", "level_m": 100.0, "datum": "site datum",
         "method": "total station", "tie_level_m": 41.5, "tie_datum": DATUM},
        {"point_id": "T2", "kind": "site mark", "level_m": 100.5, "datum": "site datum",
         "method": "total station", "tie_level_m": 42.0, "tie_datum": DATUM},
        {"point_id": "L1", "kind": "cover", "level_m": 100.8, "datum": "site datum",
         "method": "total station"},
        {"point_id": "H1", "kind": "cover", "level_m": 42.0, "method": "lidar"},
    ],
    "chambers": [
        {"chamber_id": "C1", "cover_point_id": "P1", "depth_m": 2.4},
        {"chamber_id": "C2", "cover_point_id": "P2", "depth_m": 2.2, "depth_from": "frame",
         "frame_thickness_mm": 300.0},
        {"chamber_id": "C3", "cover_level_m": 42.1, "depth_m": 2.0, "visit_id": "V2"},
        {"chamber_id": "C4", "cover_point_id": "L1", "depth_m": 2.0},
        {"chamber_id": "C5", "cover_point_id": "P3", "depth_m": 2.0},
        {"chamber_id": "C6", "cover_point_id": "H1", "depth_m": 2.0},
    ],
    "buildings": [
        {"building_id": "B1", "floor_point_id": "F1", "lowest_floor_below_m": 2.45,
         "door_sill_above_floor_m": 0.15, "lowest_vent_above_floor_m": 0.3,
         "other_openings": "drain"},
        {"building_id": "B2", "floor_level_m": 42.5, "lowest_space": "ground floor",
         "door_sill_above_floor_m": 0.1},
    ],
    "entries": [
        {"entry_id": "E1", "level_method": "offset from floor", "ref_point_id": "F1",
         "above_m": -1.71, "measured_to": "lowest edge"},
        {"entry_id": "E2", "level_method": "direct", "level_m": 40.9, "kind": "slot",
         "height_mm": 3000.0, "measured_to": "centre", "building_id": "B2"},
        {"entry_id": "E3", "building_id": "B2"},
    ],
    "ends": [
        {"end_id": "D1", "place_id": "C1", "level_method": "dip", "ref_point_id": "P1",
         "dip_down_m": 1.86, "measured_to": "soffit (inside top)", "bore_mm": 300.0},
        {"end_id": "D2", "place_id": "C2", "level_method": "dip", "ref_point_id": "P2",
         "dip_down_m": 1.6, "measured_to": "centre", "dip_from": "frame"},
        {"end_id": "D3", "place_id": "C2", "level_method": "dip", "ref_point_id": "P2",
         "dip_down_m": 1.2, "measured_to": "outside top", "dip_from": "frame"},
        {"end_id": "D4", "place_id": "C3", "level_method": "direct", "invert_level_m": 40.8},
        {"end_id": "D5", "place_id": "C3", "level_method": "direct", "level_m": 41.9,
         "measured_to": "soffit (inside top)", "shape": "rectangular", "bore_b_mm": 1000.0},
        {"end_id": "D6", "place_id": "C4", "level_method": "dip", "ref_point_id": "L1",
         "dip_down_m": 1.5, "measured_to": "invert", "check_point_id": "F1",
         "check_dip_down_m": 2.2, "dip_from": "cover top"},
        {"end_id": "D7", "place_id": "C1", "level_method": "dip", "ref_point_id": "P1",
         "dip_down_m": 1.5, "measured_to": "invert", "check_point_id": "M1",
         "check_dip_down_m": 0.0},
        {"end_id": "D8", "place_id": "E1", "level_method": "offset from floor", "row_no": 1,
         "ref_point_id": "F1", "above_m": -1.55, "measured_to": "invert", "building_id": "B1"},
        {"end_id": "D9", "place_id": "E1", "level_method": "offset from floor", "row_no": 2,
         "ref_point_id": "F1", "above_m": -1.5, "measured_to": "silt surface",
         "contents": "silted", "building_id": "B1"},
        {"end_id": "D10", "place_id": "E3", "level_method": "direct", "invert_level_m": 41.4,
         "row_no": 1, "building_id": "B2"},
        {"end_id": "D11", "place_id": "E3", "level_method": "direct", "invert_level_m": 41.2,
         "row_no": 2, "building_id": "B2"},
        {"end_id": "D12", "place_id": "C5", "level_method": "judged", "level_m": 40.7,
         "measured_to": "invert"},
        {"end_id": "D13", "place_id": "C6", "level_method": "dip", "ref_point_id": "H1",
         "dip_down_m": 1.4, "measured_to": "invert", "seen": "not reached"},
        {"end_id": "D14", "place_id": "C6", "seen": "counted only"},
    ],
}  # fmt: skip
GROUND_M = 42.0


def _cells() -> list[tuple[str, int, str]]:
    return [
        (table, index, column)
        for table, rows in SURVEY.items()
        for index, row in enumerate(rows)
        for column in _filled(table, row)
        if column not in KEYS and (table, column) not in INHERITS
    ]


def _filled(table: str, row: dict[str, Any]) -> list[str]:
    shared = {"visits": ("site_id", "visit_date", "instrument", "datum"),
              "points": ("site_id", "method", "visit_id"),
              "chambers": ("site_id", "depth_from", "visit_id"),
              "buildings": ("site_id", "lowest_space", "visit_id"),
              "entries": ("building_id", "face", "kind", "visit_id"),
              "ends": ("shape", "bore_mm", "bore_method", "seen", "contents", "visit_id")}  # fmt: skip
    return sorted(set(row) | set(shared[table]))


@pytest.fixture(scope="module")
def tables(survey: Callable[..., Tables]) -> Tables:
    """The survey as it is."""
    return survey(**SURVEY)


@pytest.fixture(scope="module")
def ground(ground_of_site: Callable[..., Any]) -> Any:
    """Ground of the site."""
    return ground_of_site(GROUND_M)


@pytest.fixture(scope="module")
def before(tables: Tables, settings: Settings, ground: Any) -> Levels:
    """Its levels."""
    return heights(tables, settings, ground).levels


def test_the_survey_has_what_can_be_lost(before: Levels) -> None:
    """Most levels are known and clear, so that a blank has something to take."""
    known = [level for level in before.values() if level is not None]
    assert len(known) >= 0.75 * len(before)
    assert 0.4 <= sum(level.has_pedigree for level in known) / len(before) <= 0.8


@pytest.mark.parametrize(("table", "index", "column"), _cells())
def test_a_blank_never_raises_or_clears(
    tables: Tables, before: Levels, settings: Settings, ground: Any,
    table: str, index: int, column: str,
) -> None:  # fmt: skip
    """No level rises or appears, and none gains pedigree."""
    frame = tables[table]
    # rows stand in the order of their ids; their numbers, from 2, in the order of SURVEY
    blanked = frame.assign(**{column: frame[column].where(frame["row"] != index + 2)})
    assert blanked[column].isna().sum() == frame[column].isna().sum() + 1
    after = heights({**tables, table: blanked}, settings, ground).levels
    faults = []
    for key, new in after.items():
        old = before.get(key)
        if new is None:
            continue
        if old is None or new.value_m > old.value_m + 1e-9:
            faults.append(f"{key}: {old and old.value_m} -> {new.value_m}")
        elif new.has_pedigree and not old.has_pedigree:
            faults.append(f"{key} clears now")
    assert faults == []

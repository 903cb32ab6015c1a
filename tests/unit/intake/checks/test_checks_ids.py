"""The checks of ids and positions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from pipeline.intake.context import Checked

SITE = {"site_id": "S1", "region": "North", "x_m": 1000.0, "y_m": 1000.0}
PLACES = {
    "sites": [SITE],
    "buildings": [{"building_id": "B1", "site_id": "S1"}],
    "entries": [{"entry_id": "E1", "building_id": "B1"}],
    "chambers": [{"chamber_id": "C1", "site_id": "S1"}],
}
REGION = gpd.GeoDataFrame(
    {"region": ["North"]}, geometry=[shapely.box(0, 0, 10_000, 10_000)], crs="EPSG:27700"
)


def _chambers(*rows: dict[str, Any]) -> dict[str, Any]:
    base = {"site_id": "S1", "region": "North", "x_m": 1100.0, "y_m": 1000.0}
    return {"sites": [SITE], "chambers": [base | r for r in rows]}


def _pair(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    ends = [{"end_id": "D1", "place_id": "C1"} | one, {"end_id": "D2", "place_id": "E1"} | other]
    return {**PLACES, "ends": ends}


CASES: list[dict[str, Any]] = [
    {
        "code": "id-04",
        "tables": _chambers({"chamber_id": "CH-01"}, {"chamber_id": "CH-0I", "x_m": 1200.0}),
        "at": ("chambers", 1, "chamber_id"),
        "quiet": {("chambers", 1, "chamber_id"): "CH-02"},
        "says": '"CH-01" and "CH-0I"',
    },
    {
        "code": "id-05",
        "tables": {**PLACES, "ends": [{"end_id": "D1", "place_id": "C11"}]},
        "at": ("ends", 0, "place_id"),
        "quiet": {("ends", 0, "place_id"): "C1"},
        "values": ("place_id",),
        "says": "Nearest: C1",
    },
    {
        "code": "id-06",
        "tables": _chambers({"chamber_id": "C1"}, {"chamber_id": "C1#2", "site_id": "S2"}),
        "at": ("chambers", 0, "chamber_id"),
        "quiet": {("chambers", 1, "site_id"): "S1"},
    },
    {
        "code": "id-07",
        "tables": _pair({"far_end_id": "D2"}, {"far_end_id": "D9"}),
        "at": ("ends", 0, "far_end_id"),
        "quiet": {("ends", 1, "far_end_id"): "D1"},
        "rows": 2,
        "says": "it runs to D9",
    },
    {
        "code": "id-08",
        "tables": _chambers({"chamber_id": "C1", "ways_seen_count": 6}),
        "at": ("chambers", 0, "ways_seen_count"),
        "quiet": {("chambers", 0, "ways_seen_count"): 0},
        "says": "6 ways",
    },
    {
        "code": "id-09",
        "tables": {**PLACES, "ends": [{"end_id": "C1", "place_id": "E1"}]},
        "at": ("ends", 0, "end_id"),
        "quiet": {("ends", 0, "end_id"): "D1"},
    },
    {
        "code": "place-03",
        "tables": _chambers({"chamber_id": "C1", "x_m": 16_000.0, "position_from": "x"}),
        "at": ("chambers", 0, "easting_m"),
        "quiet": {("chambers", 0, "x_m"): 14_999.0},  # the outline ends at 10 km, 5 km are allowed
        "values": ("x_m", "y_m", "plan_u_m", "position_from"),
        "layers": {"regions": REGION},
        "says": "plots 6 km outside North",
    },
    {
        "code": "place-07",
        "tables": _chambers({"chamber_id": "C1", "grid_ref": "AB 123 678"}),
        "at": ("chambers", 0, "grid_ref"),
        "quiet": {("chambers", 0, "grid_ref"): "AB 1234 6789"},  # eight figures: 10 m
        "says": "only to 100 m",
    },
    {
        "code": "place-10",
        "tables": _chambers({"chamber_id": "C1", "x_m": 1600.0}),
        "at": ("chambers", 0, "site_id"),
        "quiet": {("chambers", 0, "x_m"): 1500.0},
        "says": "600 m from site S1",
    },
    {
        "code": "place-11",
        "tables": _chambers({"chamber_id": "C1"}, {"chamber_id": "C2", "x_m": 1100.3}),
        "at": ("chambers", 0, "chamber_id"),
        "quiet": {("chambers", 1, "x_m"): 1100.6},
        "rows": 2,
    },
    {
        "code": "visit-02",
        "tables": {
            **PLACES,
            "photos": [{"photo_id": "P1", "place_id": "E1"}],
            "ends": [{"end_id": "D1", "place_id": "E1", "photo_id": "P2"}],
        },
        "at": ("ends", 0, "photo_id"),
        "quiet": {("ends", 0, "photo_id"): "P1"},
    },
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: str(c["code"]))
def test_each_fires_at_its_cell_alone(
    case: dict[str, Any], prove: Callable[[dict[str, Any]], None]
) -> None:
    """Rules of survey_rules.csv: the fault fires at its cell; one cell mended, it is silent."""
    prove(case)


def test_ids_with_dashes_at_other_places_are_no_look_alikes(
    run: Callable[..., list[Checked]],
) -> None:
    """D1-11 and D11-1 hold the same characters, yet they are wall 1 way 11 and wall 11 way 1."""
    rows = _chambers({"chamber_id": "D1-11"}, {"chamber_id": "D11-1", "x_m": 1300.0})
    assert run(rows, code="id-04") == []


def test_one_missing_parent_is_one_line(run: Callable[..., list[Checked]]) -> None:
    """Forty rows with one wrong place are one cause: one finding, and all forty are touched."""
    ends = [{"end_id": f"D{i}", "place_id": "NOWHERE"} for i in range(40)]
    found = run({**PLACES, "ends": ends}, code="id-05")
    assert len(found) == 40
    assert len({c.finding for c in found}) == 1
    assert "Row 2 (also 3 to 41)" in found[0].finding.message


def test_answers_and_coordinates_are_no_missing_parents(
    run: Callable[..., list[Checked]],
) -> None:
    """'unknown', 'buried', STREET sites, x,y pairs and short-cut levels need no row of their own."""
    tables = {
        "sites": [SITE],
        "buildings": [{"building_id": "B1", "site_id": "S1", "floor_level_m": 9.0}],
        "entries": [{"entry_id": "E1", "building_id": "B1", "leads_to": "buried"}],
        "chambers": [{"chamber_id": "C1", "site_id": "STREET-North", "cover_level_m": 8.0}],
        "ends": [
            {"end_id": "D1", "place_id": "E1", "far_place_id": "unknown", "ref_point_id": "B1"},
            {"end_id": "D2", "place_id": "C1", "far_place_id": "E1", "ref_point_id": "C1"},
        ],
        "flood_levels": [{"flood_id": "F1", "applies_to": "500100, 640200"}],
    }
    assert run(tables, code="id-05") == []


def test_chamber_of_an_earlier_file_that_moved(run: Callable[..., list[Checked]]) -> None:
    """id-06 also sees the older row of another file, where reading hands those over."""
    older = pd.DataFrame(
        [{"chamber_id": "C1", "site_id": "S1", "x_m": 1400.0, "y_m": 1400.0, "file": "old.xlsx"}]
    )
    now = _chambers({"chamber_id": "C1"})
    assert run(now, code="id-06") == []
    found = run(now, code="id-06", extra={"older_chambers": older})
    assert len(found) == 1
    assert "500 m away" in found[0].finding.message  # 300 m and 400 m: a 3-4-5 triangle

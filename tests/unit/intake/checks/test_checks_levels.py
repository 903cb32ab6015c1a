"""The checks of dips, offsets and level points."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pipeline.intake.context import Checked

CHAMBER = {"chamber_id": "C1", "site_id": "S1", "cover_level_m": 42.0, "depth_m": 1.8}
BUILDING = {"building_id": "B1", "site_id": "S1", "lowest_space": "ground floor"}
ENTRY = {"entry_id": "E1", "building_id": "B1"}
END = {"end_id": "D1", "place_id": "C1", "measured_to": "invert", "bore_mm": 100.0}


def _ends(*rows: dict[str, Any], **chamber: Any) -> dict[str, Any]:
    ends = [END | {"end_id": f"D{i + 1}"} | r for i, r in enumerate(rows)]
    return {"chambers": [CHAMBER | chamber], "ends": ends}


def _points(*rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    base = {"site_id": "S1", "method": "levelled", "u_m": 0.01}
    return {"points": [base | r for r in rows], **more}


CASES: list[dict[str, Any]] = [
    {
        # 93.4 - 42.0 = 51.4 m, and the surveyor's own separation at the site is 51.4 m
        "code": "level-04",
        "tables": _points(
            {"point_id": "P1", "level_m": 42.0},
            {"point_id": "P2", "level_m": 93.4},
            {"point_id": "P3", "gnss_h_m": 94.0, "geoid_sep_m": 51.4},
        ),
        "at": ("points", 1, "level_m"),
        "quiet": {("points", 1, "level_m"): 43.1},
        "values": ("level_m",),
        "says": "93.4 m is about 51.4 m above",
    },
    {
        "code": "level-05",
        "values": ("level_m",),
        "tables": _points(
            {"point_id": "P1", "level_m": 42.3},
            {"point_id": "P2", "level_m": 41.9},
            {"point_id": "P3", "level_m": 42315.0},
        ),
        "at": ("points", 2, "level_m"),
        "quiet": {("points", 2, "level_m"): 42.315},
        "says": "42.315 m",
    },
    {
        "code": "level-06",
        "tables": _ends({"dip_down_m": -1.2}),
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 0, "dip_down_m"): 1.2},
        "says": "We read 1.2 m below",
    },
    {
        "code": "level-07",
        "tables": _ends({"dip_down_m": 40.6}),  # 42.0 - 1.4: the level of the duct
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 0, "dip_down_m"): 1.4},
        "values": ("dip_down_m",),
    },
    {
        "code": "level-08",
        "tables": _ends({"dip_down_m": 1.901}),  # depth 1.8 + 0.1 is allowed
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 0, "dip_down_m"): 1.9},
    },
    {
        "code": "level-10",
        "tables": _ends({"dip_down_m": 1.2, "measured_to": None}, {"dip_down_m": 1.3}),
        "at": ("ends", 0, "measured_to"),
        "quiet": {("ends", 0, "measured_to"): "invert"},
        "says": "bore (100 mm)",
    },
    {
        "code": "level-11",
        "tables": _ends({"dip_down_m": 1.2, "measured_to": "silt surface"}),
        "at": ("ends", 0, "measured_to"),
        "quiet": {("ends", 0, "measured_to"): "centre"},
        "says": "whole bore (100 mm)",
    },
    {
        "code": "level-12",
        "tables": {"buildings": [BUILDING], "entries": [ENTRY | {"above_m": -0.4}]},
        "at": ("entries", 0, "above_m"),
        "quiet": {("entries", 0, "above_m"): 0.4},
        "says": "0.4 m below",
    },
    {
        "code": "level-12",
        "tables": {
            "buildings": [BUILDING | {"door_sill_above_floor_m": 0.15}],
            "entries": [ENTRY | {"above_m": 1.1}],
        },
        "at": ("entries", 0, "above_m"),
        "quiet": {("entries", 0, "above_m"): 0.15},
    },
    {
        "code": "level-13",
        "tables": _ends(*({"dip_down_m": 1.2, "row_no": r, "face": "A"} for r in (1, 2, 3))),
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 2, "dip_down_m"): 1.35},
        "rows": 3,
    },
    {
        "code": "level-15",
        "tables": _ends({"dip_down_m": 1.2, "dip_from": "frame"}, depth_from="cover top"),
        "at": ("chambers", 0, "depth_from"),
        "quiet": {("chambers", 0, "frame_thickness_mm"): 90.0},
    },
    {
        "code": "level-16",
        "tables": _points({"point_id": "P1", "kind": "national mark", "mark_year": 2000}),
        "at": ("points", 0, "checked_year"),
        "quiet": {("points", 0, "mark_year"): 2001},  # planning date 2031: thirty years
        "says": "(2000)",
    },
    {
        "code": "level-17",
        "tables": {
            "visits": [{"visit_id": "V1", "instrument": "GNSS network", "occupations_count": 1}]
        },
        "at": ("visits", 0, "occupations_count"),
        "quiet": {("visits", 0, "occupations_count"): 2},
        "says": "0.04 m",  # job practice: 0.040 m for one occupation, from memory of the trade
    },
    {
        "code": "level-18",
        "tables": _points({"point_id": "P1", "gnss_h_m": 93.4}),
        "at": ("points", 0, "geoid_sep_m"),
        "quiet": {("points", 0, "geoid_sep_m"): 51.4},
    },
    {
        "code": "level-20",
        "tables": _points({"point_id": "P1", "level_m": 42.0, "u_m": None}),
        "at": ("points", 0, "u_m"),
        "quiet": {("points", 0, "u_m"): 0.02},
        "says": "0.005 m",  # levelled: 0.005 m, from memory of the trade
    },
    {
        "code": "level-22",
        "values": ("level_m",),
        "tables": _points(
            {"point_id": "P1", "level_m": 137.8},  # 137.8 ft = 42.0 m
            {"point_id": "P2", "level_m": 139.4},
            sites=[{"site_id": "S1"}],
            flood_levels=[
                {"flood_id": "F1", "applies_to": "S1", "value_is": "level", "value_m": 42.6}
            ],
        ),
        "at": ("points", 0, "level_m"),
        "quiet": {("flood_levels", 0, "value_m"): 139.0},
        "rows": 2,
        "says": "137.8 ft = 42.001 m",  # 137.8 x 0.3048, by hand
    },
    {
        "code": "level-22",
        "values": ("dip_down_m",),
        "tables": _ends({"dip_down_m": 3.9}, {"dip_down_m": 4.2}, {"dip_down_m": 4.6}),
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 2, "dip_down_m"): 1.4},
        "rows": 3,
    },
    {
        "code": "level-23",
        "tables": _ends(
            {"dip_down_m": 0.5, "far_end_id": "D2", "length_m": 4.0},
            {"dip_down_m": 1.6, "far_end_id": "D1"},
        ),
        "at": ("ends", 0, "dip_down_m"),
        "quiet": {("ends", 1, "dip_down_m"): 1.5},  # 1.0 m in 4 m is 1 in 4
        "rows": 2,
        "says": "falls 1.1 m in 4 m",
    },
    {
        "code": "level-24",
        "tables": _points({"point_id": "P1", "closure_mm": -21.0, "run_km": 4.0}),
        "at": ("points", 0, "closure_mm"),
        "quiet": {("points", 0, "closure_mm"): 20.0},  # 10 mm x sqrt(4), common practice
        "says": "misses by 21 mm; 20 mm",
    },
    {
        "code": "level-26",
        "tables": {
            "chambers": [CHAMBER],
            "ends": [
                END | {"end_id": f"D{i}", "level_m": 40.0 + i / 2.0 + (0.13 if i == 0 else 0.0)}
                for i in range(10)
            ],
        },
        "at": ("ends", 0, "level_m"),
        "quiet": {("ends", 1, "level_m"): 40.37},
        "rows": 10,
        "says": "0.25 m",  # house rule for a drawing
    },
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: str(c["code"]))
def test_each_fires_at_its_cell_alone(
    case: dict[str, Any], prove: Callable[[dict[str, Any]], None]
) -> None:
    """Rules of survey_rules.csv: the fault fires at its cell; one cell mended, it is silent."""
    prove(case)


def test_dips_in_feet_are_one_line(run: Callable[..., list[Checked]]) -> None:
    """A chamber dipped in feet is asked once, not a second time as dips below its floor."""
    tables = _ends({"dip_down_m": 3.9}, {"dip_down_m": 4.2}, {"dip_down_m": 4.6})
    assert {c.finding.code for c in run(tables)} & {"level-08", "level-22"} == {"level-22"}


def test_a_dip_that_is_a_level_is_not_also_too_deep(run: Callable[..., list[Checked]]) -> None:
    """One line per cause: level-07 leaves nothing for level-08."""
    assert run(_ends({"dip_down_m": 40.6}), code="level-08") == []


def test_bottom_named_by_the_column_needs_no_measured_to(
    run: Callable[..., list[Checked]],
) -> None:
    """An invert level says itself where it was measured (contract: short cuts)."""
    tables = _ends({"invert_level_m": 40.5, "measured_to": None})
    assert run(tables, code="level-10") == []


def test_placeholder_in_measured_to_is_not_asked_twice(
    run: Callable[..., list[Checked]],
) -> None:
    """'TBC' has been asked by the reading (file-12); only an empty cell is asked here."""
    tables = _ends({"dip_down_m": 1.2, "measured_to": None})
    assert len(run(tables, code="level-10")) == 1
    assert run(tables, code="level-10", raws={("ends", 0, "measured_to"): "TBC"}) == []


@pytest.mark.parametrize(("off_m", "weight"), [(0.9, None), (1.1, "ASK"), (5.1, "STOP")])
def test_separation_off_the_world_model(
    run: Callable[..., list[Checked]],
    monkeypatch: pytest.MonkeyPatch,
    off_m: float,
    weight: str | None,
) -> None:
    """level-19: more than 1 m off is asked, more than 5 m is not used; a level plane as world."""
    monkeypatch.setattr(
        "pipeline.intake.checks.satellite.separation_m", lambda *at: np.full(len(at[0]), 50.0)
    )
    site = {"site_id": "S1", "x_m": 480_000.0, "y_m": 640_000.0}
    row = {"point_id": "P1", "gnss_h_m": 93.0, "geoid_sep_m": 50.0 - off_m}
    found = run(_points(row, sites=[site]), code="level-19")
    assert [c.finding.weight for c in found] == ([weight] if weight else [])
    assert [c.columns for c in found] == (
        [("geoid_sep_m",) if weight == "STOP" else ()] if weight else []
    )


def test_without_a_world_model_no_separation_is_judged(
    run: Callable[..., list[Checked]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No grid on the machine: nothing is said, for nothing is known."""
    monkeypatch.setattr("pipeline.intake.checks.satellite.separation_m", lambda *_: None)
    row = {"point_id": "P1", "gnss_h_m": 93.0, "geoid_sep_m": -50.0}
    assert run(_points(row, sites=[{"site_id": "S1"}]), code="level-19") == []


def test_a_small_separation_tells_nothing(run: Callable[..., list[Checked]]) -> None:
    """Where the geoid lies 6 m off the ellipsoid, a hill of 6 m is no satellite height."""
    rows = _points(
        {"point_id": "P1", "level_m": 42.0},
        {"point_id": "P2", "level_m": 48.0},
        {"point_id": "P3", "gnss_h_m": 49.0, "geoid_sep_m": 6.0},
    )
    assert run(rows, code="level-04") == []

"""Levels of covers, floors, entries and seen water against chains worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

Work = Callable[..., Any]
MARK = {"point_id": "M1", "kind": "national mark", "level_m": 40.000, "mark_year": 2019}
FLOOR = {"point_id": "F1", "kind": "floor", "level_m": 42.600, "from_point_id": "M1"}
BUILDING = {"building_id": "B1", "floor_point_id": "F1", "lowest_floor_below_m": 2.450,
            "door_sill_above_floor_m": 0.150, "lowest_vent_above_floor_m": 0.300,
            "equipment_above_floor_m": -0.200}  # fmt: skip
ENTRY = {"entry_id": "E1", "level_method": "offset from floor", "ref_point_id": "F1",
         "above_m": -1.710, "measured_to": "lowest edge"}  # fmt: skip
END = {"place_id": "E1", "place_kind": "entry", "building_id": "B1", "measured_to": "invert",
       "level_method": "offset from floor", "ref_point_id": "F1"}  # fmt: skip
HIGH = END | {"end_id": "D1", "above_m": -1.550, "row_no": 1}
LOW = END | {"end_id": "D2", "above_m": -1.680, "row_no": 2}


def house(work: Work, *ends: dict[str, Any], **more: Any) -> Any:
    rows = {"points": [MARK, FLOOR], "buildings": [BUILDING], "entries": [ENTRY], **more}
    return work(**rows, ends=list(ends))


def test_offsets_of_a_building(work: Work) -> None:
    """Floor mark 42.600: lowest floor - 2.450, door + 0.150, vent + 0.300, equipment - 0.200."""
    result = house(work)
    expected = {"floor": 42.600, "lowest floor": 40.150, "door": 42.750, "vent": 42.900,
                "equipment": 42.400}  # fmt: skip
    for kind, level_m in expected.items():
        assert result.level(kind, "B1") == pytest.approx(level_m), kind
        assert result.row(kind, "B1")["has_pedigree"], kind


def test_an_entry_is_the_lowest_of_its_ends_and_its_own_chain(work: Work) -> None:
    """Own chain 42.600 - 1.710 = 40.890; an end at 42.600 - 1.800 = 40.800 lies lower."""
    assert house(work, HIGH, LOW).level("entry", "E1") == pytest.approx(40.890)
    assert house(work, HIGH | {"above_m": -1.800}).level("entry", "E1") == pytest.approx(40.800)


def test_an_end_without_a_chain_at_a_measured_entry(work: Work) -> None:
    """It takes the entry's lowest edge, 40.890, and cannot clear; nor can the entry then."""
    result = house(work, HIGH, LOW | {"above_m": None})
    assert result.level("duct end", "D2") == pytest.approx(40.890)
    assert not result.row("duct end", "D2")["has_pedigree"]
    assert not result.row("entry", "E1")["has_pedigree"]


def test_other_ends_do_not_tell_how_low_a_missing_one_lies(work: Work) -> None:
    """The lowest end of an entry that was not measured has no level, nor has the entry."""
    bare = {"entry_id": "E1"}
    result = house(work, HIGH, LOW | {"above_m": None}, entries=[bare])
    assert pd.isna(result.row("duct end", "D2")["level_m"])
    assert pd.isna(result.row("entry", "E1")["level_m"])
    # an end of the row above lies higher than the lowest one: 42.600 - 1.680
    upper = house(work, HIGH | {"above_m": None}, LOW, entries=[bare])
    assert upper.level("duct end", "D1") == pytest.approx(40.920)
    assert upper.level("entry", "E1") == pytest.approx(40.920)
    assert not upper.row("entry", "E1")["has_pedigree"]


def test_an_entry_with_a_lost_chain_has_no_level(work: Work) -> None:
    """Its lowest edge may have lain under all its ends; the opening counts as reached by water."""
    result = house(work, HIGH, LOW, entries=[ENTRY | {"above_m": None}])
    assert pd.isna(result.row("entry", "E1")["level_m"])
    assert result.codes() == ["level-01"]


@pytest.mark.parametrize(("kind", "height_mm", "expected_m"), [
    ("slot", 400.0, 40.490),  # 40.890 - 0.400
    ("slot", None, 37.890),  # height not known: 3 m, the form's largest
    ("single duct", None, 40.790),  # the bore of its end, 100 mm
])  # fmt: skip
def test_an_entry_measured_to_its_top(
    work: Work, kind: str, height_mm: float | None, expected_m: float
) -> None:
    """Anything but the lowest edge is converted with the size (form, measured_to)."""
    row = ENTRY | {"measured_to": "soffit (inside top)", "kind": kind, "height_mm": height_mm}
    assert house(work, HIGH, entries=[row]).level("entry", "E1") == pytest.approx(expected_m)


def test_an_offset_without_a_point_counts_from_the_lowest_mark(work: Work) -> None:
    """It may have been taken from the floor mark 42.600 or from the sill 42.400: 42.400 - 1.550."""
    sill = {"point_id": "F2", "kind": "sill", "level_m": 42.400, "from_point_id": "M1"}
    row = HIGH | {"ref_point_id": None}
    assert house(work, row).level("duct end", "D1") == pytest.approx(41.050)
    two = house(work, row, points=[MARK, FLOOR, sill])
    assert two.level("duct end", "D1") == pytest.approx(40.850)
    assert not two.row("duct end", "D1")["has_pedigree"]


def test_a_cover_told_twice_is_the_lower_one(work: Work) -> None:
    """Point 42.315 and short cut 42.300 agree within 2 sqrt(0.0071^2 + 0.005^2) = 17 mm; 42.200 does not."""
    cover = {"point_id": "P1", "kind": "cover", "level_m": 42.315, "from_point_id": "M1"}
    place = {"chamber_id": "C1", "cover_point_id": "P1", "cover_level_m": 42.300}
    near = work(points=[MARK, cover], chambers=[place]).row("cover", "C1")
    assert near["level_m"] == pytest.approx(42.300)
    assert near["has_pedigree"]
    far = work(points=[MARK, cover], chambers=[place | {"cover_level_m": 42.200}]).row(
        "cover", "C1"
    )
    assert far["level_m"] == pytest.approx(42.200)
    assert not far["has_pedigree"]
    lost = work(points=[MARK, cover | {"level_m": None}], chambers=[place]).row("cover", "C1")
    assert pd.isna(lost["level_m"])


@pytest.mark.parametrize(("depth_from", "thick_mm", "expected_m"), [
    ("cover top", None, 39.600), ("frame", 150.0, 39.450), ("frame", None, 39.300),
    (None, None, 39.300),
])  # fmt: skip
def test_a_chamber_floor_lies_under_the_edge_it_was_measured_from(
    work: Work, depth_from: str | None, thick_mm: float | None, expected_m: float
) -> None:
    """42.000 - depth 2.400, from the frame by its thickness lower, at most 300 mm."""
    place = {"chamber_id": "C1", "cover_level_m": 42.000, "depth_m": 2.400,
             "depth_from": depth_from, "frame_thickness_mm": thick_mm}  # fmt: skip
    assert work(chambers=[place]).level("chamber floor", "C1") == pytest.approx(expected_m)


WET = {"chamber_id": "C1", "cover_level_m": 42.000, "water_state": "standing",
       "water_below_cover_m": 0.950}  # fmt: skip


def test_water_seen_in_a_chamber(work: Work) -> None:
    """42.000 - 0.950; a measured depth counts in any state; full is the cover; else anywhere."""
    assert work(chambers=[WET]).level("water seen", "C1") == pytest.approx(41.050)
    blank_state = work(chambers=[WET | {"water_state": None}])
    assert blank_state.level("water seen", "C1") == pytest.approx(41.050)
    full = work(chambers=[WET | {"water_state": "full", "water_below_cover_m": None}])
    assert full.level("water seen", "C1") == pytest.approx(42.000)
    anywhere = work(chambers=[WET | {"water_below_cover_m": None}])
    assert pd.isna(anywhere.row("water seen", "C1")["level_m"])
    dry = work(chambers=[WET | {"water_state": "dry", "water_below_cover_m": None}])
    assert ("water seen", "C1") not in dry.levels.index


def test_marks_that_somebody_saw(work: Work) -> None:
    """Below the cover at a chamber, above the floor mark at a building; the highest of several."""
    seen = [
        {"obs_id": "O1", "place_id": "C1", "what": "water level", "observed_value": 0.600},
        {"obs_id": "O2", "place_id": "E1", "what": "tide mark", "observed_value": -1200.0,
         "observed_unit": "mm"},
    ]  # fmt: skip
    result = house(work, chambers=[WET], observations=seen)
    assert result.level("water seen", "C1") == pytest.approx(41.400)
    assert result.level("water seen", "B1") == pytest.approx(41.400)  # 42.600 - 1.200
    unread = house(work, chambers=[WET], observations=[seen[0] | {"observed_value": None}])
    assert pd.isna(unread.row("water seen", "C1")["level_m"])


def test_openings_beside_the_ducts(work: Work) -> None:
    """A drain lies at the lowest floor; of hatch and crack the level is not known."""
    row = BUILDING | {"other_openings": "sump outlet; trench cover; crack"}
    result = house(work, buildings=[row])
    assert result.level("drain", "B1") == pytest.approx(40.150)
    assert pd.isna(result.row("hatch", "B1")["level_m"])
    assert pd.isna(result.row("crack", "B1")["level_m"])

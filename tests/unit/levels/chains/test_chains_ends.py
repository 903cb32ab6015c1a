"""Levels of duct ends against chains worked by hand (known point + signed steps).

Every survey here hangs on mark M1 = 40.000 or on cover P1 = 42.315, levelled from it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

Work = Callable[..., Any]
MARK = {"point_id": "M1", "kind": "national mark", "level_m": 40.000, "mark_year": 2019}
COVER = {"point_id": "P1", "kind": "cover", "level_m": 42.315, "from_point_id": "M1"}
CHAMBER = {"chamber_id": "C1", "cover_point_id": "P1", "depth_m": 2.400}
DIP = {"end_id": "D1", "place_kind": "chamber", "place_id": "C1", "level_method": "dip",
       "ref_point_id": "P1", "dip_down_m": 1.860, "measured_to": "invert"}  # fmt: skip


def chamber(work: Work, *ends: dict[str, Any], **more: Any) -> Any:
    rows = {"points": [MARK, COVER], "chambers": [CHAMBER], **more}
    return work(**rows, ends=list(ends))


@pytest.mark.parametrize(
    ("measured_to", "bore_mm", "expected_m"),
    [
        ("invert", 100.0, 40.455),  # 42.315 - 1.860
        ("sill of bell mouth", 100.0, 40.455),
        ("centre", 100.0, 40.405),  # - 0.050
        ("soffit (inside top)", 100.0, 40.355),  # - 0.100
        ("silt surface", 100.0, 40.355),  # the whole bore until it is cleaned
        ("outside top", 100.0, 40.347),  # - 0.100 - wall 0.08 x 100 = 0.008
        (None, 100.0, 40.347),  # blank = outside top
        ("outside top", 30.0, 40.422),  # - 0.030 - wall, at least 0.003
        ("soffit (inside top)", None, 40.155),  # bore not known: 300 mm, the form's largest
    ],
)
def test_a_dip_comes_down_to_the_lowest_edge(
    work: Work, measured_to: str | None, bore_mm: float | None, expected_m: float
) -> None:
    """Cover - dip - what lies between the measured point and the invert."""
    result = chamber(work, DIP | {"measured_to": measured_to, "bore_mm": bore_mm})
    assert result.level("duct end", "D1") == pytest.approx(expected_m, abs=1e-9)


def test_a_direct_level_is_brought_down_too(work: Work) -> None:
    """A level taken at the soffit is not the invert: 40.455 - 0.100; an invert level is."""
    at = {"end_id": "D1", "place_id": "C1", "level_method": "direct"}
    soffit = chamber(work, at | {"level_m": 40.455, "measured_to": "soffit (inside top)"})
    assert soffit.level("duct end", "D1") == pytest.approx(40.355, abs=1e-9)
    invert = chamber(work, at | {"invert_level_m": 40.455, "measured_to": None})
    assert invert.level("duct end", "D1") == pytest.approx(40.455, abs=1e-9)
    assert invert.row("duct end", "D1")["has_pedigree"]


def test_doubts_limit_and_pedigree_of_a_dip(work: Work) -> None:
    """Shared: mark 0.005 and run 0.005; own: dip 0.010. u = sqrt(0.00015) = 0.01225; x 1.645 = 20.1: 21 mm."""
    row = chamber(work, DIP).row("duct end", "D1")
    assert row["u_shared_m"] == pytest.approx((2 * 0.005**2) ** 0.5, abs=1e-12)
    assert row["u_own_m"] == pytest.approx(0.010, abs=1e-12)
    assert row["limit_mm"] == 21
    assert row["has_pedigree"]
    assert row["shared_key"] == "P1"


@pytest.mark.parametrize(
    ("point", "visit", "expected_m"),
    [
        (MARK, {}, 0.011),
        ({"point_id": "M1", "kind": "site mark", "level_m": 40.0, "method": "GNSS network"},
         {"instrument": "GNSS network", "occupations_count": 2, "geoid_model": "Model 2015"}, 0.024),
        ({"point_id": "M1", "kind": "cover", "level_m": 40.0, "method": "lidar"}, {}, 0.150),
    ],
)  # fmt: skip
def test_doubts_of_the_worked_examples(
    work: Work, point: dict[str, Any], visit: dict[str, Any], expected_m: float
) -> None:
    """Levelled + dip 0.011; network GNSS + geoid + dip 0.024; lidar + dip 0.150 (hand calculation)."""
    end = DIP | {"ref_point_id": "M1", "place_id": "E1", "place_kind": "entry"}
    row = work(visits=[visit], points=[point], ends=[end]).row("duct end", "D1")
    u_m = (row["u_shared_m"] ** 2 + row["u_own_m"] ** 2) ** 0.5
    assert round(u_m, 3) == expected_m


def test_a_stated_doubt_only_widens(work: Work) -> None:
    """The larger of the stated doubt and the floor of the method counts, for the whole level."""
    wide = chamber(work, DIP | {"level_u_m": 0.050}).row("duct end", "D1")
    assert (wide["u_shared_m"] ** 2 + wide["u_own_m"] ** 2) ** 0.5 == pytest.approx(0.050)
    assert wide["limit_mm"] == 83  # 82.25
    narrow = chamber(work, DIP | {"level_u_m": 0.003}).row("duct end", "D1")
    assert narrow["limit_mm"] == 21


def test_words_and_cells_follow_the_chain(work: Work) -> None:
    """The signed figures of the path add up to the level; the cells stand in its order."""
    row = chamber(work, DIP | {"measured_to": "soffit (inside top)"}).row("duct end", "D1")
    assert row["path"] == "cover P1 42.315 - dip 1.860 - bore 0.100"
    signed = re.findall(r"(-?) ?(?:[A-Za-z]\w* )*(\d+\.\d{3})", row["path"])
    assert sum(float(sign + value) for sign, value in signed) == pytest.approx(row["level_m"])
    sheets = [cell.partition("!")[0] for cell in row["cells"].split("; ")]
    assert sheets == ["level_points", "ducts"]


@pytest.mark.parametrize(
    ("dip_from", "depth_from", "thick_mm", "expected_m"),
    [
        ("frame", "cover top", 150.0, 40.305),  # 40.455 - 0.150
        (None, "slab top", 150.0, 40.305),  # blank = as the chamber
        ("frame", "cover top", None, 40.155),  # thickness not known: 300 mm, the form's largest
        (None, None, None, 40.155),
        ("cover top", "frame", None, 40.455),
    ],
)
def test_dips_from_a_frame_start_lower(
    work: Work, dip_from: str | None, depth_from: str | None, thick_mm: float | None,
    expected_m: float,
) -> None:  # fmt: skip
    """A dip from the frame or slab starts under the cover's top by its thickness (level-15)."""
    place = CHAMBER | {"depth_from": depth_from, "frame_thickness_mm": thick_mm}
    result = chamber(work, DIP | {"dip_from": dip_from}, chambers=[place])
    assert result.level("duct end", "D1") == pytest.approx(expected_m, abs=1e-9)


def test_a_blank_start_beside_another_start_is_not_the_chambers(work: Work) -> None:
    """Where one dip of a chamber starts at the frame, a blank one may too."""
    place = CHAMBER | {"frame_thickness_mm": 150.0}
    result = chamber(work, DIP | {"dip_from": "frame"}, DIP | {"end_id": "D2"}, chambers=[place])
    assert result.level("duct end", "D2") == pytest.approx(40.305, abs=1e-9)
    assert not result.row("duct end", "D2")["has_pedigree"]


def test_an_end_without_a_chain_in_a_chamber(work: Work) -> None:
    """Cover - depth - 0.1 m: 42.315 - 2.400 - 0.100 = 39.815; asked once, named by its row."""
    result = chamber(work, DIP | {"dip_down_m": None})
    row = result.row("duct end", "D1")
    assert row["level_m"] == pytest.approx(39.815, abs=1e-9)
    assert not row["has_pedigree"]
    assert result.codes() == ["level-01"]


def test_an_end_above_the_cover_is_refused(work: Work) -> None:
    """An end at 42.5 cannot lie over a cover at 42.315: it gets the chamber's level instead."""
    row = {"end_id": "D1", "place_id": "C1", "level_method": "direct", "invert_level_m": 42.500}
    result = chamber(work, row)
    assert result.level("duct end", "D1") == pytest.approx(39.815, abs=1e-9)
    assert sorted(result.codes()) == ["level-01", "level-09"]


def test_a_level_far_from_the_ground_is_refused(work: Work) -> None:
    """57 m beside ground at 41 m is another height system: the end has no level."""
    end = {"end_id": "D1", "place_id": "E1", "level_method": "direct", "invert_level_m": 57.0}
    result = work(41.0, ends=[end])
    assert pd.isna(result.row("duct end", "D1")["level_m"])
    assert "level-25" in result.codes()


CHECK = DIP | {"check_point_id": "M1", "check_dip_down_m": 0.000}


@pytest.mark.parametrize(("mark_m", "expected_m", "is_apart"), [
    (40.484, 40.455, False),  # 29 mm apart: under 2 sqrt(0.010^2 + 0.010^2 + 0.005^2) = 30 mm
    (40.423, 40.423, True),  # 32 mm apart (33.2 without the shared mark): the lower one
    (40.487, 40.455, True),
])  # fmt: skip
def test_two_chains(work: Work, mark_m: float, expected_m: float, is_apart: bool) -> None:
    """Cover and mark share the mark's doubt, which cancels; the run to the cover does not."""
    mark = MARK | {"level_m": mark_m}
    result = chamber(work, CHECK, points=[mark, COVER])
    row = result.row("duct end", "D1")
    assert row["level_m"] == pytest.approx(expected_m, abs=1e-9)
    assert row["second_level_m"] == pytest.approx(mark_m)
    assert ("level-02" in result.codes()) == is_apart
    assert row["has_pedigree"] != is_apart


def test_a_lost_main_chain_does_not_leave_the_higher_one(work: Work) -> None:
    """Main 40.455 lost, check 41.000 left: the end counts as one without a chain (39.815)."""
    mark = MARK | {"level_m": 41.000}
    for lost in ("dip_down_m", "ref_point_id"):
        result = chamber(work, CHECK | {lost: None}, points=[mark, COVER])
        assert result.level("duct end", "D1") == pytest.approx(39.815, abs=1e-9), lost
    lower = chamber(work, CHECK | {"check_dip_down_m": 1.500, "dip_down_m": None})
    assert lower.level("duct end", "D1") == pytest.approx(38.500, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "gap"),
    [
        ({"level_method": "judged", "level_m": 40.455, "dip_down_m": None}, "level method judged"),
        ({"level_method": None}, "level method not stated"),
        ({"measured_to": None}, "measured to: not stated"),
        ({"measured_to": "silt surface"}, "silted invert"),
        ({"contents": "silted"}, "silted invert"),
        ({"contents": None}, "contents not seen"),
        ({"seen": "not reached"}, "mouth not reached"),
    ],
)
def test_what_an_end_cannot_clear_with(work: Work, change: dict[str, Any], gap: str) -> None:
    """Judged, silted, not stated: never `above`."""
    row = chamber(work, DIP | change).row("duct end", "D1")
    assert not row["has_pedigree"]
    assert row["pedigree_gap"] in (gap, gap.replace("level method", "method"))


def test_a_dip_without_a_point_counts_from_the_only_cover(work: Work) -> None:
    """A small survey: cover by its short cut, dip without a point: 42.000 - 1.500, never clearing."""
    place = {"chamber_id": "C1", "cover_level_m": 42.000}
    row = DIP | {"ref_point_id": None, "dip_down_m": 1.500}
    small = work(chambers=[place], ends=[row])
    assert small.level("duct end", "D1") == pytest.approx(40.500)
    assert not small.row("duct end", "D1")["has_pedigree"]
    # with points to name, the dip may have been taken from any of them
    named = work(points=[MARK], chambers=[place], ends=[row])
    assert pd.isna(named.row("duct end", "D1")["level_m"])

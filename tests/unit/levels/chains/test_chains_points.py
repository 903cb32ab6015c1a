"""Levels of points, visits and datums against chains worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

Work = Callable[..., Any]
DATUM, OLD = "Working Datum", "Old Datum"
MARK = {"point_id": "M1", "kind": "national mark", "level_m": 40.000, "mark_year": 2019}


def cover(work: Work, point: dict[str, Any], *others: dict[str, Any], **more: Any) -> Any:
    """The cover of chamber C1, which is point P1."""
    row = {"point_id": "P1", "kind": "cover", **point}
    return work(
        more.pop("ground", None), points=[row, *others],
        chambers=[{"chamber_id": "C1", "cover_point_id": "P1"}], **more,
    )  # fmt: skip


def test_a_rise_from_a_mark(work: Work) -> None:
    """40.000 + 2.315 = 42.315; doubts of mark and run: sqrt(2) x 0.005."""
    row = cover(work, {"from_point_id": "M1", "rise_m": 2.315}, MARK).row("cover", "C1")
    assert row["level_m"] == pytest.approx(42.315)
    assert row["u_shared_m"] == pytest.approx(0.0070711, abs=1e-6)
    assert row["path"] == "national mark M1 40.000 + rise 2.315 to P1"
    assert row["has_pedigree"]


def test_a_levelled_point_takes_over_its_start(work: Work) -> None:
    """An old mark that nobody checked: doubt at least 0.10 m, and it clears nothing (level-16)."""
    old = MARK | {"mark_year": 1974}
    row = cover(work, {"level_m": 42.315, "from_point_id": "M1"}, old).row("cover", "C1")
    assert row["u_shared_m"] == pytest.approx((0.100**2 + 0.005**2) ** 0.5)
    assert not row["has_pedigree"]
    assert "old mark" in row["pedigree_gap"]
    checked = cover(
        work, {"level_m": 42.315, "from_point_id": "M1"}, old | {"checked_year": 2020}
    ).row("cover", "C1")
    assert checked["has_pedigree"]
    unnamed = cover(work, {"level_m": 42.315}, old).row("cover", "C1")
    assert not unnamed["has_pedigree"]


def test_satellite_height_minus_separation(work: Work) -> None:
    """H = h - N: 92.345 - 50.012 = 42.333; without N there is no level (never unchanged)."""
    visit = {"instrument": "GNSS network", "occupations_count": 2, "geoid_model": "Model 2015"}
    point = {"gnss_h_m": 92.345, "geoid_sep_m": 50.012, "method": "GNSS network",
             "datum": "ellipsoid"}  # fmt: skip
    row = cover(work, point, visits=[visit]).row("cover", "C1")
    assert row["level_m"] == pytest.approx(42.333)
    assert row["has_pedigree"]
    # u: two occupations 0.020, geoid model 0.008
    assert row["u_shared_m"] == pytest.approx((0.020**2 + 0.008**2) ** 0.5)
    bare = cover(work, point | {"geoid_sep_m": None}, visits=[visit])
    assert pd.isna(bare.row("cover", "C1")["level_m"])
    as_level = cover(work, {"level_m": 92.345, "method": "GNSS network", "datum": "ellipsoid"},
                     visits=[visit])  # fmt: skip
    assert pd.isna(as_level.row("cover", "C1")["level_m"])
    no_model = cover(work, point, visits=[visit | {"geoid_model": None}]).row("cover", "C1")
    assert not no_model["has_pedigree"]


def test_a_separation_below_zero_adds(work: Work) -> None:
    """New York, N = -32.8: h = 10.000 gives H = 42.800."""
    point = {"gnss_h_m": 10.000, "geoid_sep_m": -32.800, "method": "GNSS network"}
    assert cover(work, point).level("cover", "C1") == pytest.approx(42.800)


def test_another_datum_needs_a_stated_shift(work: Work) -> None:
    """42.275 on the old datum + 0.040 = 42.315, with the shift's doubt; no shift: no level."""
    mark = MARK | {"datum": OLD}
    row = cover(work, {"level_m": 42.275, "datum": OLD, "from_point_id": "M1"}, mark).row(
        "cover", "C1"
    )
    assert row["level_m"] == pytest.approx(42.315)
    assert row["u_shared_m"] == pytest.approx((0.005**2 * 2 + 0.015**2) ** 0.5)
    assert row["datum"] == OLD
    other = cover(work, {"level_m": 42.275, "datum": "Harbour Datum"})
    assert pd.isna(other.row("cover", "C1")["level_m"])
    assert other.codes() == ["level-03"]
    unknown = cover(work, {"level_m": 42.275, "datum": "unknown"})
    assert pd.isna(unknown.row("cover", "C1")["level_m"])


TIE = {"point_id": "T1", "kind": "site mark", "level_m": 100.000, "datum": "site datum",
       "method": "total station", "tie_level_m": 41.500, "tie_datum": DATUM}  # fmt: skip
LOCAL = {"level_m": 101.000, "datum": "site datum", "method": "total station"}


def test_a_site_datum_moves_with_its_tie(work: Work) -> None:
    """101.000 + (41.500 - 100.000) = 42.500; one tie shows no blunder and clears nothing."""
    one = cover(work, LOCAL, TIE).row("cover", "C1")
    assert one["level_m"] == pytest.approx(42.500)
    assert not one["has_pedigree"]
    two = TIE | {"point_id": "T2", "level_m": 100.500, "tie_level_m": 42.010}
    both = cover(work, LOCAL, TIE, two).row("cover", "C1")
    assert both["level_m"] == pytest.approx(42.500)  # T2 gives 42.510
    assert both["has_pedigree"]
    apart = cover(work, LOCAL, TIE, two | {"tie_level_m": 41.800}).row("cover", "C1")
    assert apart["level_m"] == pytest.approx(42.300)  # the lower one
    assert not apart["has_pedigree"]


def test_a_tied_point_of_another_datum_shifts_no_site_datum(work: Work) -> None:
    """A point that is on the working datum already says nothing of the site's own datum."""
    stray = TIE | {"datum": DATUM, "level_m": 41.500}
    result = cover(work, LOCAL, stray)
    assert pd.isna(result.row("cover", "C1")["level_m"])
    assert result.codes() == ["level-21"]


def test_levels_measured_on_a_tied_site_datum(work: Work) -> None:
    """A direct level of a visit on the site's datum comes home by the tie: 99.000 - 58.500."""
    end = {"end_id": "D1", "place_id": "E1", "level_method": "direct", "invert_level_m": 99.000}
    result = work(visits=[{"datum": "site datum"}], points=[TIE], ends=[end])
    assert result.level("duct end", "D1") == pytest.approx(40.500)


def test_a_loop_of_rises_gives_no_level(work: Work) -> None:
    """P1 from P2 and P2 from P1 start nowhere."""
    loop = {"point_id": "P2", "kind": "site mark", "from_point_id": "P1", "rise_m": -1.0}
    result = cover(work, {"from_point_id": "P2", "rise_m": 1.0}, loop)
    assert pd.isna(result.row("cover", "C1")["level_m"])


@pytest.mark.parametrize("method", ["lidar", "drawing", "judged", "phone or handheld", None])
def test_methods_that_never_clear(work: Work, method: str | None) -> None:
    """Lidar, drawing, judged, phone and unknown have no pedigree."""
    row = cover(work, {"level_m": 42.315, "method": method}).row("cover", "C1")
    assert not row["has_pedigree"]


def test_a_point_far_from_the_ground_is_refused(work: Work) -> None:
    """92 m beside ground at 42 m is not a level of this site; 15.0 m off still is one."""
    far = cover(work, {"level_m": 92.0}, ground=42.0)
    assert pd.isna(far.row("cover", "C1")["level_m"])
    assert far.codes() == ["level-25"]
    assert cover(work, {"level_m": 57.0}, ground=42.0).level("cover", "C1") == 57.0


def test_a_check_point_that_is_off_widens_the_whole_visit(work: Work) -> None:
    """60 mm off at a mark of 0.005 with GNSS 0.0215: over 2 x 0.0221 = 44 mm; limit + 60 mm."""
    visit = {"instrument": "GNSS network", "occupations_count": 2, "geoid_model": "Model 2015",
             "check_point_id": "M1", "check_diff_mm": 60.0}  # fmt: skip
    point = {"level_m": 42.315, "method": "GNSS network"}
    result = cover(work, point, MARK, visits=[visit])
    row = result.row("cover", "C1")
    assert row["bias_m"] == pytest.approx(0.060)
    assert row["limit_mm"] == 96  # 1.645 x 0.02154 = 35.4, + 60
    assert result.codes() == ["level-27"]
    near = cover(work, point, MARK, visits=[visit | {"check_diff_mm": 44.0}])
    assert near.row("cover", "C1")["bias_m"] == 0.0
    assert near.codes() == []


def test_a_bias_is_added_once_along_a_chain(work: Work) -> None:
    """Point and its start were measured on one visit: its bias counts once."""
    visit = {"instrument": "level", "check_point_id": "M1", "check_diff_mm": 60.0}
    start = {"point_id": "P0", "kind": "site mark", "level_m": 41.0, "from_point_id": "M1"}
    row = cover(work, {"from_point_id": "P0", "rise_m": 1.0}, MARK, start, visits=[visit]).row(
        "cover", "C1"
    )
    assert row["bias_m"] == pytest.approx(0.060)


def test_a_row_without_a_visit_where_visits_differ(work: Work) -> None:
    """Blank = latest visit of the site; where the visits differ nothing is cleared on a guess."""
    end = {"end_id": "D1", "place_id": "E1", "level_method": "direct", "invert_level_m": 40.0,
           "visit_id": None}  # fmt: skip
    phone = {"visit_id": "V0", "visit_date": "2024-01-02", "instrument": "phone"}
    assert work(ends=[end]).row("duct end", "D1")["has_pedigree"]
    assert not work(visits=[phone, {}], ends=[end]).row("duct end", "D1")["has_pedigree"]
    assert not work(ends=[end | {"visit_id": "V9"}]).row("duct end", "D1")["has_pedigree"]

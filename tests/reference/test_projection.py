"""Plan positions against the Ordnance Survey's own worked example and test points.

Sources: Ordnance Survey, A guide to coordinate systems in Great Britain, annex C (Caister water
tower); the OSTN15/OSGM15 developer pack's test points in os_test_points.csv (contains OS data
© Crown copyright and database right, BSD-type licence).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.core import geo

POINTS = pd.read_csv(Path(__file__).with_name("os_test_points.csv"), comment="#")
MAINLAND = POINTS[POINTS["datum_flag"] == 1]


def test_all_points_of_the_developer_pack() -> None:
    """ETRS89 to the British grid: published to the millimetre, met to the millimetre."""
    assert len(MAINLAND) == 28
    moved = geo.to_working(
        POINTS["etrs89_lon"], POINTS["etrs89_lat"], "EPSG:4258", "EPSG:27700", max_accuracy_m=0.1
    )
    assert moved.accuracy_m == 0.0
    np.testing.assert_allclose(moved.x_m, POINTS["osgb_e"], atol=0.0011)
    np.testing.assert_allclose(moved.y_m, POINTS["osgb_n"], atol=0.0011)


def test_the_way_back() -> None:
    """The grid to ETRS89: the published angles within 2e-8 degrees (2 mm)."""
    moved = geo.to_working(
        POINTS["osgb_e"], POINTS["osgb_n"], "EPSG:27700", "EPSG:4258", max_accuracy_m=0.1
    )
    np.testing.assert_allclose(moved.x_m, POINTS["etrs89_lon"], atol=2e-8)
    np.testing.assert_allclose(moved.y_m, POINTS["etrs89_lat"], atol=2e-8)


def test_the_projection_alone() -> None:
    """Annex C: OSGB36 52°39′27.2531″N 1°43′4.5177″E is 651409.903 E, 313177.270 N."""
    lat = geo.degrees_from_dms("52°39′27.2531″N")
    lon = geo.degrees_from_dms("1°43′4.5177″E")
    assert lat is not None
    assert lon is not None
    moved = geo.to_working([lon], [lat], "EPSG:4277", "EPSG:27700", max_accuracy_m=1.0)
    assert moved.x_m[0] == pytest.approx(651_409.903, abs=0.001)
    assert moved.y_m[0] == pytest.approx(313_177.270, abs=0.001)


def test_the_whole_shift_of_annex_c() -> None:
    """ETRS89 52.658007833, 1.716073973 is 651409.804 E, 313177.450 N by the shift grid."""
    moved = geo.to_working(
        [1.716073973], [52.658007833], "EPSG:4258", "EPSG:27700", max_accuracy_m=0.1
    )
    assert moved.x_m[0] == pytest.approx(651_409.804, abs=0.001)
    assert moved.y_m[0] == pytest.approx(313_177.450, abs=0.001)


def test_outside_the_shift_is_no_position() -> None:
    """Where the shift grid ends there is no position, never a ballpark one."""
    moved = geo.to_working(
        [10.0, np.nan], [52.0, 50.0], "EPSG:4258", "EPSG:27700", max_accuracy_m=5
    )
    assert np.isnan(moved.x_m).all()
    assert np.isnan(moved.y_m).all()


def test_too_coarse_an_operation_is_refused() -> None:
    """WGS 84 is known to the British grid to 1 m; a limit of 0.5 m refuses it."""
    moved = geo.to_working([-1.45], [50.93], "EPSG:4326", "EPSG:27700", max_accuracy_m=0.5)
    assert np.isnan(moved.x_m).all()


def test_an_old_datum_without_its_grid_is_refused() -> None:
    """ED50 to UTM on ETRS89 states metres of accuracy: refused under 1 m (EPSG registry)."""
    moved = geo.to_working([10.0], [50.0], "EPSG:4230", "EPSG:25832", max_accuracy_m=1.0)
    assert np.isnan(moved.x_m).all()


def test_utm_against_its_central_meridian() -> None:
    """By definition of UTM the central meridian (9°E, zone 32) is at 500 000 m E."""
    moved = geo.to_working([9.0], [0.0], "EPSG:4326", "EPSG:32632", max_accuracy_m=1.0)
    assert moved.x_m[0] == pytest.approx(500_000, abs=1e-6)
    assert moved.y_m[0] == pytest.approx(0, abs=1e-6)

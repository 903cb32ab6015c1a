"""World geoid heights at known cities, where a grid is installed."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pipeline.core.separation import open_separations
from pipeline.intake.checks import geoid

# Expected values: EGM96 15' grid of the PROJ data package, as listed with the survey rules
# (geoid separation by city). City coordinates from memory, hence the tolerance of 0.6 m.
CITIES = {
    "Manchester": (-2.24, 53.48, 51.4),
    "London": (-0.13, 51.51, 46.0),
    "Inverness": (-4.22, 57.48, 53.5),
    "Belfast": (-5.93, 54.60, 56.0),
    "New York": (-74.01, 40.71, -32.8),
    "Mumbai": (72.88, 19.08, -68.5),
}
TOLERANCE_M = 0.6
PLACES = "OGC:CRS84"


@pytest.fixture(autouse=True)
def _fresh() -> Iterator[None]:
    """The grid is looked for anew before and after each test."""
    geoid._pipeline.cache_clear()
    yield
    geoid._pipeline.cache_clear()


@pytest.mark.parametrize("city", sorted(CITIES))
def test_separation_of_cities(city: str) -> None:
    """The detector gives the published geoid height with the right sign (h = H + N)."""
    lon, lat, expected_m = CITIES[city]
    got = geoid.separation_m([lon], [lat], PLACES)
    if got is None:  # no world geoid on this machine: then none may lie where PROJ data lies
        assert geoid._candidates() == list(geoid._GRIDS)
        return
    assert got[0] == pytest.approx(expected_m, abs=TOLERANCE_M)


def _plane(folder: Path) -> None:
    """A grid of five by five degrees whose height is 10 + lon + 2 lat (GTX, big-endian)."""
    head = struct.pack(">4d2i", 50.0, -5.0, 1.0, 1.0, 6, 6)
    cells = [10.0 + (-5.0 + c) + 2.0 * (50.0 + r) for r in range(6) for c in range(6)]
    (folder / "plane.gtx").write_bytes(head + struct.pack(">36f", *cells))


def test_a_grid_of_ours_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bilinear in a plane is exact: at lon -2.5, lat 52.25 it is 10 - 2.5 + 104.5 = 112 m."""
    _plane(tmp_path)
    monkeypatch.setattr(geoid, "_GRIDS", ("plane.gtx",))
    monkeypatch.setenv("PROJ_DATA", str(tmp_path))
    got = geoid.separation_m([-2.5, np.nan, 20.0], [52.25, np.nan, 20.0], PLACES)
    assert got is not None
    assert got[0] == pytest.approx(112.0, abs=1e-4)
    assert np.isnan(got[1])  # no position, no separation
    assert np.isnan(got[2])  # outside the grid


def test_no_grid_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a grid nothing is known, and nothing is taken to be zero."""
    monkeypatch.setattr(geoid, "_GRIDS", ("there_is_no_such_grid.gtx",))
    assert geoid.separation_m([-2.5], [52.25], PLACES) is None


# The agency's own test file of EGM96 (National Imagery and Mapping Agency, program F477, its sample
# input and output): latitude, longitude east, geoid height.
AGENCY = [
    (38.6281550, 269.7791550, -31.628), (-14.6212170, 305.0211140, -2.969),
    (46.8743190, 102.4487290, -43.575), (-23.6174460, 133.8747120, 15.871),
    (38.6254730, 359.9995000, 50.066), (-0.4667440, 0.0023000, 17.329),
]  # fmt: skip


@pytest.mark.parametrize(("lat", "lon", "expected_m"), AGENCY)
def test_undulation_points_of_the_agency(lat: float, lon: float, expected_m: float) -> None:
    """Published undulations to 0.06 m, the published tolerance of bilinear on the 15' grid."""
    got = geoid.separation_m([lon - 360.0 if lon > 180.0 else lon], [lat], PLACES)
    if got is None:
        pytest.skip("no world geoid grid (EGM96) is installed here: Debian's proj-data has one")
    assert got[0] == pytest.approx(expected_m, abs=0.06)


@pytest.mark.parametrize(("lat", "lon", "expected_m"), AGENCY)
def test_a_grid_named_by_the_user_gives_the_same(lat: float, lon: float, expected_m: float) -> None:
    """Our own reading of the same file, as `[reference.separation]` would name it."""
    files = [Path(f) for f in geoid._candidates() if Path(f).is_file()]
    if not files:
        pytest.skip("no world geoid grid (EGM96) is installed here: Debian's proj-data has one")
    assert open_separations(files[0]).at([lon], [lat])[0] == pytest.approx(expected_m, abs=0.06)

"""Satellite heights turned into levels by a grid that the user names: read as PROJ reads it."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.transform import from_origin

from pipeline.core import settings_file
from pipeline.core.doubts import read_parts
from pipeline.core.errors import UsageError
from pipeline.core.separation import open_separations
from pipeline.intake import intake
from pipeline.run import compute
from tests.spoiled import Programme

WEST, SOUTH, STEP, ROWS, COLUMNS = -9.0, 49.0, 0.25, 49, 49


def grid(path: Path, values: np.ndarray, west: float = WEST) -> Path:
    """A GTX file (big-endian, from the south): NOAA VDatum's format as GDAL documents it."""
    head = struct.pack(">4d2i", SOUTH, west, STEP, STEP, *values.shape)
    path.write_bytes(head + values[::-1].astype(">f4").tobytes())
    return path


def hills() -> np.ndarray:
    """Separations that are no plane, so that a wrong weight shows; row 0 is north."""
    rng = np.random.default_rng(3)
    return 50.0 + np.round(rng.normal(0.0, 1.0, (ROWS, COLUMNS)), 3)


def test_as_proj_reads_the_same_file(tmp_path: Path) -> None:
    """500 places: PROJ's vgridshift (bilinear, GTX) on the same file, to 0.1 mm."""
    path = grid(tmp_path / "hills.gtx", hills())
    proj = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=vgridshift +grids={path} +multiplier=1 "
        "+step +proj=unitconvert +xy_in=rad +xy_out=deg"
    )
    rng = np.random.default_rng(5)
    lon = rng.uniform(WEST, WEST + (COLUMNS - 1) * STEP, 500)
    lat = rng.uniform(SOUTH, SOUTH + (ROWS - 1) * STEP, 500)
    _, _, expected = proj.transform(lon, lat, np.zeros(500))
    np.testing.assert_allclose(open_separations(path).at(lon, lat), expected, atol=1e-4)


def test_nodes_edges_and_holes(tmp_path: Path) -> None:
    """A node is its value; outside, and beside a node without data (-88.8888), nothing is said."""
    values = hills()
    values[10, 10] = -88.8888
    found = open_separations(grid(tmp_path / "hills.gtx", values))
    north = SOUTH + (ROWS - 1) * STEP
    assert found.at([WEST], [north])[0] == pytest.approx(values[0, 0], abs=1e-4)
    assert found.at([WEST + 12.0], [SOUTH])[0] == pytest.approx(values[-1, -1], abs=1e-4)
    assert np.isnan(found.at([WEST - 0.1, WEST + 2.45, np.nan], [50.0, north - 2.45, 50.0])).all()


def test_a_grid_that_counts_to_360(tmp_path: Path) -> None:
    """West of Greenwich is 351 to 360 degrees in some grids."""
    values = hills()
    one = open_separations(grid(tmp_path / "a.gtx", values))
    two = open_separations(grid(tmp_path / "b.gtx", values, west=351.0))
    np.testing.assert_allclose(one.at([-3.1], [53.3]), two.at([-3.1], [53.3]), atol=1e-9)


def test_a_geotiff_in_degrees(tmp_path: Path) -> None:
    """The same values as a GeoTIFF, whose values stand at pixel centres, give the same."""
    values = hills()
    north = SOUTH + (ROWS - 1) * STEP
    corner = from_origin(WEST - STEP / 2, north + STEP / 2, STEP, STEP)
    path = tmp_path / "hills.tif"
    with rasterio.open(path, "w", driver="GTiff", height=ROWS, width=COLUMNS, count=1,
                       dtype="float32", crs="EPSG:4258", transform=corner) as file:  # fmt: skip
        file.write(values.astype("float32"), 1)
    gtx = open_separations(grid(tmp_path / "hills.gtx", values))
    lon, lat = [-3.11, 0.4], [53.2, 58.77]
    np.testing.assert_allclose(open_separations(path).at(lon, lat), gtx.at(lon, lat), atol=1e-6)


def test_other_files_are_refused(tmp_path: Path) -> None:
    """A text, a file that is not there and a GeoTIFF in metres: one clear line each."""
    text = tmp_path / "geoid.gtx"
    text.write_text("no grid")
    with pytest.raises(UsageError, match="no grid of separations"):
        open_separations(text)
    with pytest.raises(UsageError, match="There is no file"):
        open_separations(tmp_path / "none.gtx")
    metres = tmp_path / "metres.tif"
    with rasterio.open(metres, "w", driver="GTiff", height=2, width=2, count=1, dtype="float32",
                       crs="EPSG:3035", transform=from_origin(0, 10, 5, 5)) as file:  # fmt: skip
        file.write(np.ones((2, 2), "float32"), 1)
    with pytest.raises(UsageError, match="not in degrees"):
        open_separations(metres)


def test_a_satellite_height_becomes_the_level_that_was_levelled(tmp_path: Path) -> None:
    """H = h - N: with h = H + N typed in place of H every level of the site is what it was.

    N at the site by PROJ on the same file; the grid's doubt is shared by all that hangs on it.
    """
    path = grid(tmp_path / "hills.gtx", hills())
    plain = Programme(tmp_path)
    (tmp_path / "plain").mkdir()
    settings = settings_file.load(plain.config())
    before, _, _ = compute(plain.config(), settings)
    site = before["sites"].set_index("site_id").loc["K01"]
    to_degrees = pyproj.Transformer.from_crs(
        settings.reference.working_crs, "EPSG:4258", always_xy=True
    )
    lon, lat = to_degrees.transform(site["x_m"], site["y_m"])
    separation = float(open_separations(path).at(lon, lat)[0])
    book = plain.book
    level = float(book.value("level_points", "P-K01", "level_m"))
    book.type("level_points", "P-K01", "level_m", None)
    book.type("level_points", "P-K01", "gnss_h_m", round(level + separation, 4))
    # the floor hangs on the site mark by a rise alone: 15.970 - 0.170 = 15.800 m as before
    book.type("level_points", "P-K01-B1", "level_m", None)
    book.type("level_points", "P-K01-B1", "rise_m", -0.17)
    asked = intake(settings_file.load(plain.config()))["findings"]
    assert "level-18" in set(asked["code"])  # without a grid it is asked for
    plain.text += (
        f'\n[reference.separation]\npath = "{path.as_posix()}"\nname = "Hills 2020"\nu_m = 0.02\n'
    )
    config = plain.config()
    after, _, _ = compute(config, settings_file.load(config))
    assert "level-18" not in set(after["findings"]["code"])
    key = ["thing_kind", "thing_id"]
    one = before["levels"].set_index(key).query("site_id == 'K01'")
    two = after["levels"].set_index(key).query("site_id == 'K01'")
    np.testing.assert_allclose(two["level_m"], one["level_m"], atol=3e-3)
    row = two.loc[("floor", "K01-B1")]
    assert "separation" in row["path"]
    assert "Hills 2020 at the site" in row["path"]
    assert read_parts(row["shared_parts"])["separation Hills 2020"] == pytest.approx(0.02)
    assert row["u_shared_m"] > one.loc[("floor", "K01-B1"), "u_shared_m"]

"""Grids of depths: levels over their own ground, and what must not read as dry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from pipeline.core.errors import UsageError
from pipeline.core.rasters import open_depths
from pipeline.core.settings import Source

CRS = "EPSG:27700"
DEPTHS = [[0.5, 0.0, 0.25], [-9999.0, 1.0, -0.3], [0.0, 2.0, np.nan]]


def write(
    path: Path, cells: list[list[float]], *, cell_m: float = 10.0, nodata: float | None = None
) -> Path:
    """A GeoTIFF with its corner at 400 000, 300 000."""
    values = np.array(cells, dtype=np.float32)
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0], count=1,
        dtype="float32", crs=CRS, transform=from_origin(400_000, 300_000, cell_m, cell_m),
        nodata=nodata,
    ) as file:  # fmt: skip
        file.write(values, 1)
    return path


def test_a_level_is_depth_over_the_ground_of_the_model(tmp_path: Path) -> None:
    """Worked by hand: 0.5 over 20.0 is 20.5; nought, below nought and no data are no level."""
    ground = write(tmp_path / "ground.tif", [[20.0, 21.0, 22.0]] * 3)
    grid = open_depths(write(tmp_path / "depth.tif", DEPTHS), ground, working_crs=CRS)
    expected = [[20.5, np.nan, 22.25], [np.nan, 22.0, np.nan], [np.nan, 23.0, np.nan]]
    np.testing.assert_allclose(grid.values_m, expected, atol=1e-4)


def test_lost_cells_are_told_and_dry_cells_are_not(tmp_path: Path) -> None:
    """-9999 and a negative depth that nobody declared are marks; a depth of nought is an answer."""
    ground = write(tmp_path / "ground.tif", [[20.0] * 3] * 3)
    grid = open_depths(write(tmp_path / "depth.tif", DEPTHS), ground, working_crs=CRS)
    assert grid.marks is not None
    assert np.isfinite(grid.marks).tolist() == [[False] * 3, [True, False, True], [False] * 3]
    declared = write(tmp_path / "told.tif", [[0.5, 0.0], [-9999.0, 1.0]], nodata=-9999.0)
    two = write(tmp_path / "two.tif", [[20.0] * 2] * 2)
    assert open_depths(declared, two, working_crs=CRS).marks is None


def test_other_cells_are_refused(tmp_path: Path) -> None:
    """A ground of another cell size is another model's ground."""
    ground = write(tmp_path / "ground.tif", [[20.0] * 3] * 3, cell_m=5.0)
    with pytest.raises(UsageError, match="same cells"):
        open_depths(write(tmp_path / "depth.tif", DEPTHS), ground, working_crs=CRS)


def test_water_without_ground_is_refused_not_dried(tmp_path: Path) -> None:
    """A wet cell whose ground is missing must not be left out."""
    ground = write(tmp_path / "ground.tif", [[np.nan, 20.0, 20.0], [20.0] * 3, [20.0] * 3])
    with pytest.raises(UsageError, match="1 wet cells"):
        open_depths(write(tmp_path / "depth.tif", DEPTHS), ground, working_crs=CRS)


@pytest.mark.parametrize(("kind", "ground"), [("depth grid", None), ("level grid", Path("g.tif"))])
def test_a_depth_grid_names_its_ground(kind: str, ground: Path | None) -> None:
    """Without the model's own ground a depth says nothing; a level needs none."""
    with pytest.raises(ValueError, match="needs 'ground'"):
        Source.model_validate(
            {"id": "x", "kind": kind, "mechanism": "river", "aep": 0.01, "path": "d.tif",
             "ground": ground, "datum": "D", "climate": "none", "defences": "with",
             "issued": "2024-01-01"}
        )  # fmt: skip

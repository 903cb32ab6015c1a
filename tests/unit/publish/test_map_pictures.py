"""The flood surface on the map: depths of a depth grid, and water of polygons over the ground."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from PIL import Image
from rasterio.transform import from_origin
from shapely.geometry import box

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load
from pipeline.publish.map_pictures import pictures

ROOT = Path(__file__).parents[3]
CELL_M = 20.0
NO_POLYGONS = pd.DataFrame(columns=["source_id", "aep_per_year", "level_m", "geometry"])


def _grid(path: Path, values_m: Any) -> Path:
    with rasterio.open(
        path, "w", driver="GTiff", width=values_m.shape[1], height=values_m.shape[0], count=1,
        dtype="float32", crs="EPSG:27700", nodata=-9999,
        transform=from_origin(500000, 650000, CELL_M, CELL_M),
    ) as file:  # fmt: skip
        file.write(values_m.astype("float32"), 1)
    return path


def _settings(source: dict[str, Any], ground: Path) -> Settings:
    whole = load(ROOT / "configs" / "example.toml")
    one = whole.flood.source[0].model_copy(update=source)
    return whole.model_copy(
        update={
            "flood": whole.flood.model_copy(update={"source": [one]}),
            "ground": whole.ground.model_copy(update={"path": ground}),
        }
    )


def _tints(data_uri: str) -> Any:
    return np.array(Image.open(io.BytesIO(base64.b64decode(data_uri.split(",")[1]))))


def test_a_depth_grid_has_its_picture(tmp_path: Path) -> None:
    """Quarters of 0, 0.2, 1.0 and 2.0 m show as none and the three tints (steps 0.5 and 1.5 m)."""
    depth = np.zeros((40, 40))
    depth[:20, 20:], depth[20:, :20], depth[20:, 20:] = 0.2, 1.0, 2.0
    path = _grid(tmp_path / "depth.tif", depth)
    ground = _grid(tmp_path / "ground.tif", np.full((40, 40), 5.0) + np.arange(40) * 0.01)
    asked = _settings({"kind": "depth grid", "path": path, "aep": 0.01, "ground": ground}, ground)
    shade, flood = pictures({"flood_polygons": NO_POLYGONS}, asked)
    assert shade.aep is None
    assert flood.aep == 0.01
    tints = _tints(flood.data_uri)
    high, wide = tints.shape
    quarters = [tints[int(high * y), int(wide * x)] for y in (0.25, 0.75) for x in (0.25, 0.75)]
    assert quarters == [0, 1, 2, 3]


def test_water_of_a_polygon_shows_only_above_the_ground(tmp_path: Path) -> None:
    """A level of 6 m over ground that rises from 5 to 7 m wets the lower half only."""
    rise = np.linspace(5.0, 7.0, 40)[None, :].repeat(40, axis=0)
    ground = _grid(tmp_path / "ground.tif", rise)
    asked = _settings({"kind": "polygon", "id": "sea", "aep": None}, ground)
    polygons = gpd.GeoDataFrame(
        {"source_id": ["sea"], "aep_per_year": [0.005], "level_m": [6.0]},
        geometry=[box(500000, 649200, 500800, 650000)], crs="EPSG:27700",
    )  # fmt: skip
    _, flood = pictures({"flood_polygons": polygons}, asked)
    assert flood.aep == 0.005
    wet = _tints(flood.data_uri) > 0
    wide = wet.shape[1]
    assert wet[wet.shape[0] // 2, : int(wide * 0.45)].mean() > 0.9
    assert not wet[:, int(wide * 0.55) :].any()

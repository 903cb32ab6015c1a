"""Pictures under the map: hillshade of the ground, and the flood surface of the design event."""

from __future__ import annotations

import base64
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import rasterio
from PIL import Image
from rasterio.enums import Resampling
from rasterio.warp import calculate_default_transform, reproject, transform_bounds

from pipeline.core.settings import Settings, Source
from pipeline.tables import Tables

_WIDTH: Final = 1000
_WEB: Final = "EPSG:3857"
_SUN_AZIMUTH_DEG: Final = 315.0  # cartographic habit: light from the north-west
_SUN_HEIGHT_DEG: Final = 45.0
_STEEPER: Final = 3.0  # vertical exaggeration, so that a flat plain shows its form
# one pale tint, three steps of depth
_DEPTH_STEPS_M: Final = (0.0, 0.5, 1.5)
_TINT: Final = ((196, 222, 240), (150, 196, 226), (102, 162, 205))


@dataclass(frozen=True)
class Picture:
    """One picture layer: a data URI and its corners (south-west, north-east)."""

    name: str
    data_uri: str
    bounds: list[list[float]]
    opacity: float


def hillshade_picture(settings: Settings) -> Picture | None:
    """Shade the ground model; None where it cannot be shown."""
    ground, bounds, cell_m = _on_web(settings.ground.path, 1)
    if ground is None:
        return None
    filled = np.where(np.isfinite(ground), ground, np.nanmin(ground))
    dy, dx = np.gradient(filled * _STEEPER, cell_m)
    slope = np.arctan(np.hypot(dx, dy))
    aspect = np.arctan2(-dx, dy)
    sun, height = math.radians(360.0 - _SUN_AZIMUTH_DEG + 90.0), math.radians(_SUN_HEIGHT_DEG)
    light = np.sin(height) * np.cos(slope) + np.cos(height) * np.sin(slope) * np.cos(sun - aspect)
    shade = np.clip(light, 0.0, 1.0) * 110.0 + 145.0
    shade[~np.isfinite(ground)] = 255.0
    buffer = io.BytesIO()
    Image.fromarray(shade.astype(np.uint8), "L").save(buffer, "JPEG", quality=70)
    return Picture("ground", _uri(buffer, "jpeg"), bounds, 0.8)


def flood_picture(tables: Tables, settings: Settings) -> Picture | None:
    """Depth of the design event over the ground, in three steps of one tint."""
    del tables
    source = _design_source(settings)
    if source is None:
        return None
    level, bounds, _ = _on_web(source.path, source.band)
    ground, ground_bounds, _ = _on_web(settings.ground.path, 1)
    if level is None:
        return None
    wet = np.isfinite(level)
    depth = np.where(wet, _DEPTH_STEPS_M[1], np.nan)
    if ground is not None and ground.shape == level.shape and ground_bounds == bounds:
        depth = np.where(wet, np.maximum(level - ground, 0.0), np.nan)
    steps = np.digitize(np.nan_to_num(depth, nan=0.0), _DEPTH_STEPS_M)
    steps[~wet] = 0
    image = Image.fromarray(steps.astype(np.uint8), "P")
    image.putpalette([255, 255, 255, *(c for tint in _TINT for c in tint)])
    buffer = io.BytesIO()
    image.save(buffer, "PNG", transparency=0, optimize=True)
    return Picture(f"flood surface, {source.id}", _uri(buffer, "png"), bounds, 0.75)


def _design_source(settings: Settings) -> Source | None:
    """The grid of the programme's design event and states."""
    flood = settings.flood
    for source in flood.source:
        if (
            source.kind == "level grid"
            and source.aep is not None
            and math.isclose(source.aep, flood.design_aep, rel_tol=1e-6)
            and source.climate == flood.climate
            and source.defences == flood.defences
        ):
            return source
    return None


def _on_web(
    path: Path, band: int
) -> tuple[npt.NDArray[np.float64] | None, list[list[float]], float]:
    """Read a raster into the map's projection, about 1,000 cells wide; cell size on the ground."""
    with rasterio.open(path) as file:
        transform, width, height = calculate_default_transform(
            file.crs, _WEB, file.width, file.height, *file.bounds
        )
        shrink = max(1.0, width / _WIDTH)
        width, height = int(width / shrink), int(height / shrink)
        transform = transform * transform.scale(shrink, shrink)
        out = np.full((height, width), np.nan)
        reproject(
            rasterio.band(file, band),
            out,
            dst_transform=transform,
            dst_crs=_WEB,
            dst_nodata=np.nan,
            resampling=Resampling.nearest,
        )
    out[(np.abs(out) > 1e4) | (out == -9999)] = np.nan
    west, north = transform.c, transform.f
    east, south = west + width * transform.a, north + height * transform.e
    w, s, e, n = transform_bounds(_WEB, "EPSG:4326", west, south, east, north)
    if not np.isfinite(out).any():
        return None, [[s, w], [n, e]], 1.0
    cell_m = float(transform.a * math.cos(math.radians((s + n) / 2)))
    return out, [[round(s, 7), round(w, 7)], [round(n, 7), round(e, 7)]], cell_m


def _uri(buffer: io.BytesIO, kind: str) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(buffer.getvalue()).decode('ascii')}"

"""Pictures under the map: hillshade of the ground, and the flood surface of each event."""

from __future__ import annotations

import base64
import io
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import rasterio
import shapely
from PIL import Image
from pyproj import Transformer
from rasterio.enums import Resampling
from rasterio.features import geometry_mask
from rasterio.warp import calculate_default_transform, reproject, transform_bounds

from pipeline.core.settings import Settings, Source
from pipeline.tables import Tables

_WIDTH: Final = 1000
_WEB: Final = "EPSG:3857"
_UNITS: Final = {"m": 1.0, "mm": 0.001, "ft": 0.3048}
_SUN_AZIMUTH_DEG: Final = 315.0  # cartographic habit: light from the north-west
_SUN_HEIGHT_DEG: Final = 45.0
_STEEPER: Final = 3.0  # vertical exaggeration, so that a flat plain shows its form
# one tint, three steps of depth, each well darker than the ground also where printed in grey
_DEPTH_STEPS_M: Final = (0.0, 0.5, 1.5)
_TINT: Final = ((160, 205, 235), (104, 168, 214), (60, 124, 184))


@dataclass(frozen=True)
class Picture:
    """One picture layer: a data URI, its corners (south-west, north-east), its event if it has one."""

    name: str
    data_uri: str
    bounds: list[list[float]]
    opacity: float
    aep: float | None


@dataclass(frozen=True)
class _Layer:
    """Values (m) on cells of the map's projection; `bounds` in degrees."""

    values_m: npt.NDArray[np.float64]
    bounds: list[list[float]]
    cell_m: float
    transform: Any

    def is_like(self, other: _Layer) -> bool:
        """Whether both lie on the same cells."""
        return self.values_m.shape == other.values_m.shape and self.bounds == other.bounds


def pictures(tables: Tables, settings: Settings) -> list[Picture]:
    """Shaded ground, and the flood surface of each event of the programme's climate and defences.

    Parameters
    ----------
    tables : Tables
    settings : Settings

    Returns
    -------
    list of Picture
        The ground first, then the events from the most frequent; what cannot be drawn is left out.

    """
    ground = _on_web(settings.ground.path, 1)
    out = [_hillshade(ground)] if ground is not None else []
    waters: dict[float, list[_Layer]] = {}
    names: dict[float, list[str]] = {}
    flood = settings.flood
    for source in flood.source:
        if (source.climate, source.defences) != (flood.climate, flood.defences):
            continue
        for aep, layer in _waters(source, tables, ground, settings):
            waters.setdefault(aep, []).append(layer)
            names.setdefault(aep, []).append(source.id)
    for aep in sorted(waters, reverse=True):
        kinds = ", ".join(sorted(set(names[aep])))
        for number, layer in enumerate(_merged(waters[aep])):
            again = f" ({number + 1})" if number else ""
            out.append(
                _depths(layer, f"flood surface 1 in {round(1 / aep):,} a year: {kinds}{again}", aep)
            )
    return out


def _hillshade(layer: _Layer) -> Picture:
    ground = layer.values_m
    filled = np.where(np.isfinite(ground), ground, np.nanmin(ground))
    dy, dx = np.gradient(filled * _STEEPER, layer.cell_m)
    slope = np.arctan(np.hypot(dx, dy))
    aspect = np.arctan2(-dx, dy)
    sun, height = math.radians(360.0 - _SUN_AZIMUTH_DEG + 90.0), math.radians(_SUN_HEIGHT_DEG)
    light = np.sin(height) * np.cos(slope) + np.cos(height) * np.sin(slope) * np.cos(sun - aspect)
    shade = np.clip(light, 0.0, 1.0) * 75.0 + 185.0
    shade[~np.isfinite(ground)] = 255.0
    buffer = io.BytesIO()
    Image.fromarray(shade.astype(np.uint8), "L").save(buffer, "JPEG", quality=70)
    return Picture("ground", _uri(buffer, "jpeg"), layer.bounds, 0.8, None)


def _waters(
    source: Source, tables: Tables, ground: _Layer | None, settings: Settings
) -> list[tuple[float, _Layer]]:
    """Depths of a source by event: grids of levels or depths, and polygons that carry a level."""
    if source.kind == "level grid" and source.aep is not None:
        level = _on_web(source.path, source.band, _UNITS.get(source.unit, 1.0))
        return [] if level is None else [(source.aep, _over(level, ground))]
    if source.kind == "depth grid" and source.aep is not None:
        depth = _on_web(source.path, source.band, _UNITS.get(source.unit, 1.0))
        if depth is None:
            return []
        wet = np.where(depth.values_m > 0, depth.values_m, np.nan)
        return [(source.aep, replace(depth, values_m=wet))]
    if source.kind == "polygon" and ground is not None:
        return _of_polygons(source.id, tables, ground, settings.reference.working_crs)
    return []


def _over(level: _Layer, ground: _Layer | None) -> _Layer:
    """Depth over the ground where both lie on the same cells; the middle tint elsewhere."""
    wet = np.isfinite(level.values_m)
    depth = np.where(wet, _DEPTH_STEPS_M[1], np.nan)
    if ground is not None and ground.is_like(level):
        known = np.where(np.isfinite(ground.values_m), level.values_m - ground.values_m, depth)
        depth = np.where(wet, np.maximum(known, 0.0), np.nan)
    return replace(level, values_m=depth)


def _of_polygons(
    source_id: str, tables: Tables, ground: _Layer, working_crs: str
) -> list[tuple[float, _Layer]]:
    """Water of level polygons where it stands above the ground."""
    frame = tables["flood_polygons"]
    own = frame[(frame["source_id"] == source_id) & frame["level_m"].notna()]
    own = own[own["aep_per_year"] > 0]
    out = []
    to_web = Transformer.from_crs(working_crs, _WEB, always_xy=True)
    for aep, rows in own.groupby("aep_per_year"):
        level = np.full(ground.values_m.shape, -np.inf)
        for shape, level_m in zip(rows["geometry"], rows["level_m"], strict=True):
            web = shapely.transform(shape, to_web.transform, interleaved=False)
            inside = geometry_mask([web], level.shape, ground.transform, invert=True)
            level = np.where(inside, np.maximum(level, float(level_m)), level)
        depth = level - ground.values_m
        wet = np.where(depth > 0, depth, np.nan)
        if np.isfinite(wet).any():
            out.append((float(aep), replace(ground, values_m=wet)))
    return out


def _merged(layers: list[_Layer]) -> list[_Layer]:
    """Layers on the same cells as one, the deeper water showing."""
    out: list[_Layer] = []
    for layer in layers:
        for i, other in enumerate(out):
            if other.is_like(layer):
                deeper = np.fmax(other.values_m, layer.values_m)
                out[i] = replace(other, values_m=deeper)
                break
        else:
            out.append(layer)
    return out


def _depths(layer: _Layer, name: str, aep: float) -> Picture:
    """Depth in three steps of one tint."""
    wet = np.isfinite(layer.values_m)
    steps = np.digitize(np.nan_to_num(layer.values_m, nan=0.0), _DEPTH_STEPS_M)
    steps[~wet] = 0
    image = Image.fromarray(steps.astype(np.uint8), "P")
    image.putpalette([255, 255, 255, *(c for tint in _TINT for c in tint)])
    buffer = io.BytesIO()
    image.save(buffer, "PNG", transparency=0, optimize=True)
    return Picture(name, _uri(buffer, "png"), layer.bounds, 0.75, aep)


def _on_web(path: Path, band: int, unit_m: float = 1.0) -> _Layer | None:
    """Read a raster into the map's projection, about 1,000 cells wide; None without any value."""
    with rasterio.open(path) as file:
        transform, width, height = calculate_default_transform(
            file.crs, _WEB, file.width, file.height, *file.bounds
        )
        shrink = max(1.0, width / _WIDTH)
        width, height = int(width / shrink), int(height / shrink)
        transform = transform @ transform.scale(shrink, shrink)
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
    if not np.isfinite(out).any():
        return None
    west, north = transform.c, transform.f
    east, south = west + width * transform.a, north + height * transform.e
    w, s, e, n = transform_bounds(_WEB, "EPSG:4326", west, south, east, north)
    cell_m = float(transform.a * math.cos(math.radians((s + n) / 2)))
    bounds = [[round(s, 7), round(w, 7)], [round(n, 7), round(e, 7)]]
    return _Layer(out * unit_m, bounds, cell_m, transform)


def _uri(buffer: io.BytesIO, kind: str) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(buffer.getvalue()).decode('ascii')}"

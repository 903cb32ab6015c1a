"""Writers of the example's files: the same content always gives the same bytes."""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

os.environ["OGR_CURRENT_DATE"] = "2025-10-01T00:00:00.000Z"  # before any GDAL is imported

import geopandas as gpd
import numpy as np
import openpyxl
import rasterio
from rasterio.transform import from_origin

from sample_surveys import example_land as land

CRS: Final = "EPSG:27700"
NODATA: Final = -9999.0
_ZIP_TIME: Final = (2025, 10, 1, 0, 0, 0)
_SAVED: Final = dt.datetime(2025, 10, 1)  # noqa: DTZ001 - workbooks know no time zones


def save_grid(path: Path, values: Any, cell_m: float) -> None:
    """Write a float32 grid, rounded to cm, NaN as nodata."""
    path.parent.mkdir(parents=True, exist_ok=True)
    data = np.where(np.isnan(values), NODATA, np.round(values, 2)).astype(np.float32)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=data.shape[1],
        height=data.shape[0],
        count=1,
        dtype="float32",
        crs=CRS,
        nodata=NODATA,
        compress="deflate",
        predictor=3,
        zlevel=9,
        tiled=True,
        blockxsize=256,
        blockysize=256,
        transform=from_origin(land.WEST_M, land.NORTH_M, cell_m, cell_m),
    ) as out:
        out.write(data, 1)


def save_layer(path: Path, columns: dict[str, Any], shapes: Sequence[Any]) -> None:
    """Write one layer, named as the file, into a new GeoPackage."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)
    frame.to_file(path, driver="GPKG", layer=path.stem, engine="pyogrio")


def save_workbook(path: Path, book: openpyxl.Workbook) -> None:
    """Save a workbook with fixed dates, in memory and in the file, and fixed times in the zip."""
    path.parent.mkdir(parents=True, exist_ok=True)
    book.properties.creator = "example"
    book.properties.created = _SAVED
    buffer = io.BytesIO()
    book.save(buffer)
    with zipfile.ZipFile(buffer) as old, zipfile.ZipFile(path, "w") as new:
        for name in sorted(old.namelist()):
            data = old.read(name)
            if name == "docProps/core.xml":
                data = _fixed_dates(data)
            info = zipfile.ZipInfo(name, _ZIP_TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, data)


def _fixed_dates(core: bytes) -> bytes:
    text = core.decode("utf-8")
    start = text.index("<dcterms:modified")
    end = text.index("</dcterms:modified>")
    opening = text[start : text.index(">", start) + 1]
    return (text[:start] + opening + "2025-10-01T00:00:00Z" + text[end:]).encode("utf-8")


def save_csv(path: Path, headings: Sequence[str], rows: Sequence[dict[str, Any]]) -> None:
    """Write a comma-separated file in UTF-8 with a mark, as office programs do."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(headings)
        for row in rows:
            writer.writerow(["" if row.get(h) is None else row[h] for h in headings])


def save_gpx(path: Path, points: Sequence[tuple[str, float, float, float]]) -> None:
    """Write waypoints: name, latitude, longitude (degrees), height as the receiver shows it (m)."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="example" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for name, lat, lon, height in points:
        lines.append(
            f'  <wpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{height:.1f}</ele>'
            f"<time>2025-06-03T09:00:00Z</time><name>{name}</name></wpt>"
        )
    lines.append("</gpx>\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines), encoding="utf-8")

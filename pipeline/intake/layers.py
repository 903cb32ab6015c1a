"""Map layers and GPS points: opened with care, brought to the working coordinate system."""

from __future__ import annotations

import os

# before any GDAL library is loaded: a file that is another format inside must not read others
os.environ.setdefault("OGR_SKIP", "OGR_VRT")
os.environ.setdefault("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "{none}")

import datetime as dt
import tempfile
import zipfile
from pathlib import Path
from typing import Any, Final

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from pipeline.core import geo
from pipeline.core.errors import UsageError
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Gps, Settings
from pipeline.intake.kinds import POINTS, facts
from pipeline.intake.node_tables import read_nodes
from pipeline.tables import blank

_HEADS: Final = {
    ".gpx": (b"<gpx", b"<?xml"),
    ".gpkg": (b"SQLite format 3",),
    ".geojson": (b"{",),
    ".json": (b"{",),
    ".kml": (b"<kml", b"<?xml"),
    ".kmz": (b"PK\x03\x04",),
    ".zip": (b"PK\x03\x04",),
}
_SHAPEFILE: Final = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_UNPACKED_BYTES: Final = 200_000_000
_CUT_NAME: Final = 10  # a shapefile keeps this many letters of a field name
_GPX_LAYERS: Final = ("waypoints", "route_points", "track_points")


def read_layers(settings: Settings) -> dict[str, Any]:
    """Regions, footprints, flood polygons and domains, in the working coordinate system."""
    reference, crs = settings.reference, settings.reference.working_crs
    limit = reference.max_plan_accuracy_m
    regions = _columns(_layer(reference.regions_file, crs, limit), "region", reference.regions_file)
    footprints = _nothing(crs, "building_id")
    if reference.footprints_file is not None:
        file = reference.footprints_file
        footprints = _columns(_layer(file, crs, limit), "building_id", file)
    polygons, domains, nodes = [], [], []
    for source in settings.flood.source:
        if source.kind == "polygon":
            frame = _layer(source.path, crs, limit, source.layer)
            if source.aep is None:
                _columns(frame, source.aep_field, source.path)
            if source.level_field not in frame.columns:
                raise UsageError(
                    f"{source.path.name} has no field {source.level_field!r}.",
                    why=f"Flood source {source.id!r} needs a level.",
                    mend="Name the field under level_field.",
                )
            scale = {"m": 1.0, "mm": 0.001, "ft": 0.3048}[source.unit]
            aep = frame[source.aep_field] if source.aep is None else source.aep
            polygons.append(
                gpd.GeoDataFrame(
                    {
                        "source_id": source.id,
                        "aep_per_year": aep,
                        "level_m": pd.to_numeric(frame[source.level_field], errors="coerce")
                        * scale,
                    },
                    geometry=frame.geometry.values,
                    crs=crs,
                )
            )
        if source.kind == "node table":
            _check_path(source.path)
            nodes.append(read_nodes(source))
        if source.domain is not None:
            frame = _layer(source.domain, crs, limit)
            domains.append(
                gpd.GeoDataFrame({"source_id": [source.id]}, geometry=[frame.union_all()], crs=crs)
            )
    return {
        "regions": regions,
        "footprints": footprints,
        "flood_polygons": _joined(polygons, crs, "source_id", "aep_per_year", "level_m"),
        "flood_domains": _joined(domains, crs, "source_id"),
        "flood_nodes": pd.concat(nodes, ignore_index=True) if nodes else blank("flood_nodes"),
    }


def _nothing(crs: str, *names: str) -> Any:
    return gpd.GeoDataFrame({n: [] for n in names}, geometry=[], crs=crs)


def _joined(frames: list[Any], crs: str, *names: str) -> Any:
    if not frames:
        return _nothing(crs, *names)
    return gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=crs)


def _columns(frame: Any, name: str, path: Path) -> Any:
    """A layer with one named column, or a clear refusal."""
    if name not in frame.columns:
        have = ", ".join(str(c) for c in frame.columns if c != "geometry") or "none"
        raise UsageError(
            f"{path.name} has no field {name!r}; its fields are: {have}.",
            mend=f"Rename the field to {name}.",
        )
    return frame[[name, "geometry"]]


def _layer(path: Path, crs: str, max_accuracy_m: float, layer: str | None = None) -> Any:
    _check_path(path)
    try:
        frame = pyogrio.read_dataframe(path, layer=layer)
    except Exception as fault:  # noqa: BLE001 - any damage of a settings' layer is one message
        raise UsageError(f"{path.name} cannot be read as a map layer: {fault}.") from None
    if frame.crs is None:
        raise UsageError(
            f"{path.name} names no coordinate system.",
            why="It is never guessed.",
            mend="Save the layer with its system.",
        )
    return _moved(frame, path, crs, max_accuracy_m)


def _moved(frame: Any, path: Path, crs: str, max_accuracy_m: float) -> Any:
    """A layer in the working system by the same careful way as every position."""
    own = frame.crs.to_string()
    if geo.same_system(own, crs):
        return frame.set_crs(crs, allow_override=True)

    def move(points: Any) -> Any:
        moved = geo.to_working(points[:, 0], points[:, 1], own, crs, max_accuracy_m=max_accuracy_m)
        if not (np.isfinite(moved.x_m).all() and np.isfinite(moved.y_m).all()):
            raise UsageError(
                f"{path.name} is in {own}, and there is no way from there to {crs} that is good"
                f" to {max_accuracy_m:g} m everywhere.",
                mend="Save the layer in the working coordinate system.",
            )
        return np.column_stack([moved.x_m, moved.y_m])

    shapes = [shapely.transform(g, move) for g in shapely.force_2d(frame.geometry.values)]
    return frame.drop(columns="geometry").set_geometry(
        gpd.GeoSeries(shapes, index=frame.index, crs=crs)
    )


def _check_path(path: Path) -> None:
    if "/vsi" in str(path) or "://" in str(path):
        raise UsageError(f"{path} is not a plain file path.", mend="Name a file on this machine.")


class NotThatKind(ValueError):
    """The content is not what the file name says."""


def read_gps(settings: Settings) -> tuple[pd.DataFrame, list[Finding]]:
    """All GPS points of the settings.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    points : DataFrame
        Columns of the table gps_points, not matched yet.
    findings : list of Finding

    """
    rows: list[dict[str, Any]] = []
    findings: list[Finding] = []
    for gps in settings.surveys.gps:
        for path in gps.files:
            try:
                rows += _points(path, gps, settings)
            except NotThatKind as fault:
                fill = facts(path, POINTS)
                fill |= {"found": str(fault)} if str(fault) else {}
                findings.append(make("file-26", Cell(file=path.name), fill=fill,
                                     key=f"file/{path.name}"))  # fmt: skip
            except (OSError, ValueError, RuntimeError) as fault:
                fill = {"file": path.name, "why": str(fault).split("\n", maxsplit=1)[0]}
                findings.append(make("file-18", Cell(file=path.name), fill=fill,
                                     key=f"file/{path.name}"))  # fmt: skip
    return pd.DataFrame(rows), findings


def _points(path: Path, gps: Gps, settings: Settings) -> list[dict[str, Any]]:
    _check_path(path)
    heads = _HEADS.get(path.suffix.lower())
    start = path.open("rb").read(2048).lstrip(b"\xef\xbb\xbf \r\n\t")
    if heads is None:
        raise NotThatKind
    if not start.startswith(heads) or (path.suffix.lower() == ".gpx" and b"<gpx" not in start):
        raise NotThatKind
    if path.suffix.lower() in (".zip", ".kmz"):
        with tempfile.TemporaryDirectory() as folder:
            inside = _unpacked(path, Path(folder))
            return [row | {"file": path.name} for row in _layers_of(inside, gps, settings)]
    return _layers_of(path, gps, settings)


def _unpacked(path: Path, folder: Path) -> Path:
    """The shapefile or KML file of an archive; names of members never lead out of the folder."""
    wanted = _SHAPEFILE if path.suffix.lower() == ".zip" else (".kml",)
    found = None
    try:
        with zipfile.ZipFile(path) as packed:
            members = [m for m in packed.infolist() if Path(m.filename).suffix.lower() in wanted]
            if sum(m.file_size for m in members) > _UNPACKED_BYTES:
                raise OSError("it unpacks to more than 200 MB")
            for member in members:
                target = folder / f"points{Path(member.filename).suffix.lower()}"
                if target.exists():
                    raise OSError("it holds several files of one kind; send each by itself")
                target.write_bytes(packed.read(member))
                found = target if target.suffix in (".shp", ".kml") else found
    except zipfile.BadZipFile:
        raise OSError("it is damaged or cut off") from None
    if found is None:
        missing = "shapefile" if wanted is _SHAPEFILE else "KML file"
        raise NotThatKind(f"a packed file without a {missing} in it")
    return found


def _layers_of(path: Path, gps: Gps, settings: Settings) -> list[dict[str, Any]]:
    rows = []
    for layer in fiona.listlayers(path):
        if path.suffix.lower() == ".gpx" and layer not in _GPX_LAYERS:
            continue
        frame = pyogrio.read_dataframe(path, layer=layer, fid_as_index=False)
        if layer == "track_points" and len(frame):
            frame = _stops(path, frame)
        rows += _of_layer(path, layer, frame, gps, settings)
    return rows


def _stops(path: Path, points: Any) -> Any:
    """One point per track: people record a short track while they stand at a cover.

    Points of a track carry no name of their own; the mean place takes the name of the track.
    """
    tracks = pyogrio.read_dataframe(path, layer="tracks", read_geometry=False)
    names = dict(enumerate(tracks["name"])) if "name" in tracks.columns else {}
    rows = []
    for fid, group in points.groupby("track_fid", sort=True):
        place = shapely.Point(group.geometry.x.mean(), group.geometry.y.mean())
        height = group["ele"].mean() if "ele" in group.columns else np.nan
        day = group["time"].iloc[0] if "time" in group.columns else None
        rows.append({"name": names.get(int(fid)), "ele": height, "time": day, "geometry": place})
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=points.crs)


def _of_layer(
    path: Path, layer: str, frame: Any, gps: Gps, settings: Settings
) -> list[dict[str, Any]]:
    if not len(frame) or not hasattr(frame, "geometry"):
        return []
    frame = frame[frame.geometry.geom_type == "Point"]  # outlines and lines are no points
    if not len(frame):
        return []
    if frame.crs is None:
        raise OSError(f"layer {layer} names no coordinate system, and none is guessed")
    x = frame.geometry.x.to_numpy(dtype=np.float64)
    y = frame.geometry.y.to_numpy(dtype=np.float64)
    crs = frame.crs.to_string()
    if frame.crs.is_geographic:
        bad = ~((np.abs(y) <= 90) & (np.abs(x) <= 180))
        x, y = np.where(bad, np.nan, x), np.where(bad, np.nan, y)
    reference = settings.reference
    moved = geo.to_working(
        x, y, crs, reference.working_crs, max_accuracy_m=reference.max_plan_accuracy_m
    )
    field = _field(frame, gps.id_field)
    names = frame[field] if field else pd.Series([None] * len(frame))
    heights = frame["ele"] if "ele" in frame.columns else frame.geometry.z
    times = frame["time"] if "time" in frame.columns else pd.Series([None] * len(frame))
    return [
        {
            "file": path.name,
            "layer": layer,
            "row": i + 1,
            "point_name": None if pd.isna(name) else str(name),
            "x_m": float(px),
            "y_m": float(py),
            "height_m": float(h) if h is not None and not pd.isna(h) else np.nan,
            "method": gps.method,
            "point_date": _day(t),
        }
        for i, (name, px, py, h, t) in enumerate(
            zip(names, moved.x_m, moved.y_m, heights, times, strict=True)
        )
    ]


def _field(frame: Any, wanted: str) -> str:
    """Field of a layer by name, without case; a shapefile may have cut the name."""
    for name in frame.columns:
        if str(name).casefold() in (wanted.casefold(), wanted.casefold()[:_CUT_NAME]):
            return str(name)
    return ""


def _day(value: Any) -> str | None:
    if value is None or pd.isna(value):
        return None
    if isinstance(value, (dt.datetime, pd.Timestamp)):
        return value.date().isoformat()
    return str(value)[:10]

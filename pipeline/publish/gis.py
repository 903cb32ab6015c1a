"""programme.gpkg: sites, buildings, chambers, entries, ends and links for the GIS desk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
from shapely.geometry import LineString, Point

from pipeline.core.settings import Settings
from pipeline.publish.map_openings import opening_spots
from pipeline.tables import Tables


def write_gis(path: Path, tables: Tables, settings: Settings) -> None:
    """Write the GeoPackage; one layer per kind of thing, stable ids, the working system.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings

    Notes
    -----
    The date inside the file is the planning date, so that the same run gives the same bytes.

    """
    crs = settings.reference.working_crs
    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": f"{settings.planning_date.isoformat()}T00:00:00.000Z"}
    )
    try:
        for name, frame in _layers(tables).items():
            layer = gpd.GeoDataFrame(frame, geometry="geometry", crs=crs)
            pyogrio.write_dataframe(
                _plain(layer),
                path,
                layer=name,
                driver="GPKG",
                geometry_type="LineString" if name == "links" else "Point",
                append=path.exists(),
            )
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _plain(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Nullable flags become whole numbers with blanks, which the format can hold."""
    out = layer.copy()
    for name in out.columns:
        if str(out[name].dtype) == "boolean":
            out[name] = out[name].astype("Int64")
    return out


def _layers(tables: Tables) -> dict[str, pd.DataFrame]:
    spots = opening_spots(tables)
    reach = tables["reach"]
    choices = tables["choices"]
    chosen = choices[choices["is_chosen"].astype(bool)]
    sites = tables["sites"].copy()
    sites["is_chosen"] = sites["site_id"].isin(set(chosen["site_id"]))
    return {
        "sites": _points(sites),
        "buildings": _points(
            tables["buildings"].merge(
                choices[["building_id", "rank", "package_id", "reason", "left_out_reason"]],
                on="building_id",
                how="left",
            )
        ),
        "chambers": _points(tables["chambers"]),
        "entries": _entries(tables, spots),
        "ends": _ends(tables, reach, spots),
        "links": _links(tables),
    }


def _points(frame: pd.DataFrame) -> pd.DataFrame:
    shapes = [_point(x, y) for x, y in zip(frame["x_m"], frame["y_m"], strict=True)]
    return pd.DataFrame(frame).assign(geometry=shapes)


def _point(x_m: Any, y_m: Any) -> Point | None:
    return None if pd.isna(x_m) or pd.isna(y_m) else Point(float(x_m), float(y_m))


def _entries(tables: Tables, spots: dict[str, tuple[float, float]]) -> pd.DataFrame:
    entries = tables["entries"]
    buildings = tables["buildings"].set_index("building_id")[["x_m", "y_m"]]
    worst = (
        tables["reach"].groupby("entry_id")["level_class"].agg(lambda c: "; ".join(sorted(set(c))))
    )
    shapes = []
    for entry, building in zip(entries["entry_id"], entries["building_id"], strict=True):
        if entry in spots:
            shapes.append(Point(*spots[entry]))
        elif building in buildings.index:
            shapes.append(_point(*buildings.loc[building]))
        else:
            shapes.append(None)
    return pd.DataFrame(entries).assign(
        level_classes=entries["entry_id"].map(worst).astype("str"), geometry=shapes
    )


def _ends(
    tables: Tables, reach: pd.DataFrame, spots: dict[str, tuple[float, float]]
) -> pd.DataFrame:
    wanted = [
        "end_id",
        "level_class",
        "margin_mm",
        "way",
        "let_in_level_m",
        "policy_level_m",
        "opening_level_m",
        "reason",
    ]
    seals = [
        "end_id",
        "is_needed",
        "is_designed",
        "hold_reach",
        "hold_words",
        "firmness",
        "layer_mm",
        "sealant_ml",
        "sleeves_words",
    ]
    ends = (
        tables["ends"]
        .merge(
            reach.loc[reach["end_id"].notna(), wanted].drop_duplicates("end_id"),
            on="end_id",
            how="left",
        )
        .merge(tables["designs"][seals], on="end_id", how="left")
    )
    shapes = [Point(*spots[e]) if e in spots else None for e in ends["end_id"]]
    return ends.assign(geometry=shapes)


def _links(tables: Tables) -> pd.DataFrame:
    links = tables["links"]
    spots: dict[str, Any] = {}
    buildings = tables["buildings"].set_index("building_id")
    for frame, key in ((tables["chambers"], "chamber_id"),):
        for name, x, y in zip(frame[key], frame["x_m"], frame["y_m"], strict=True):
            spots[name] = _point(x, y)
    for entry, building in zip(
        tables["entries"]["entry_id"], tables["entries"]["building_id"], strict=True
    ):
        if building in buildings.index:
            spots[entry] = _point(buildings.at[building, "x_m"], buildings.at[building, "y_m"])
    shapes = []
    for a, b in zip(links["place_a_id"], links["place_b_id"], strict=True):
        one, other = spots.get(a), spots.get(b)
        shapes.append(LineString([one, other]) if one is not None and other is not None else None)
    return pd.DataFrame(links).assign(geometry=shapes)

"""Who may read what: the profiles full, working and public of a run folder."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import pyogrio
from shapely.geometry import box

from pipeline.core.errors import UsageError
from pipeline.core.materials import papers_say
from pipeline.core.run_id import RunId
from pipeline.core.settings import Settings
from pipeline.publish.tables_csv import write_csv
from pipeline.tables import REGISTRY, Tables

FULL: Final = "full"
WORKING: Final = "working"
PUBLIC: Final = "public"
_FEWER: Final = "fewer than"


def check_profile(settings: Settings) -> None:
    """Refuse hidden fields that do not exist, or that name the rows and cannot be hidden.

    Raises
    ------
    UsageError
        Before anything is computed.

    """
    for name in settings.export.working_hides:
        table, _, column = name.partition(".")
        known = REGISTRY.get(table)
        col = next((c for c in known.columns if c.name == column), None) if known else None
        if known is None or col is None:
            raise UsageError(
                f"[export] working_hides: there is no field {name}.",
                mend="Name table.column as tables/dictionary.csv lists them.",
            )
        if not col.nullable or column in known.key:
            raise UsageError(
                f"[export] working_hides: {name} cannot be hidden.",
                why="It names the rows, or every row must have it.",
                mend="Take it out of the list.",
            )


def for_profile(tables: Tables, settings: Settings) -> Tables:
    """Tables as the readers of a profile get them.

    Parameters
    ----------
    tables : Tables
        Tables of a whole run.
    settings : Settings

    Returns
    -------
    Tables
        For `working` the hidden fields are blank, in every paper made from them. A sentence that
        quotes a field is a field of its own (`choices.reason`) and is hidden by its own name.

    """
    if settings.export.profile != WORKING:
        return tables
    out = dict(tables)
    for name in settings.export.working_hides:
        table, _, column = name.partition(".")
        if table in out and column in out[table]:
            frame = out[table].copy()
            frame[column] = pd.Series([None] * len(frame), dtype=frame[column].dtype)
            out[table] = frame
    return out


def write_public(
    folder: Path, tables: Tables, settings: Settings, run_id: RunId, when: Callable[[], Any]
) -> None:
    """Write what outsiders may have: counts by region, and by coarse squares.

    Parameters
    ----------
    folder : Path
        Empty run folder.
    tables : Tables
    settings : Settings
    run_id : RunId
    when : callable
        As in `publish`.

    Notes
    -----
    House rule: only what is listed here is written, so that a new column never becomes public by
    itself. No site, no level, no class and no position finer than `public_cell_m`; counts of
    fewer sites than `public_least_sites` are withheld.

    """
    sites = _sites(tables)
    least = settings.export.public_least_sites
    write_csv(folder / "public_summary.csv", _by_region(sites, least))
    _write_areas(folder / "public.gpkg", sites, settings)
    record = {
        "run_id": run_id.short,
        "programme": settings.programme.id,
        "planning_date": settings.planning_date.isoformat(),
        "version": run_id.version,
        "profile": PUBLIC,
        "materials_note": papers_say(settings),
        "when": when(),
    }
    text = json.dumps(record, indent=2, ensure_ascii=False)
    (folder / "run.json").write_text(text + "\n", encoding="utf-8")


def _sites(tables: Tables) -> pd.DataFrame:
    """One row per site: region, place, buildings, buildings in the programme, years."""
    choices = tables["choices"]
    chosen = choices[choices["is_chosen"].astype(bool)]
    buildings = tables["buildings"].groupby("site_id").size()
    planned = chosen.groupby("site_id").size()
    sites = pd.DataFrame(tables["sites"])[["site_id", "region", "x_m", "y_m"]].copy()
    sites["region"] = sites["region"].fillna("not given")
    sites["buildings_count"] = sites["site_id"].map(buildings).fillna(0).astype("int64")
    sites["planned_count"] = sites["site_id"].map(planned).fillna(0).astype("int64")
    return sites


def _by_region(sites: pd.DataFrame, least: int) -> pd.DataFrame:
    rows = []
    for region, part in sites.groupby("region", sort=True):
        is_few = len(part) < least
        rows.append(
            {
                "region": region,
                "sites": f"{_FEWER} {least}" if is_few else str(len(part)),
                "buildings": "" if is_few else str(int(part["buildings_count"].sum())),
                "buildings in the programme": ""
                if is_few
                else str(int(part["planned_count"].sum())),
            }
        )
    return pd.DataFrame(
        rows, columns=["region", "sites", "buildings", "buildings in the programme"]
    )


def _write_areas(path: Path, sites: pd.DataFrame, settings: Settings) -> None:
    """Squares that hold enough sites, with their counts."""
    cell_m = settings.export.public_cell_m
    placed = sites.dropna(subset=["x_m", "y_m"])
    column = (placed["x_m"] // cell_m).astype("int64")
    row = (placed["y_m"] // cell_m).astype("int64")
    rows = []
    for (x, y), part in placed.groupby([column, row], sort=True):
        if len(part) >= settings.export.public_least_sites:
            shape = box(x * cell_m, y * cell_m, (x + 1) * cell_m, (y + 1) * cell_m)
            rows.append(
                {
                    "sites_count": len(part),
                    "buildings_count": int(part["buildings_count"].sum()),
                    "planned_count": int(part["planned_count"].sum()),
                    "geometry": shape,
                }
            )
    frame = gpd.GeoDataFrame(
        rows,
        columns=["sites_count", "buildings_count", "planned_count", "geometry"],
        geometry="geometry",
        crs=settings.reference.working_crs,
    )
    date = f"{settings.planning_date.isoformat()}T00:00:00.000Z"
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": date})
    try:
        pyogrio.write_dataframe(frame, path, layer="areas", driver="GPKG", geometry_type="Polygon")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})

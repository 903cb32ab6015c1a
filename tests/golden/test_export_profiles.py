"""Profiles full, working and public, and the register of one site, read back byte by byte."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.errors import UsageError
from pipeline.core.run_id import RunId
from pipeline.core.settings import Settings
from pipeline.publish import publish
from pipeline.publish.profiles import check_profile
from pipeline.run import compute
from pipeline.tables import Tables

ROOT = Path(__file__).parents[2]
Computed = tuple[Tables, Settings, RunId]


@pytest.fixture(scope="module")
def computed() -> Computed:
    """The example's smaller sister, computed once."""
    config = ROOT / "configs" / "clean.toml"
    settings = settings_file.load(config)
    tables, run_id, _ = compute(config, settings)
    return tables, settings, run_id


def written(computed: Computed, folder: Path, **export: Any) -> Path:
    """A run folder under another profile."""
    tables, settings, run_id = computed
    settings = settings.model_copy(update={"export": settings.export.model_copy(update=export)})
    folder.mkdir()
    publish(tables, settings, folder=folder, run_id=run_id, when=lambda: {"seconds": 0})
    return folder


def everything(folder: Path) -> bytes:
    """All bytes of a folder."""
    return b"\n".join(p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file())


@pytest.mark.parametrize("least", [1, 3])
def test_public_holds_no_id_no_level_no_margin_and_no_fine_position(
    computed: Computed, tmp_path: Path, least: int
) -> None:
    """Every byte of the public profile against every id, level, margin and place of the run."""
    tables, _, _ = computed
    folder = written(computed, tmp_path / "p", profile="public", public_least_sites=least)
    data = everything(folder)
    for table, column in (
        ("sites", "site_id"), ("buildings", "building_id"), ("chambers", "chamber_id"),
        ("ends", "end_id"), ("sites", "site_name"),
    ):  # fmt: skip
        for name in tables[table][column].dropna():
            if len(name) > 3:  # shorter ones occur by chance in compressed bytes
                assert name.encode() not in data, name
    for table, column in (
        ("reach", "let_in_level_m"), ("reach", "opening_level_m"), ("levels", "level_m"),
        ("floods", "level_m"), ("sites", "x_m"), ("sites", "y_m"), ("buildings", "x_m"),
        ("chambers", "y_m"),
    ):  # fmt: skip
        for value in tables[table][column].dropna().unique():
            if value % 1000.0 == 0.0:
                continue  # a round number says nothing
            assert struct.pack("<d", float(value)) not in data
            assert struct.pack(">d", float(value)) not in data
            assert f"{value:.3f}".encode() not in data
    for margin in tables["reach"]["margin_mm"].dropna().unique():
        assert f"{margin:+.0f} mm".encode() not in data
    areas = gpd.read_file(folder / "public.gpkg", layer="areas")
    assert (areas.total_bounds % 10_000 == 0).all() if len(areas) else least > 1
    assert int(areas["sites_count"].min()) >= least if len(areas) else True


def test_public_counts_are_those_of_the_tables(computed: Computed, tmp_path: Path) -> None:
    """With every count shown, the regions and the squares both add up to the sites surveyed."""
    tables, _, _ = computed
    folder = written(computed, tmp_path / "p", profile="public", public_least_sites=1)
    summary = pd.read_csv(folder / "public_summary.csv", keep_default_na=False)
    assert summary["sites"].astype(int).sum() == len(tables["sites"])
    assert summary["buildings"].astype(int).sum() == len(tables["buildings"])
    areas = gpd.read_file(folder / "public.gpkg", layer="areas")
    placed = tables["sites"]["x_m"].notna().sum()
    assert areas["sites_count"].sum() == placed


def test_working_leaves_hidden_fields_blank_in_every_table(
    computed: Computed, tmp_path: Path
) -> None:
    """The surveyor's name and a field named in the settings stand nowhere in the tables."""
    hides = ("visits.surveyor", "sites.site_name")
    folder = written(computed, tmp_path / "w", profile="working", working_hides=hides)
    visits = pd.read_csv(folder / "tables" / "visits.csv", dtype=str, keep_default_na=False)
    assert (visits["surveyor"] == "").all()
    names = set(computed[0]["sites"]["site_name"].dropna())
    assert names
    page = (folder / "map.html").read_text("utf-8")
    for name in names:
        assert name not in page
        assert name not in (folder / "tables" / "sites.csv").read_text("utf-8")


@pytest.mark.parametrize("name", ["sites.shoe_size", "nothing.at_all", "sites.site_id"])
def test_a_field_that_cannot_be_hidden_is_refused_in_one_message(
    computed: Computed, name: str
) -> None:
    """Unknown fields and keys are named with the way to mend it."""
    settings = computed[1].model_copy(
        update={"export": computed[1].export.model_copy(update={"working_hides": (name,)})}
    )
    with pytest.raises(UsageError, match=name) as fault:
        check_profile(settings)
    assert fault.value.mend


def test_the_register_of_a_site_lists_each_opening_once_with_a_decision(
    example_run: Path, table: Callable[[str], Any]
) -> None:
    """All registers together are the table of openings; classes and positions agree."""
    reach = table("reach")
    reach = reach[reach["site_id"].notna()]
    found: dict[str, str] = {}
    placed = 0
    for folder in sorted((example_run / "site_extracts").iterdir()):
        book = openpyxl.load_workbook(folder / "register.xlsx", read_only=True)
        for sheet in ("Openings of buildings", "Ends in chambers"):
            rows = list(book[sheet].iter_rows(values_only=True))
            head = [str(v) for v in rows[3]]
            for row in rows[4:]:
                if row[0] in (None, "Nothing to list."):
                    continue
                assert row[head.index("decision, and why")]
                found[str(row[0])] = str(row[head.index("class")])
        shapes = json.loads((folder / "openings.geojson").read_text("utf-8"))
        placed += sum(f["geometry"] is not None for f in shapes["features"])
    assert found == dict(zip(reach["opening_id"], reach["level_class"], strict=True))
    assert placed > 0.9 * len(found)

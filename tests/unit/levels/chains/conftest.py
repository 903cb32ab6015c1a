"""A small survey in typed tables: what a test does not say is a clean, complete row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.settings import Settings, Shift
from pipeline.levels.found import Found
from pipeline.levels.heights import findings_frame, heights, level_table
from pipeline.tables import REGISTRY, Tables, blank, hand_over
from pipeline.tables.spec import conform

ROOT = Path(__file__).parents[4]
DATUM = "Working Datum"
OLD = "Old Datum"
Rows = Sequence[Mapping[str, Any]]

DEFAULTS: dict[str, dict[str, Any]] = {
    "visits": {"visit_id": "V1", "site_id": "S1", "visit_date": "2025-05-06", "instrument": "level",
               "datum": DATUM},
    "points": {"site_id": "S1", "datum": DATUM, "method": "levelled", "visit_id": "V1"},
    "chambers": {"site_id": "S1", "depth_from": "cover top", "visit_id": "V1"},
    "buildings": {"site_id": "S1", "lowest_space": "basement", "visit_id": "V1",
                  "other_openings": "none seen"},
    "entries": {"building_id": "B1", "face": "A", "kind": "duct bank", "visit_id": "V1"},
    "ends": {"site_id": "S1", "face": "A", "shape": "round", "bore_mm": 100.0, "seen": "full",
             "bore_method": "calliper", "contents": "cables", "visit_id": "V1",
             "is_unlisted": False},
    "observations": {"visit_id": "V1", "observed_unit": "m", "note": "seen"},
}  # fmt: skip
SHEET = {"points": "level_points", "ends": "ducts"}


@cache
def empty(name: str) -> pd.DataFrame:
    """A table without rows, made once."""
    frame: pd.DataFrame = blank(name)
    return frame


@cache
def letters() -> pd.DataFrame:
    """The table `columns`: every column of every sheet has a letter."""
    rows = [
        {"file": "t.xlsx", "sheet": SHEET.get(name, name), "table": name, "house_name": c.name,
         "heading": c.name, "letter": f"C{i}"}
        for name in DEFAULTS for i, c in enumerate(REGISTRY[name].columns)
    ]  # fmt: skip
    return conform(REGISTRY["columns"], pd.DataFrame(rows), stage="test")


def table_of(name: str, rows: Rows) -> pd.DataFrame:
    """A typed table; rows are numbered from 2, as a sheet shows them."""
    full = [
        {"file": "t.xlsx", "sheet": SHEET.get(name, name), "row": i, "row_state": "used"}
        | DEFAULTS[name] | dict(row)
        for i, row in enumerate(rows, start=2)
    ]  # fmt: skip
    return conform(REGISTRY[name], pd.DataFrame(full), stage="test") if full else empty(name)


def survey_of(**rows: Rows) -> Tables:
    """Survey tables with one clean visit unless visits are given."""
    rows = {"visits": [{}], **rows}
    tables = {name: table_of(name, rows.get(name, ())) for name in DEFAULTS}
    tables["columns"] = letters()
    tables["abouts"] = empty("abouts")
    return tables


def ground_of(level_m: float | None = None) -> pd.DataFrame:
    """Ground of the one site; none where it is not known."""
    if level_m is None:
        return empty("ground")
    row = {"place_kind": "site", "place_id": "S1", "ground_m": level_m}
    return conform(REGISTRY["ground"], pd.DataFrame([row]), stage="test")


@pytest.fixture(scope="session")
def settings() -> Settings:
    """Settings of the clean sample, on the test's datum with one stated shift; k = 1.645."""
    base = settings_file.load(ROOT / "configs" / "clean.toml")
    shift = Shift(datum=OLD, add_m=0.040, u_m=0.015, source="desk study")
    return base.model_copy(
        update={
            "reference": base.reference.model_copy(
                update={"vertical_datum": DATUM, "shift": (shift,)}
            ),
            "flood": base.flood.model_copy(update={"k": 1.645}),
        }
    )


@pytest.fixture(scope="session")
def survey() -> Callable[..., Tables]:
    """Makes survey tables of rows given by table."""
    return survey_of


@pytest.fixture(scope="session")
def ground_of_site() -> Callable[..., pd.DataFrame]:
    """Makes the ground table of the one site."""
    return ground_of


class Result:
    """Levels by kind and id, and findings."""

    def __init__(self, found: Found, k: float) -> None:
        tables = hand_over("levels", {"levels": level_table(found, k)})
        self.levels = tables["levels"].set_index(["thing_kind", "thing_id"])
        self.findings = findings_frame(found)

    def row(self, kind: str, thing: str) -> Any:
        return self.levels.loc[(kind, thing)]

    def level(self, kind: str, thing: str) -> float:
        return float(self.row(kind, thing)["level_m"])

    def codes(self) -> list[str]:
        return [str(code) for code in self.findings["code"]]


@pytest.fixture(scope="session")
def work(settings: Settings) -> Callable[..., Result]:
    """Work out the heights of rows given by table; `ground` is the ground of the site."""

    def run(ground: float | None = None, **rows: Rows) -> Result:
        return Result(heights(survey_of(**rows), settings, ground_of(ground)), settings.flood.k)

    return run

"""Builders of intake tests: workbooks and settings of a few lines in a temporary folder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load

# a square kilometre of open sea where the exact British shift is defined
EAST, NORTH = 490_000.0, 640_000.0


@pytest.fixture
def settings(tmp_path: Path, root: Path) -> Callable[..., Settings]:
    """Settings of the clean sample with files of the test's own and no flood source."""
    base = load(root / "configs" / "clean.toml")
    regions = tmp_path / "regions.gpkg"
    square = shapely.box(EAST, NORTH, EAST + 10_000, NORTH + 10_000)
    gpd.GeoDataFrame({"region": ["North"]}, geometry=[square], crs="EPSG:27700").to_file(regions)

    def make(
        files: Sequence[Path], *, reference: dict[str, Any] | None = None, **surveys: Any
    ) -> Settings:
        place = {"regions_file": regions, "footprints_file": None, **(reference or {})}
        given = {"files": tuple(files), "horizontal_ref": "EPSG:27700", **surveys}
        return base.model_copy(
            update={
                "reference": base.reference.model_copy(update=place),
                "surveys": base.surveys.model_copy(update=given),
                "flood": base.flood.model_copy(update={"source": ()}),
            }
        )

    return make

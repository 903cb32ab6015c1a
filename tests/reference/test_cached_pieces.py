"""The cache of drawings serves pieces only: ml come from true sizes, cached or not."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.core.materials import Materials, load
from pipeline.core.settings_file import load as load_settings
from pipeline.design import design, layout
from pipeline.tables import Tables
from tests.unit.design.conftest import survey

ENDS = 60


@pytest.fixture
def tables() -> Tables:
    """Ends whose true bores share whole millimetres, so that the cache is hit."""
    rng = np.random.default_rng(11)
    bores = [float(b) + float(rng.uniform(0.0, 0.9)) for b in rng.choice([90, 103, 125], ENDS)]
    ends = [
        {"end_id": f"D{i:02d}", "col_no": i + 1, "bore_mm": b, "contents": "cables" if i % 3 else "empty"}
        for i, b in enumerate(bores)
    ]  # fmt: skip
    cables = [
        {"cable_id": f"K{i:02d}", "end_id": f"D{i:02d}", "diameter_mm": 28.0 - float(rng.uniform(0, 0.9)),
         "cable_count": int(rng.integers(1, 4))}
        for i in range(ENDS) if i % 3
    ]  # fmt: skip
    return survey(ends=ends, cables=cables)


@pytest.fixture
def run(tables: Tables, root: Path) -> Callable[[], Tables]:
    """Design the ends under the clean sample's policy."""
    settings = load_settings(root / "configs" / "clean.toml")
    materials: Materials = load(root / "configs" / "materials_example.toml")
    return lambda: design(tables, settings, materials=materials)


def test_cached_and_uncached_ml_agree(run: Callable[[], Tables], monkeypatch: Any) -> None:
    """ml with a warm cache, a cold one and none are equal to 1e-9, and equal to pi/4 (D2 - d2) t."""
    cold = run()
    hits = layout._packed.cache_info().hits
    warm = run()
    assert layout._packed.cache_info().hits > hits
    monkeypatch.setattr(layout, "_packed", layout._packed.__wrapped__)
    none = run()
    for other in (warm, none):
        for name in ("designs", "placements", "pieces"):
            assert cold[name].equals(other[name])
    rows = cold["designs"]
    assert len(rows) == ENDS
    assert rows["is_designed"].all()
    by_hand = (rows["opening_area_mm2"] - rows["cables_area_mm2"]) * rows["layer_mm"] / 1000.0
    by_hand *= 1.0 + rows["allowance_frac"]
    assert np.abs(by_hand - rows["sealant_ml"]).max() <= 1e-9
    whole = math.pi / 4.0 * rows["bore_mm"] ** 2  # true bores, not the rounded ones of the cache
    assert np.abs(whole - rows["opening_area_mm2"]).max() <= 1e-9

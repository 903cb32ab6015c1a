"""What is told of grids, outlines and seen water: marks of no data, coarse places, marks above models."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.levels.chain import Level
from pipeline.levels.found import Found
from pipeline.levels.seen_said import seen_findings

NONE = float("nan")
EVERYWHERE = (0, 0, 12, 12)


def test_an_undeclared_mark_of_no_data_is_told_once(country: Any) -> None:
    """-9999 in the cells of two chambers, not declared by the file: one STOP that names both."""
    values = np.full((12, 12), 20.62)
    values[5, 5:8] = -9999.0
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE), nodata=None)
    for name, col in (("C1", 5), ("C2", 6), ("C3", 2)):
        country.chamber(name, 5, col)
    found = country.flow()["findings"].query("code == 'water-07'")
    assert found["message"].tolist() == [
        'The grid gives -9999 at C1, C2. That is its "no data" mark. It has not been used.'
    ]


def test_a_declared_mark_is_told_to_nobody(country: Any) -> None:
    """A cell without data that the file declares is no fault."""
    values = np.full((12, 12), 20.62)
    values[5, 5] = -9999.0
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE), nodata=-9999.0)
    country.chamber("C1", 5, 5)
    assert "water-07" not in country.said()


@pytest.mark.parametrize(("step_m", "told"), [(0.2, True), (0.05, False)])
def test_a_coarse_place_on_uneven_water(country: Any, step_m: float, told: bool) -> None:
    """Placed to 30 m on cells of 20 m: asked where the level differs by more than 0.1 m there."""
    values = np.full((12, 12), 20.6)
    values[:, 6:] += step_m
    country.source("river", values, dtype="float64")
    country.chamber("C1", 5, 5, plan_u_m=30.0)
    country.chamber("C2", 5, 5, plan_u_m=0.5)
    found = country.flow()["findings"].query("code == 'place-14'")
    assert list(found["place_id"]) == (["C1"] if told else [])


def test_outlines_without_level_are_asked_for(country: Any) -> None:
    """Two outlines of which one has no level: one question for the source."""
    country.outlines(
        (country.boxed(0, 0, 4, 4), 3.2, 0.01), (country.boxed(6, 0, 4, 4), NONE, 0.01)
    )
    country.chamber("C1", 1, 1)
    found = country.flow()["findings"].query("code == 'water-13'")
    assert found["message"].str.contains("sea (1 of 2 outlines)", regex=False).tolist() == [True]


@pytest.mark.parametrize(("seen_m", "told"), [(20.63, True), (20.62, False), (19.0, False)])
def test_water_seen_above_the_model_is_asked(seen_m: float, told: bool) -> None:
    """Design level 20.62: a mark at 20.63 is above it, one at 20.62 is not; rarer events are out."""
    floods = pd.DataFrame(
        [
            {"place_id": "C1", "site_id": "S1", "aep_per_year": aep, "answer": "level",
             "level_m": level}
            for aep, level in ((0.01, 20.62), (0.001, 25.0))
        ]
    )  # fmt: skip
    policies = pd.DataFrame([{"site_id": "S1", "design_aep_per_year": 0.01}])
    found = Found()
    found.put("water seen", "C1", "S1", Level(seen_m))
    assert [f.code for f in seen_findings(floods, policies, found)] == ["water-18"] * told

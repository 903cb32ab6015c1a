"""The error finder and the adjustment behind it, against scipy and planted errors."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import lsq_linear

from pipeline.intake import check
from pipeline.levels.finder import network_table, suspects_table
from pipeline.levels.network import adjust, adjust_shared, suspects
from pipeline.tables import hand_over

Sheet = list[list[Any]]


def site(rng: np.random.Generator) -> tuple[Any, Any, Any, Any]:
    """Three marks with levels and rises between all of them: each level has two more chains."""
    true = rng.uniform(2.0, 40.0, 3)
    design = np.array(
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 1, 0], [0, -1, 1], [-1, 0, 1]], dtype=float
    )
    u = np.array([0.010, 0.010, 0.010, 0.005, 0.005, 0.005])
    return design, design @ true + rng.normal(0.0, u), u, true


@pytest.mark.parametrize("seed", range(10))
def test_levels_are_those_of_scipy(seed: int) -> None:
    """Independent: scipy.optimize.lsq_linear on the weighted system, to 1e-9 m."""
    design, measured, u, _ = site(np.random.default_rng(seed))
    expected = lsq_linear(design / u[:, None], measured / u).x
    found = adjust(design, measured, u)
    assert np.abs(found.level_m - expected).max() < 1e-9
    assert found.redundancy.sum() == pytest.approx(3.0, abs=1e-9)  # 6 numbers, 3 unknowns


def test_a_planted_error_is_named_first_in_200_sites() -> None:
    """An error of 0.1 to 1 m on any number: the right one first in at least 90 % of the sites."""
    rng = np.random.default_rng(20261125)
    hits = 0
    for _ in range(200):
        design, measured, u, _true = site(rng)
        row = int(rng.integers(len(measured)))
        error = float(rng.uniform(0.1, 1.0) * rng.choice([-1.0, 1.0]))
        measured[row] += error
        found = suspects(design, measured, u)
        hits += bool(found) and found[0].row == row and abs(found[0].change_m + error) < 0.1
    assert hits >= 180


def test_a_planted_100_mm_is_named_in_95_of_100_sites() -> None:
    """Two redundant chains, 100 mm on any number: it is the first suspect in at least 95 of 100."""
    rng = np.random.default_rng(1968)
    named = 0
    for _ in range(100):
        design, measured, u, _true = site(rng)
        row = int(rng.integers(len(measured)))
        measured[row] += 0.1 * float(rng.choice([-1.0, 1.0]))
        found = suspects(design, measured, u)
        named += bool(found) and found[0].row == row
    assert named >= 95


def test_with_one_redundant_chain_the_right_pair_is_tied_in_100_sites() -> None:
    """One loop, 100 mm on any of its numbers: all of the loop are tied with it, and it is said."""
    design = np.array([[1, 0, 0], [-1, 0, 1], [0, 1, 0], [0, -1, 1]], dtype=float)
    rng = np.random.default_rng(1969)
    for _ in range(100):
        u = rng.uniform(0.003, 0.010, 4)
        true = rng.uniform(5.0, 15.0, 3)
        measured = design @ true + rng.normal(0.0, u)
        row = int(rng.integers(4))
        measured[row] += 0.1 * float(rng.choice([-1.0, 1.0]))
        found = suspects(design, measured, u)
        assert found
        assert row in {found[0].row, *found[0].tied}
        assert len(found[0].tied) == 3


def test_with_one_redundant_chain_the_tie_is_said() -> None:
    """Two ways to one level: nobody can tell which of the four numbers is wrong."""
    design = np.array([[1, 0, 0], [-1, 0, 1], [0, 1, 0], [0, -1, 1]], dtype=float)
    found = suspects(design, [10.0, -1.0, 10.4, -1.0], [0.01] * 4)
    assert len(found[0].tied) == 3


def test_numbers_that_agree_name_nobody() -> None:
    """Noise of the stated size is no error (chi-square, 99.9 %): none of 200 sites but by chance."""
    rng = np.random.default_rng(7)
    named = sum(bool(suspects(*site(rng)[:3])) for _ in range(200))
    assert named <= 3


def _survey(book: Callable[..., Path], rise: float) -> dict[str, Any]:
    points: Sheet = [
        ["point_id", "site_id", "kind", "level_m", "from_point_id", "rise_m", "method"],
        ["A", "S-1", "site mark", 10.000, None, None, "levelled"],
        ["B", "S-1", "site mark", 11.250, "A", 1.250, "levelled"],
        ["C", "S-1", "site mark", 12.100, "B", rise, "levelled"],
        ["D", "S-1", "site mark", None, "A", 2.100, "levelled"],
    ]
    ducts: Sheet = [
        ["end_id", "place_id", "ref_point_id", "dip_down_m", "check_point_id", "check_dip_down_m"],
        ["E-1", "X", "A", 1.000, "C", 3.100],
        ["E-2", "X", "B", 2.000, "C", 2.850],
    ]
    return hand_over("intake", check([book(level_points=points, ducts=ducts,
                                           sites=[["site_id"], ["S-1"]],
                                           chambers=[["chamber_id", "site_id"], ["X", "S-1"]])]))  # fmt: skip


def test_the_cell_of_the_wrong_number_is_named(book: Callable[..., Path]) -> None:
    """A rise of 1.250 for 0.850 (two figures read wrong): its cell, and -0.400 m."""
    found = suspects_table(_survey(book, 1.250)).iloc[0]
    assert found["cell"] == "level_points!F4 in north.xlsx"
    assert found["change_m"] == pytest.approx(-0.4, abs=0.01)
    assert "all other numbers of S-1 agree within" in found["words"]
    assert suspects_table(_survey(book, 0.850)).empty


def test_the_question_names_the_likeliest_number() -> None:
    """Which of two chains to trust: the finder's number stands beside the question of its site."""
    from pipeline.levels import _with_hints

    findings = pd.DataFrame(
        {"code": ["level-02", "level-02", "level-01"], "site_id": ["S-1", "S-2", "S-1"],
         "mend": ["Write it."] * 3}
    )  # fmt: skip
    suspected = pd.DataFrame({"site_id": ["S-1"], "rank": [1], "words": ["the rise to C"]})
    assert _with_hints(findings, suspected)["mend"].tolist() == [
        "Likeliest: the rise to C. Write it.", "Write it.", "Write it.",
    ]  # fmt: skip


def test_heights_on_two_datums_do_not_quarrel(book: Callable[..., Path]) -> None:
    """Two marks on a site datum 90 m off, tied by a rise: no number is wrong."""
    head = ["point_id", "site_id", "kind", "level_m", "datum", "from_point_id", "rise_m", "method"]
    points: Sheet = [
        head,
        ["A", "S-1", "site mark", 10.000, "National", None, None, "levelled"],
        ["B", "S-1", "site mark", 11.250, "National", "A", 1.250, "levelled"],
        ["C", "S-1", "site mark", 102.100, "site", "B", 0.850, "levelled"],
        ["D", "S-1", "site mark", 103.000, "site", "C", 0.900, "levelled"],
    ]
    tables = hand_over("intake", check([book(level_points=points, sites=[["site_id"], ["S-1"]])]))
    assert suspects_table(tables).empty


@pytest.mark.parametrize("seed", range(5))
def test_shared_errors_against_the_normal_equations(seed: int) -> None:
    """Numbers that share an error: (A' V^-1 A)^-1 A' V^-1 y by numpy, to 1e-9 m."""
    rng = np.random.default_rng(seed)
    design, measured, u, _ = site(rng)
    shared = np.zeros((6, 2))
    shared[:3, 0], shared[3:, 1] = 0.008, 0.003
    weight = np.linalg.inv(np.diag(u**2) + shared @ shared.T)
    normal = np.linalg.inv(design.T @ weight @ design)
    found = adjust_shared(design, measured, u, shared)
    assert np.abs(found.level_m - normal @ design.T @ weight @ measured).max() < 1e-9
    assert np.abs(found.u_m - np.sqrt(np.diag(normal))).max() < 1e-9
    assert found.spare_count == 3
    assert found.is_believable


def test_a_part_without_a_known_level_stays_open() -> None:
    """A rise between two marks that hang on nothing gives neither of them a level."""
    found = adjust_shared([[1, 0, 0], [0, 1, -1]], [10.0, 2.0], [0.01, 0.01], np.zeros((2, 0)))
    assert found.level_m[0] == pytest.approx(10.0)
    assert np.isnan(found.level_m[1:]).all()
    assert found.spare_count == 0


def test_the_network_of_a_site_stands_beside_its_levels(book: Callable[..., Path]) -> None:
    """Two marks and a rise between them: the mean by weight, and 10 cm more is not believed."""
    points: Sheet = [["point_id", "site_id", "level_m", "datum", "method", "from_point_id", "rise_m"],
              ["P-1", "S-1", 10.0, "National", "levelled", None, None],
              ["P-2", "S-1", 11.004, "National", "levelled", "P-1", 1.0]]  # fmt: skip
    sites = [["site_id"], ["S-1"]]
    good = network_table(
        hand_over("x", check([book(sites=sites, level_points=points)])), "National"
    )
    assert good["adjusted_m"].tolist() == pytest.approx([10.0 + 0.004 / 3, 11.004 - 0.004 / 3])
    assert good["is_believable"].all()
    points[2][2] = 11.1
    bad = network_table(hand_over("x", check([book(sites=sites, level_points=points)])), "National")
    assert not bad["is_believable"].any()
    assert "do NOT agree" in bad["words"].iloc[0]

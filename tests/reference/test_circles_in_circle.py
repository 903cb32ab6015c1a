"""Equal circles in a circle, against the best known counts.

Source of `circles_in_circle.csv` (ratio of the radii, n = 1..100): E. Specht's published table
"best known packings of equal circles in a circle"; n <= 50 also in Birgin & Gentil, Computers &
Operations Research 37 (2010), table 1; n <= 20 in Graham, Lubachevsky, Nurmela, Ostergard,
Discrete Mathematics 181 (1998) 139-154. `proven_optimal` marks n = 1-13 and 19.
"""

from __future__ import annotations

import csv
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pipeline.design.geometry import Array, Opening
from pipeline.design.packing import fill, overlap_mm

TABLE = Path(__file__).parent / "circles_in_circle.csv"
RADIUS_MM = 10.0
EMPTY, NONE = np.empty((0, 2)), np.empty(0)


@cache
def _table() -> list[tuple[int, float, bool]]:
    with TABLE.open(encoding="utf-8") as file:
        return [
            (int(r["n"]), float(r["ratio_R_over_r"]), r["proven_optimal"] == "yes")
            for r in csv.DictReader(file)
        ]


def _pack(ratio: float) -> Array:
    outer = ratio * RADIUS_MM
    return fill(Opening(outer, outer, outer), EMPTY, NONE, RADIUS_MM)


# 1 + sqrt 2 and so on: closed forms of the proven cases, worked by hand from the figures
CLOSED = {
    1: 1.0,
    2: 2.0,
    3: 1.0 + 2.0 / math.sqrt(3.0),
    4: 1.0 + math.sqrt(2.0),
    5: 1.0 + math.sqrt(2.0 * (1.0 + 1.0 / math.sqrt(5.0))),
    6: 3.0,
    7: 3.0,
    8: 1.0 + 1.0 / math.sin(math.pi / 7.0),
    9: 1.0 + math.sqrt(2.0 * (2.0 + math.sqrt(2.0))),
    11: 1.0 + 1.0 / math.sin(math.pi / 9.0),
    13: 2.0 + math.sqrt(5.0),
    19: 1.0 + math.sqrt(2.0) + math.sqrt(6.0),
}


@pytest.mark.parametrize("n", sorted(CLOSED))
def test_table_meets_the_closed_forms(n: int) -> None:
    """The copied table is not misprinted: it equals the closed forms."""
    assert _table()[n - 1][1] == pytest.approx(CLOSED[n], abs=1e-12)


def test_share_of_the_best_known_count() -> None:
    """Over 512 bores from 2 to 7.1 diameters: never above the best count, 98 % on the mean."""
    shares = []
    for ratio in np.linspace(2.0, 7.1, 512):
        best = sum(r <= ratio + 1e-9 for _, r, _ in _table())
        found = _pack(float(ratio))
        outer = float(ratio) * RADIUS_MM
        assert (
            overlap_mm(Opening(outer, outer, outer), found, np.full(len(found), RADIUS_MM)) < 1e-6
        )
        assert len(found) <= best, ratio
        shares.append(len(found) / best)
    assert np.mean(shares) >= 0.98
    assert min(shares) >= 0.9


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5, 7, 8, 9, 11, 19])
def test_reaches_and_never_passes_the_small_optima(n: int) -> None:
    """A hair above a proven ratio the packer finds n circles; a hair below it never does."""
    ratio = CLOSED[n]
    assert len(_pack(ratio * (1.0 + 1e-6))) == n
    assert len(_pack(ratio * (1.0 - 1e-6))) < n


@pytest.mark.parametrize("n", [6, 10, 12, 13, *range(14, 41, 2)])
def test_reaches_the_others_within_four_percent(n: int) -> None:
    """n circles are found in a bore at most 4 % wider than the best known (6: the 7-circle bore)."""
    assert len(_pack(_table()[n - 1][1] * 1.04)) >= n

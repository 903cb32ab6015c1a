"""The step nature of sealing: a worked example of the trade, out of the general routine.

Source: the project's description of the job, part 5.3 (level-chance curve, openings and the loss
avoided are typed from there; percentages are printed there to whole per cent).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.core.annual_loss import after_sealing, expected_annual_loss
from pipeline.core.curves import chance_of_level
from pipeline.programme.onset import combined_chance, ladder

_LEVELS_M = np.array([20.10, 20.35, 20.62, 20.74, 21.05])
_AEPS = np.array([0.10, 0.033, 0.01, 0.005, 0.001])
_NAMES = ("D1", "D2", "D3", "air brick", "door")
_LET_IN_M = np.array([20.20, 20.20, 20.50, 20.70, 20.95])
_CHANCE = chance_of_level(_LEVELS_M, _AEPS, _LET_IN_M)[0].reshape(-1, 1)

_CASES = [
    ((), 0.064, 0),
    (("D1",), 0.064, 0),
    (("D1", "D2"), 0.017, 74),
    (("D1", "D2", "D3"), 0.0063, 90),
    (("D1", "D2", "D3", "air brick"), 0.0017, 97),
    (("air brick",), 0.064, 0),
]


def _open(closed: tuple[str, ...]) -> np.ndarray:
    return np.array([n not in closed for n in _NAMES])


@pytest.mark.parametrize(("closed", "chance", "avoided_percent"), _CASES)
def test_worked_example(closed: tuple[str, ...], chance: float, avoided_percent: int) -> None:
    """Onset chance and loss avoided of each closed set are those of the source."""
    found = combined_chance(_CHANCE, _open(()))
    after = combined_chance(_CHANCE, _open(closed))
    assert after == pytest.approx(chance, rel=0.03)  # printed to two figures
    loss = [
        expected_annual_loss([0.001], [1000.0], tail="flat", onset_aep=p) for p in (found, after)
    ]
    assert 100.0 * (1.0 - loss[1] / loss[0]) == pytest.approx(avoided_percent, abs=0.6)


def test_plain_event_trapezoids_give_another_answer() -> None:
    """Trapezoids over the events alone miss the step at the onset: by hand 68 % and not 74 %.

    As found wet from 3.3 %: (0.1 - 0.033)/2 + 0.033 = 0.0665; after D1, D2 wet from 1 %:
    (0.033 - 0.01)/2 + 0.01 = 0.0215; avoided 1 - 0.0215/0.0665 = 67.7 %.
    """

    def plain(onset_m: float) -> float:
        wet = (onset_m <= _LEVELS_M).astype(float)
        return float(expected_annual_loss(_AEPS, wet, tail="flat"))

    avoided = 100.0 * (1.0 - plain(20.50) / plain(20.20))
    assert avoided == pytest.approx(67.7, abs=0.1)
    assert abs(avoided - 74.0) > 3.0


def test_ladder_of_the_example() -> None:
    """Sealing ducts only: package 1 is D1 and D2, package 2 all three; the air brick ends it."""
    candidates = np.array([True, True, True, False, False])
    sets = ladder(_CHANCE, candidates, np.zeros(5, dtype=bool))
    assert [[_NAMES[i] for i in s] for s in sets] == [["D1", "D2"], ["D1", "D2", "D3"]]


def test_reliability_of_many_seals() -> None:
    """r = 0.98 and 16 ends on 6.4 % -> 0.63 %: 72 % that all hold, loss avoided falls 90 -> 65 %.

    By hand: 0.98^16 = 0.7238; 0.0063 + 0.0577 x 0.2762 = 0.02224; 1 - 0.02224/0.064 = 65.3 %.
    """
    all_hold = 0.98**16
    assert all_hold == pytest.approx(0.7238, abs=5e-5)
    after = after_sealing(1.0, 0.064, 0.0063, 0.98, 16)
    assert after == pytest.approx(0.02224, abs=5e-6)
    assert 100 * (1 - after / 0.064) == pytest.approx(65.3, abs=0.1)
    if_none_fails = 100 * (1 - after_sealing(1.0, 0.064, 0.0063, 1.0, 16) / 0.064)
    assert if_none_fails == pytest.approx(90.2, abs=0.1)


def test_two_independent_mechanisms() -> None:
    """Two independent sources of 1 % make 1.99 % (1 - 0.99 x 0.99); two openings of one do not."""
    both = np.array([[0.01, 0.01]])
    assert combined_chance(both, np.array([True])) == pytest.approx(0.0199, abs=1e-12)
    one = np.array([[0.01], [0.01]])
    assert combined_chance(one, np.array([True, True])) == pytest.approx(0.01, abs=1e-12)

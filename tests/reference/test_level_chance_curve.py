"""Level-chance curves against the worked ladder, hand calculations and a plain second way."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.core.curves import (
    AT_LEAST,
    AT_MOST,
    MORE_OFTEN,
    RARER,
    chance_of_level,
    level_at_chance,
    monotone_curve,
)

LEVELS_M = [20.10, 20.35, 20.62, 20.74, 21.05]
AEPS = [0.10, 0.033, 0.01, 0.005, 0.001]


def test_worked_ladder() -> None:
    """The worked example of the funding case: 6.4, 1.7, 0.63 and 0.17 % a year."""
    chance, bound = chance_of_level(LEVELS_M, AEPS, [20.20, 20.50, 20.70, 20.95])
    assert np.round(100 * chance[:2], 1).tolist() == [6.4, 1.7]
    assert np.round(100 * chance[2:], 2).tolist() == [0.63, 0.17]
    assert bound.tolist() == ["", "", "", ""]
    # printed beside it: 1 in 16, 59, 159 and 595 years
    assert np.round(1 / chance).tolist() == [16, 59, 159, 595]


def test_by_logarithms_on_paper() -> None:
    """20.20 lies 0.4 of the way from 20.10 to 20.35: 0.1^0.6 x 0.033^0.4 = 0.06418."""
    chance, _ = chance_of_level(LEVELS_M, AEPS, 20.20)
    assert float(chance) == pytest.approx(0.1**0.6 * 0.033**0.4, rel=1e-12)


def test_events_themselves_and_any_order() -> None:
    """At an event's level the chance is the event's (equal is reached); order does not matter."""
    order = [3, 0, 4, 2, 1]
    chance, bound = chance_of_level(np.array(LEVELS_M)[order], np.array(AEPS)[order], LEVELS_M)
    assert chance == pytest.approx(AEPS)
    assert set(bound) == {""}


def test_beyond_the_events_nothing_is_invented() -> None:
    """Under the most frequent event and over the rarest the word says so."""
    chance, bound = chance_of_level(LEVELS_M, AEPS, [[20.0, 21.2], [math.nan, 20.1]])
    assert bound.tolist() == [[MORE_OFTEN, RARER], ["", ""]]
    assert chance[0].tolist() == [0.10, 0.001]
    assert math.isnan(chance[1, 0])
    level, word = level_at_chance(LEVELS_M, AEPS, [0.5, 0.10, 0.001, 0.0001, math.nan])
    assert word.tolist() == [AT_MOST, "", "", AT_LEAST, ""]
    assert level[:4] == pytest.approx([20.10, 20.10, 21.05, 21.05])
    assert math.isnan(level[4])


def test_there_and_back() -> None:
    """The level at the chance of a level is the level."""
    wanted = np.linspace(20.10, 21.05, 96)
    chance, _ = chance_of_level(LEVELS_M, AEPS, wanted)
    level, word = level_at_chance(LEVELS_M, AEPS, chance)
    assert level == pytest.approx(wanted, abs=1e-9)
    assert set(word) == {""}


def test_rarer_is_never_lower() -> None:
    """A rarer event that stands lower is lifted, and equal levels answer with the most frequent."""
    level, aep, _ = monotone_curve([20.5, 20.3, 20.9], [0.1, 0.03, 0.01])
    assert level.tolist() == [20.5, 20.5, 20.9]
    assert aep.tolist() == [0.1, 0.03, 0.01]
    chance, _ = chance_of_level([20.5, 20.3, 20.9], [0.1, 0.03, 0.01], [20.5, 20.7])
    # halfway from (20.5, 3 %) to (20.9, 1 %) in log chance
    assert chance == pytest.approx([0.1, math.sqrt(0.03 * 0.01)])


def test_two_sources_at_one_chance_give_the_highest() -> None:
    """Several levels at one chance: the highest, never their sum."""
    level, aep, _ = monotone_curve([20.1, 20.6, 20.4], [0.01, 0.01, 0.01])
    assert (level.tolist(), aep.tolist()) == ([20.6], [0.01])


def test_dry_events_bound_from_above() -> None:
    """Dry at 10 and 3 % over ground 20.30, wet to 20.62 at 1 %: never more often than by 20.299."""
    events = ([20.30, 20.30, 20.62], [0.1, 0.03, 0.01])
    chance, bound = chance_of_level(*events, [20.30, 20.40, 20.62], is_dry=[True, True, False])
    assert bound.tolist() == ["", "", ""]
    # an upper estimate: from (20.299, 3 %) to (20.62, 1 %)
    share = (20.40 - 20.299) / (20.62 - 20.299)
    assert chance[1] == pytest.approx(0.03 ** (1 - share) * 0.01**share)
    assert 0.01 < chance[0] < 0.03
    assert chance[2] == pytest.approx(0.01)
    _, word = level_at_chance(*events, [0.03, 0.01], is_dry=[True, True, False])
    assert word.tolist() == [AT_MOST, ""]


def test_dry_in_every_event_is_rarer_than_the_rarest() -> None:
    """Ground that no event reaches is wet more rarely than the rarest of them."""
    chance, bound = chance_of_level([20.3] * 3, [0.1, 0.03, 0.01], 20.3, is_dry=[True] * 3)
    assert (float(chance), str(bound)) == (0.01, RARER)


def test_unknown_levels_drop_out_and_never_dry() -> None:
    """A lost event leaves the others; a curve of none is unknown, not zero."""
    chance, bound = chance_of_level([math.nan, 20.62], [0.1, 0.01], 20.3)
    assert (float(chance), str(bound)) == (0.01, MORE_OFTEN)
    chance, _ = chance_of_level([math.nan], [0.1], [20.3])
    assert np.isnan(chance).all()


def test_marks_are_no_chances() -> None:
    """The marks for 'every event' and 'past flood' are refused as chances."""
    with pytest.raises(ValueError, match="above 0"):
        chance_of_level([20.0, 20.5], [-1.0, 0.01], 20.2)


def _plainly(levels: list[float], aeps: list[float], wanted: float) -> tuple[float, str]:
    """The same by a plain walk over the events, one at a time."""
    events = sorted(zip(aeps, levels, strict=True), reverse=True)
    highest, curve = -math.inf, []
    for aep, level in events:
        highest = max(highest, level)
        curve.append((aep, highest))
    if wanted < curve[0][1]:
        return curve[0][0], MORE_OFTEN
    for n, (aep, level) in enumerate(curve):
        if level >= wanted:
            if n == 0 or level == wanted:
                return aep, ""
            before, under = curve[n - 1]
            share = (wanted - under) / (level - under)
            return math.exp(math.log(before) * (1 - share) + math.log(aep) * share), ""
    return curve[-1][0], RARER


def test_equals_a_plain_walk_on_random_curves() -> None:
    """Two hundred random curves with ties and falls: the same answer as the plain walk."""
    rng = np.random.default_rng(11)
    for _ in range(200):
        n = int(rng.integers(1, 7))
        levels = np.round(rng.uniform(20, 21, n), 1).tolist()
        aeps = rng.choice([0.5, 0.2, 0.1, 0.03, 0.01, 0.005, 0.001], n, replace=False).tolist()
        wanted = [*np.round(rng.uniform(19.9, 21.1, 6), 2).tolist(), *levels]
        chance, bound = chance_of_level(levels, aeps, wanted)
        expected = [_plainly(levels, aeps, w) for w in wanted]
        assert chance == pytest.approx([c for c, _ in expected])
        assert bound.tolist() == [b for _, b in expected]

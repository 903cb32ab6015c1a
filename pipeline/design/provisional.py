"""Quantities of ends that could not be drawn: mean and P90 of seen ends like them."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.design.doubts import Range
from pipeline.design.facts import Facts, text
from pipeline.design.quantity import Piece

_LEAST_COUNT: Final = (
    3  # fewer seen ends say too little about a wall or a kind of site (house rule)
)
_P90: Final = 0.9


@dataclass(frozen=True)
class Sample:
    """A drawn end that others may be priced from."""

    wall: tuple[str, str]
    site_type: str
    pieces: tuple[Piece, ...]
    hours_h: float


@dataclass(frozen=True)
class Estimate:
    """Mean, P50, P90 and range by item, mean hours, and where they came from."""

    mean: dict[str, float]
    p50: dict[str, float]
    p90: dict[str, float]
    hours_h: float
    words: str
    ranges: dict[str, Range]


class Estimator:
    """Estimates from seen ends of the same wall, else the same kind of site, else all."""

    def __init__(self, samples: Sequence[Sample]) -> None:
        self.walls: dict[object, list[Sample]] = defaultdict(list)
        self.kinds: dict[object, list[Sample]] = defaultdict(list)
        self.every = list(samples)
        for sample in samples:
            self.walls[sample.wall].append(sample)
            self.kinds[sample.site_type].append(sample)
        self._made: dict[object, Estimate] = {}

    def of(self, facts: Facts) -> Estimate | None:
        """The estimate for an end; None when no end was seen at all."""
        kind = text(facts.site, "site_type")
        choices = (
            (("wall", facts.wall), self.walls[facts.wall], "of the same wall", _LEAST_COUNT),
            (("kind", kind), self.kinds[kind], f"at sites of kind '{kind}'", _LEAST_COUNT),
            (("all", ""), self.every, "of the programme", 1),
        )
        for key, samples, words, least in choices:
            if len(samples) >= least:
                if key not in self._made:
                    self._made[key] = _estimate(samples, words, name=" ".join(map(str, _flat(key))))
                return self._made[key]
        return None


def _flat(key: object) -> list[object]:
    if isinstance(key, tuple):
        return [part for one in key for part in _flat(one)]
    return [key]


def _estimate(samples: Sequence[Sample], words: str, *, name: str) -> Estimate:
    """The estimate of one group of seen ends.

    Each unseen end has the spread of the seen ones for itself; that their mean may be off
    (spread over the root of their number) it shares with all that are estimated from them.
    """
    items = sorted({p.item_id for s in samples for p in s.pieces})
    amounts = {
        item: np.array([sum(p.quantity for p in s.pieces if p.item_id == item) for s in samples])
        for item in items
    }
    count = len(samples)
    spreads = {
        # one seen end says nothing about the spread: half of its amount (house rule)
        item: float(np.std(a, ddof=1)) if count > 1 else 0.5 * float(a[0])
        for item, a in amounts.items()
    }
    return Estimate(
        {item: float(np.mean(a)) for item, a in amounts.items()},
        {item: float(np.median(a)) for item, a in amounts.items()},
        {item: float(np.quantile(a, _P90)) for item, a in amounts.items()},
        float(np.mean([s.hours_h for s in samples])),
        f"mean and P90 of {count} seen ends {words}",
        {
            item: Range(u, {f"unseen ends by {name}": u / math.sqrt(count)} if u else {})
            for item, u in spreads.items()
        },
    )

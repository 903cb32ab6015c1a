"""A level as it is carried through the survey: value, doubt in two parts, pedigree, path, cells."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from pipeline.core import contract
from pipeline.levels.chance import disagreement_limit_m

_STEPS_THAT_CLEAR: Final = (*contract.PEDIGREE_METHODS, "dip", "offset")


@dataclass(frozen=True, slots=True)
class Level:
    """One level and where it came from.

    `shared` holds the doubts shared with everything that hangs on the same point, visit or datum
    shift, by name (m, one standard deviation each), `own_m` the doubt of the thing's own steps;
    `biases` bounds of biases of unknown sign by visit (m). `gap` names the first step that cannot
    clear.
    """

    value_m: float
    shared: tuple[tuple[str, float], ...] = ()
    own_m: float = 0.0
    shared_key: str = ""
    biases: tuple[tuple[str, float], ...] = ()
    gap: str = ""
    method: str = ""
    datum: str = ""
    path: str = ""
    cells: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def has_pedigree(self) -> bool:
        """Whether every step may clear an opening."""
        return self.gap == ""

    @property
    def shared_m(self) -> float:
        """Doubt of all shared parts together (m)."""
        return math.sqrt(sum(u * u for _, u in self.shared))

    @property
    def u_m(self) -> float:
        """Whole doubt (m)."""
        return math.hypot(self.shared_m, self.own_m)

    @property
    def bias_m(self) -> float:
        """Bound of the bias: the visits of the chain each with theirs, none twice (m)."""
        return sum(dict(self.biases).values())

    def step(
        self,
        by_m: float,
        words: str,
        *,
        u_m: float = 0.0,
        cell: str = "",
        gap: str = "",
        assumed: str = "",
    ) -> Level:
        """The level one signed step further; the step's doubt is the thing's own.

        Parameters
        ----------
        by_m : float
            Signed step (m), positive up.
        words : str
            The step in words, without its sign: 'dip 1.860'.
        u_m : float
            Doubt of the step (m, one standard deviation).
        cell : str
            Cell that it was read from.
        gap : str
            Why the step cannot clear; '' = it can.
        assumed : str
            Assumption taken, in words.

        Returns
        -------
        Level

        """
        sign = "+" if by_m >= 0 else "-"
        return replace(
            self,
            value_m=round(self.value_m + by_m, 6),
            own_m=math.hypot(self.own_m, u_m),
            gap=self.gap or gap,
            path=f"{self.path} {sign} {words}",
            cells=(*self.cells, cell) if cell else self.cells,
            assumed=(*self.assumed, assumed) if assumed else self.assumed,
        )

    def without_pedigree(self, gap: str, *, assumed: str = "") -> Level:
        """The same level, which can no longer clear; '' changes nothing."""
        extra = (assumed,) if assumed else ()
        return replace(self, gap=self.gap or gap, assumed=(*self.assumed, *extra))

    def at_least(self, stated_m: float) -> Level:
        """The same level with a whole doubt not under the stated one (m); the own part grows."""
        if stated_m <= self.u_m:
            return self
        return replace(self, own_m=math.sqrt(stated_m**2 - self.shared_m**2))

    def shared_by(self, key: str) -> Level:
        """The level as a point that others hang on: its own doubt becomes a shared part."""
        parts = (*self.shared, (key, self.own_m)) if self.own_m > 0.0 else self.shared
        return replace(self, shared=parts, own_m=0.0, shared_key=key)


def tolerance_m(one: Level, other: Level) -> float:
    """Largest believable difference of two chains: 2 sqrt(u1^2 + u2^2 - 2 cov).

    Parts that both chains share cancel.

    Parameters
    ----------
    one, other : Level

    Returns
    -------
    float
        Metres.

    """
    mine = dict(one.shared)
    covariance_m2 = sum(u * mine.get(key, 0.0) for key, u in other.shared)
    return float(disagreement_limit_m(one.u_m, other.u_m, covariance_m2))


def disagree(one: Level, other: Level) -> bool:
    """Whether two chains to one thing contradict each other."""
    return abs(one.value_m - other.value_m) > tolerance_m(one, other) + 1e-9


def lowest(options: Iterable[Level]) -> Level | None:
    """The lowest level, the first of equal ones; None when there is none."""
    return min(options, key=lambda level: level.value_m, default=None)


def method_gap(method: str) -> str:
    """Why a method cannot clear; '' when it can."""
    return "" if method in _STEPS_THAT_CLEAR else f"method {method or 'not stated'}"

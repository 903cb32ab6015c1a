"""A level as it is carried through the survey: value, doubt in two parts, pedigree, path, cells."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from pipeline.core import contract
from pipeline.core.units import up_mm

_STEPS_THAT_CLEAR: Final = (*contract.PEDIGREE_METHODS, "dip", "offset")


@dataclass(frozen=True)
class Level:
    """One level and where it came from.

    `shared_m` is the doubt shared with everything that hangs on the same point or visit
    (`shared_key`), `own_m` the doubt of the thing's own steps (m, one standard deviation each);
    `bias_m` a bound of a bias of unknown sign. `gap` names the first step that cannot clear.
    """

    value_m: float
    shared_m: float = 0.0
    own_m: float = 0.0
    shared_key: str = ""
    bias_m: float = 0.0
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

    def limit_mm(self, k: float) -> float:
        """K x doubt + bias, rounded up to whole millimetres."""
        return float(up_mm(k * math.hypot(self.shared_m, self.own_m) + self.bias_m))

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
        """The same level, which can no longer clear."""
        extra = (assumed,) if assumed else ()
        return replace(self, gap=self.gap or gap, assumed=(*self.assumed, *extra))


def tolerance_m(one: Level, other: Level) -> float:
    """Largest believable difference of two chains: 2 sqrt(u1^2 + u2^2 - 2 cov).

    Shared parts of chains that hang on the same point cancel.

    Parameters
    ----------
    one, other : Level

    Returns
    -------
    float
        Metres.

    """
    variance = one.own_m**2 + other.own_m**2
    if one.shared_key != other.shared_key or not one.shared_key:
        variance += one.shared_m**2 + other.shared_m**2
    return 2.0 * math.sqrt(variance)


def method_gap(method: str) -> str:
    """Why a method cannot clear; '' when it can."""
    return "" if method in _STEPS_THAT_CLEAR else f"method {method or 'not stated'}"

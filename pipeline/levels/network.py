"""Levels as a network of measured differences: least squares, and which number does not fit.

Pure: numbers in, numbers out. One row of `design` for each measured number, one column for each
unknown level.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2

FloatArray = npt.NDArray[np.float64]

# a number whose residual is free of less than this is not checked by any other
_CHECKED: Final = 1e-9
_SAME: Final = 1e-6
TRUST: Final = 0.999


@dataclass(frozen=True)
class Adjustment:
    """Adjusted levels with what each number says of the others.

    `level_m` (unknowns), `residual_m` (adjusted minus measured), `redundancy` (0 = nothing checks
    this number, 1 = fully checked), `standardised` (|residual| in its own standard deviations;
    NaN where unchecked), `freedom` (numbers more than needed), `misfit` (sum of squared weighted
    residuals).
    """

    level_m: FloatArray
    residual_m: FloatArray
    redundancy: FloatArray
    standardised: FloatArray
    freedom: int
    misfit: float

    @property
    def is_believable(self) -> bool:
        """Whether the numbers agree within their doubts (chi-square, 99.9 %)."""
        if self.freedom == 0:
            return True
        return bool(self.misfit <= chi2.ppf(TRUST, self.freedom))


@dataclass(frozen=True)
class Levels:
    """Levels by all numbers together, their doubts, and whether the numbers agree.

    `level_m`, `u_m` (unknowns): NaN where no chain leads to a known level. `spare_count`: numbers
    beyond those needed.
    """

    level_m: FloatArray
    u_m: FloatArray
    spare_count: int
    is_believable: bool


def adjust_shared(
    design: npt.ArrayLike,
    measured_m: npt.ArrayLike,
    own_u_m: npt.ArrayLike,
    shared_u_m: npt.ArrayLike,
) -> Levels:
    """Least squares of a level network whose numbers share errors.

    Parameters
    ----------
    design : array_like, shape (numbers, unknowns)
    measured_m, own_u_m : array_like, shape (numbers,)
        Values, and the doubt of each that no other shares (m), above zero.
    shared_u_m : array_like, shape (numbers, parts)
        Doubt shared through a visit or a geoid model, one column for each.

    Returns
    -------
    Levels

    References
    ----------
    Generalised least squares (Aitken 1935), by whitening with the Cholesky factor of the covariance;
    from memory.
    """
    a = np.asarray(design, dtype=np.float64)
    y, own = np.asarray(measured_m, np.float64), np.asarray(own_u_m, np.float64)
    shared = np.asarray(shared_u_m, np.float64).reshape(len(y), -1)
    root = np.linalg.cholesky(np.diag(own**2) + shared @ shared.T)
    white, seen = np.linalg.solve(root, a), np.linalg.solve(root, y)
    inverse = np.linalg.pinv(white)
    level = inverse @ seen
    u = np.sqrt(np.diag(inverse @ inverse.T))
    is_open = np.abs(np.eye(a.shape[1]) - inverse @ white).max(axis=1, initial=0.0) > _SAME
    spare = len(y) - int(np.linalg.matrix_rank(white))
    misfit = float(np.sum((white @ level - seen) ** 2))
    return Levels(
        np.where(is_open, np.nan, level), np.where(is_open, np.nan, u), spare,
        spare == 0 or misfit <= float(chi2.ppf(TRUST, spare)),
    )  # fmt: skip


def adjust(design: npt.ArrayLike, measured_m: npt.ArrayLike, u_m: npt.ArrayLike) -> Adjustment:
    """Least squares of a level network.

    Parameters
    ----------
    design : array_like, shape (numbers, unknowns)
        1 and -1 where a number is a level or a difference of two.
    measured_m, u_m : array_like, shape (numbers,)
        Measured values and their doubts, one standard deviation (m), above zero.

    Returns
    -------
    Adjustment

    Notes
    -----
    A part of the network without a known level has levels up to a constant; residuals do not
    depend on it.

    References
    ----------
    W. Baarda, A testing procedure for use in geodetic networks, 1968 (standardised residuals);
    any textbook of adjustment computations. From memory.
    """
    a = np.asarray(design, dtype=np.float64)
    y, u = np.asarray(measured_m, dtype=np.float64), np.asarray(u_m, dtype=np.float64)
    weighted = a / u[:, None]
    inverse = np.linalg.pinv(weighted)
    level = inverse @ (y / u)
    hat = weighted @ inverse
    redundancy = np.clip(1.0 - np.diag(hat), 0.0, 1.0)
    residual = a @ level - y
    checked = redundancy > _CHECKED
    standardised = np.full(len(y), np.nan)
    standardised[checked] = np.abs(residual[checked] / u[checked]) / np.sqrt(redundancy[checked])
    freedom = len(y) - int(np.linalg.matrix_rank(weighted))
    return Adjustment(
        level, residual, redundancy, standardised, freedom, float(np.sum((residual / u) ** 2))
    )


@dataclass(frozen=True)
class Suspect:
    """One number that would explain a disagreement: its row, the change it asks for, what is left.

    `change_m`: what would have to be added to the number; `left_m`: largest residual of the others
    without it; `tied`: rows that explain it just as well.
    """

    row: int
    change_m: float
    left_m: float
    tied: tuple[int, ...]


def suspects(design: npt.ArrayLike, measured_m: npt.ArrayLike, u_m: npt.ArrayLike) -> list[Suspect]:
    """Numbers that may be wrong, the likeliest first; empty where all agree.

    Returns
    -------
    list of Suspect
        Numbers that nothing checks are never named. With one number more than needed all of a loop
        are tied.
    """
    found = adjust(design, measured_m, u_m)
    if found.is_believable:
        return []
    a, y = np.asarray(design, np.float64), np.asarray(measured_m, np.float64)
    u = np.asarray(u_m, np.float64)
    order = [
        int(i) for i in np.argsort(-np.nan_to_num(found.standardised, nan=-1.0), kind="stable")
    ]
    out = []
    for row in order:
        if np.isnan(found.standardised[row]):
            break
        same = np.abs(found.standardised - found.standardised[row]) <= _SAME * (
            1.0 + found.standardised[row]
        )
        tied = tuple(int(i) for i in np.flatnonzero(same) if int(i) != row)
        rest = np.arange(len(y)) != row
        left = adjust(a[rest], y[rest], u[rest])
        out.append(
            Suspect(row, float(found.residual_m[row] / found.redundancy[row]),
                    float(np.abs(left.residual_m).max(initial=0.0)), tied)
        )  # fmt: skip
    return out

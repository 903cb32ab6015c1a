"""The limit of a level, and the largest difference that two chains may show: pure formulas."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray, up_mm


def limit_mm(u_m: npt.ArrayLike, bias_m: npt.ArrayLike, k: float) -> FloatArray:
    """Limit of a level: k x doubt + bias bound, rounded up to whole millimetres.

    Parameters
    ----------
    u_m : array_like of float
        Doubt, one standard deviation (m).
    bias_m : array_like of float
        Bound of a bias of unknown sign, added in full (m).
    k : float
        One-sided factor, 1.645 for 95 % of a normal error.

    Returns
    -------
    numpy.ndarray of float
        Whole millimetres; NaN where unknown.

    References
    ----------
    JCGM 100:2008 clause 6.2.1 (coverage factor); adding the bias bound in full is a house rule.

    """
    doubt, bias = np.asarray(u_m, dtype=np.float64), np.asarray(bias_m, dtype=np.float64)
    return up_mm(k * doubt + np.abs(bias))


def disagreement_limit_m(
    u_first_m: npt.ArrayLike, u_second_m: npt.ArrayLike, covariance_m2: npt.ArrayLike
) -> FloatArray:
    """Largest difference that two chains to one thing may show: 2 sqrt(u1^2 + u2^2 - 2 cov).

    Parameters
    ----------
    u_first_m, u_second_m : array_like of float
        Whole doubts of the two chains (m).
    covariance_m2 : array_like of float
        Covariance from shared parts (m2), which cancel in the difference.

    Returns
    -------
    numpy.ndarray of float
        Metres, never negative.

    References
    ----------
    JCGM 100:2008 clause 5.2.2 (law of propagation with correlation).

    """
    first, second = np.asarray(u_first_m, np.float64), np.asarray(u_second_m, np.float64)
    variance = first**2 + second**2 - 2.0 * np.asarray(covariance_m2, np.float64)
    return np.asarray(2.0 * np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)

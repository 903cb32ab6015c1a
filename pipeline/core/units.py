"""Rounding rules and unit conversions.

Levels are rounded to whole millimetres once, then compared as integers: openings, covers and
crests down, water up (house rule, so that equal is wet and no float noise decides).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

M_PER_FT: Final = 0.3048  # international foot, exact by definition
M_PER_US_SURVEY_FT: Final = 1200.0 / 3937.0  # US survey foot, exact by definition
MM_PER_IN: Final = 25.4  # international inch, exact by definition

# Float noise of a level in metres is far below a nanometre; six decimals of a millimetre clear it.
_NOISE_DECIMALS: Final = 6


def down_mm(level_m: npt.ArrayLike) -> FloatArray:
    """Round levels in metres down to whole millimetres, as floats; NaN stays NaN.

    Parameters
    ----------
    level_m : array_like of float, any shape
        Levels of openings, covers or crests (m).

    Returns
    -------
    numpy.ndarray of float, same shape
        Whole millimetres.
    """
    return np.floor(np.round(np.asarray(level_m, dtype=np.float64) * 1000.0, _NOISE_DECIMALS))


def up_mm(level_m: npt.ArrayLike) -> FloatArray:
    """Round water levels or limits in metres up to whole millimetres, as floats; NaN stays NaN."""
    return np.ceil(np.round(np.asarray(level_m, dtype=np.float64) * 1000.0, _NOISE_DECIMALS))


def aep_from_ari(ari_years: float) -> float:
    """Annual exceedance probability from an average recurrence interval: 1 - exp(-1/ARI)."""
    return float(1.0 - np.exp(-1.0 / ari_years))

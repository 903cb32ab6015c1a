"""Areas and sizes of duct mouths and cables for the checks (numbers in, numbers out)."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

# Outside diameters of plastic pipe (mm): ISO 161-1, R10 and R20 series; from memory.
OUTSIDE_MM: Final = (
    16,
    20,
    25,
    32,
    40,
    50,
    63,
    75,
    90,
    110,
    125,
    140,
    160,
    180,
    200,
    225,
    250,
    280,
)
# Diameter over wall of thin and thick plastic pipe: SDR 41 and SDR 17 of ISO 4065; from memory.
_THIN_SDR: Final = 41.0
_THICK_SDR: Final = 17.0


def mouth_area_mm2(
    shape: npt.ArrayLike, bore_mm: npt.ArrayLike, bore_b_mm: npt.ArrayLike
) -> FloatArray:
    """Area of duct mouths (mm2); NaN where a size is not known.

    Parameters
    ----------
    shape : array_like of str, shape (n,)
        Word of the survey; round unless square, rectangular or oval.
    bore_mm, bore_b_mm : array_like of float, shape (n,)
        Inside sizes; the second counts only where the mouth is not round.
    """
    kind = np.asarray(shape, dtype=object)
    one = np.asarray(bore_mm, dtype=np.float64)
    other = np.asarray(bore_b_mm, dtype=np.float64)
    is_box = np.isin(kind, ("square", "rectangular"))
    is_oval = kind == "oval"
    area = np.pi / 4.0 * one**2
    area = np.where(is_oval, np.pi / 4.0 * one * other, area)
    return np.asarray(np.where(is_box, one * other, area), dtype=np.float64)


def narrowest_mm(
    shape: npt.ArrayLike, bore_mm: npt.ArrayLike, bore_b_mm: npt.ArrayLike
) -> FloatArray:
    """Narrowest inside size of duct mouths (mm): no cable wider than this goes in."""
    kind = np.asarray(shape, dtype=object)
    one = np.asarray(bore_mm, dtype=np.float64)
    other = np.asarray(bore_b_mm, dtype=np.float64)
    has_two = np.isin(kind, ("square", "rectangular", "oval"))
    return np.asarray(np.where(has_two, np.fmin(one, other), one), dtype=np.float64)


def inside_of_outside_mm(outside_mm: float) -> tuple[float, float]:
    """Likely inside sizes (mm, smallest and largest) of a plastic duct of this outside size."""
    return outside_mm * (1.0 - 2.0 / _THICK_SDR), outside_mm * (1.0 - 2.0 / _THIN_SDR)

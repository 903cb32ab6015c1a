"""What seals may leak and what a failed one lets in: the water budget of a sump.

Plain formulas on arrays, for information only; a leak that a pump keeps up with clears nothing.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.stats import binom

from pipeline.core.handbook import G_M_PER_S2
from pipeline.core.units import FloatArray

# Discharge coefficients, handbook values (from memory: e.g. Lindeburg; Streeter). A sharp edge
# contracts the jet: Kirchhoff's theory gives pi/(pi + 2) = 0.611. A short tube, no longer than a
# few diameters, loses entry and exit only: 1/sqrt(0.5 + 1.0) = 0.8165.
SHARP_EDGED: Final = 0.61
SHORT_TUBE: Final = 0.8165

_S_PER_H: Final = 3600.0
# mm2 x m/s = 1e-6 m3/s = 1e-3 l/s
_L_PER_S: Final = 1e-3


def gap_flow_l_per_s(
    gap_mm2: npt.ArrayLike, head_m: npt.ArrayLike, *, discharge_coefficient: float = SHORT_TUBE
) -> FloatArray:
    """Flow through the gap that a failed seal leaves (l/s): Cd a sqrt(2 g h).

    Parameters
    ----------
    gap_mm2 : array_like of float, any shape
        Area of the gap (mm2).
    head_m : array_like of float, shape that broadcasts
        Level difference, free outfall: over the gap (m); below zero nothing comes in.
    discharge_coefficient : float, optional
        Cd; default short tube, which lets more through than a sharp edge.

    Returns
    -------
    numpy.ndarray of float, broadcast shape

    Notes
    -----
    A gap as long as the layer is a narrow channel and lets less through: this is the upper side.
    For the time until a room stands at its critical depth give `gap_conductance_l_per_s` to
    `pipeline.exposure.filling.hours_to_critical_h`.

    References
    ----------
    Torricelli's law; coefficients see `SHARP_EDGED` and `SHORT_TUBE`.
    """
    head = np.maximum(np.asarray(head_m, dtype=np.float64), 0.0)
    conductance = gap_conductance_l_per_s(gap_mm2, discharge_coefficient=discharge_coefficient)
    return np.asarray(conductance * np.sqrt(head))


def gap_conductance_l_per_s(
    gap_mm2: npt.ArrayLike, *, discharge_coefficient: float = SHORT_TUBE
) -> FloatArray:
    """Flow through a gap at a head of 1 m (l/s): c in Q = c sqrt(h)."""
    area = np.asarray(gap_mm2, dtype=np.float64)
    return np.asarray(discharge_coefficient * area * np.sqrt(2.0 * G_M_PER_S2) * _L_PER_S)


def gap_for_flow_mm2(
    flow_l_per_h: npt.ArrayLike,
    head_m: npt.ArrayLike,
    *,
    discharge_coefficient: float = SHORT_TUBE,
) -> FloatArray:
    """Largest gap whose flow stays within a budget (mm2); infinite without head.

    Parameters
    ----------
    flow_l_per_h : array_like of float, any shape
        Leakage allowed (l/h), see `seal_budget_l_per_h`.
    head_m : array_like of float, shape that broadcasts
        Head on the seal (m).
    discharge_coefficient : float, optional
        Cd; default short tube.

    Returns
    -------
    numpy.ndarray of float, broadcast shape

    References
    ----------
    Inverse of `gap_flow_l_per_s`.
    """
    flow = np.asarray(flow_l_per_h, dtype=np.float64) / _S_PER_H
    one_mm2 = gap_flow_l_per_s(1.0, head_m, discharge_coefficient=discharge_coefficient)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(one_mm2 == 0.0, np.inf, flow / one_mm2))


def seal_budget_l_per_h(
    pump_l_per_min: npt.ArrayLike,
    seals_count: npt.ArrayLike,
    *,
    other_inflow_l_per_h: npt.ArrayLike = 0.0,
    storage_l: npt.ArrayLike = 0.0,
    flood_h: npt.ArrayLike = np.inf,
) -> FloatArray:
    """Leakage that each seal of a room may have at the flood's head (l/h).

    Parameters
    ----------
    pump_l_per_min : array_like of float, any shape
        What the sump pump delivers without a break (l/min); 0 without a pump.
    seals_count : array_like of float, shape that broadcasts
        Seals under water, all leaking alike.
    other_inflow_l_per_h : array_like of float, optional
        Groundwater and seepage that the pump has to take anyway (l/h).
    storage_l : array_like of float, optional
        Volume between the pump's start level and the critical depth (l).
    flood_h : array_like of float, optional
        Hours that the flood stands (h); without an end storage helps nothing.

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        Never below 0; infinite where there is no seal.

    Notes
    -----
    (pump + storage / duration - other inflow) / seals. The pump needs power, which a flood may
    take away: work the case without a pump as well.

    References
    ----------
    Water balance of the sump; common practice, no source.
    """
    pump, seals, other, storage, hours = (
        np.asarray(a, dtype=np.float64)
        for a in (pump_l_per_min, seals_count, other_inflow_l_per_h, storage_l, flood_h)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.maximum(pump * 60.0 + storage / hours - other, 0.0)
        return np.asarray(np.where(seals == 0.0, np.inf, left / seals))


def budget_at_head_l_per_h(
    budget_l_per_h: npt.ArrayLike, design_head_m: npt.ArrayLike, test_head_m: npt.ArrayLike
) -> FloatArray:
    """Leakage to accept in a test at another head (l/h), so that the budget holds at design.

    Parameters
    ----------
    budget_l_per_h : array_like of float, any shape
        Leakage allowed at the design head (l/h).
    design_head_m, test_head_m : array_like of float, shapes that broadcast
        Heads (m), above zero.

    Returns
    -------
    numpy.ndarray of float, broadcast shape

    Notes
    -----
    A narrow seep flows with the head, a gap with its square root; which one it is cannot be seen,
    so that the smaller of the two answers counts (house rule on the strict side).
    """
    ratio = np.asarray(test_head_m, dtype=np.float64) / np.asarray(design_head_m, dtype=np.float64)
    return np.asarray(
        np.asarray(budget_l_per_h, dtype=np.float64) * np.minimum(ratio, np.sqrt(ratio))
    )


def chance_pump_overrun_frac(
    seals_count: npt.ArrayLike,
    fail_chance_frac: npt.ArrayLike,
    failed_l_per_h: npt.ArrayLike,
    spare_l_per_h: npt.ArrayLike,
) -> FloatArray:
    """Chance that more seals fail in a flood than the pump can take.

    Parameters
    ----------
    seals_count : array_like of int, any shape
        Seals under water.
    fail_chance_frac : array_like of float, shape that broadcasts
        Chance that one fails in the flood, each for itself.
    failed_l_per_h : array_like of float, shape that broadcasts
        Flow of one failed seal (l/h), above zero, see `gap_flow_l_per_s`.
    spare_l_per_h : array_like of float, shape that broadcasts
        What the pump can take beside everything else (l/h).

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        P(failed > m), failed binomial, m the number that the pump just keeps up with.

    Notes
    -----
    Seals by one crew on one day fail together more often than this says.

    References
    ----------
    Binomial distribution.
    """
    seals, chance, failed, spare = np.broadcast_arrays(
        *(
            np.asarray(a, dtype=np.float64)
            for a in (seals_count, fail_chance_frac, failed_l_per_h, spare_l_per_h)
        )
    )
    taken = np.floor(np.maximum(spare, 0.0) / failed)
    known = ~(np.isnan(seals) | np.isnan(chance) | np.isnan(taken))
    return np.asarray(np.where(known, binom.sf(taken, seals, chance), np.nan))

"""How much water a duct lets through: free area, hydraulic diameter, losses, discharge.

Plain formulas on arrays: numbers in, same shape out; NaN (not known) in, NaN out. For information
only: they never clear an opening.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.core.handbook import G_M_PER_S2
from pipeline.core.units import FloatArray
from pipeline.exposure.friction import (
    LAMINAR_FACTOR,
    LAMINAR_REYNOLDS,
    LOG_SCALE,
    ROUGH,
    SMOOTH,
)

# Minor losses: sharp flush entry 0.5 (handbook value, Crane TP 410, Swamee, Blevins, Idelchik, as
# the library `fluids` 1.3.1 gives it) and exit into still water 1.0 (all of the velocity head).
ENTRY_LOSS: Final = 0.5
EXIT_LOSS: Final = 1.0
# Kinematic viscosity of fresh water at 10 degrees C (m2/s); handbook value, from memory.
WATER_10C_M2_PER_S: Final = 1.307e-6

_LITRES_PER_M3: Final = 1000.0
# Newton's rounds in Re sqrt(f) for a given head: the velocity is exact to 1e-10 (see the tests).
_ROUNDS: Final = 3
# 1/sqrt(f) to start from
_START: Final = 7.0
# Ducts worked on at a time: their arrays stay in the processor's cache.
_BLOCK: Final = 8192


@dataclass(frozen=True)
class Ducts:
    """Ducts that flow full, one element each; all arrays broadcast together.

    Parameters
    ----------
    bore_mm : array_like of float
        True inside diameter (mm).
    length_m : array_like of float
        Length (m).
    roughness_mm : array_like of float
        Equivalent sand roughness (mm).
    cables_sum_mm : array_like of float, optional
        Sum of the outer diameters of the cables (mm), see `cable_sums`.
    cables_square_mm2 : array_like of float, optional
        Sum of their squares (mm2).
    minor_losses : array_like of float, optional
        Entry and exit loss in velocity heads.
    """

    bore_mm: npt.ArrayLike
    length_m: npt.ArrayLike
    roughness_mm: npt.ArrayLike
    cables_sum_mm: npt.ArrayLike = 0.0
    cables_square_mm2: npt.ArrayLike = 0.0
    minor_losses: npt.ArrayLike = ENTRY_LOSS + EXIT_LOSS

    @property
    def area_mm2(self) -> FloatArray:
        """Free area (mm2), see `free_area_mm2`."""
        return free_area_mm2(self.bore_mm, self.cables_square_mm2)

    @property
    def hydraulic_mm(self) -> FloatArray:
        """Hydraulic diameter (mm), see `hydraulic_diameter_mm`."""
        return hydraulic_diameter_mm(self.bore_mm, self.cables_sum_mm, self.cables_square_mm2)


def cable_sums(
    duct_no: npt.ArrayLike, diameter_mm: npt.ArrayLike, count: npt.ArrayLike, *, ducts_count: int
) -> tuple[FloatArray, FloatArray]:
    """Sums of diameters and of their squares per duct.

    Parameters
    ----------
    duct_no : array_like of int, shape (n,)
        Number of the duct of each row of cables, from 0.
    diameter_mm : array_like of float, shape (n,)
        Outer diameter (mm).
    count : array_like of float, shape (n,)
        Equal cables of the row.
    ducts_count : int
        Number of ducts.

    Returns
    -------
    sum_mm, square_mm2 : numpy.ndarray of float, shape (ducts_count,)
        0 for a duct without rows; NaN where a diameter or count of a row is not known.
    """
    at = np.asarray(duct_no, dtype=np.int64)
    d, n = np.asarray(diameter_mm, dtype=np.float64), np.asarray(count, dtype=np.float64)
    return (
        np.bincount(at, weights=n * d, minlength=ducts_count).astype(np.float64),
        np.bincount(at, weights=n * d * d, minlength=ducts_count).astype(np.float64),
    )


def free_area_mm2(bore_mm: npt.ArrayLike, cables_square_mm2: npt.ArrayLike) -> FloatArray:
    """Free area of a round bore with cables (mm2): pi/4 (D^2 - sum d^2).

    Parameters
    ----------
    bore_mm : array_like of float, any shape
        Bore D (mm).
    cables_square_mm2 : array_like of float, shape that broadcasts
        Sum of the squared cable diameters (mm2).

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        NaN where the cables leave no area: then a size is wrong, and a duct that cables fill is
        not known to be closed.

    References
    ----------
    Plane geometry.
    """
    bore = np.asarray(bore_mm, dtype=np.float64)
    area = np.pi / 4.0 * (bore * bore - np.asarray(cables_square_mm2, dtype=np.float64))
    return np.asarray(np.where(area > 0.0, area, np.nan))


def wetted_perimeter_mm(bore_mm: npt.ArrayLike, cables_sum_mm: npt.ArrayLike) -> FloatArray:
    """Wetted perimeter of a full round bore with cables (mm): pi (D + sum d)."""
    return np.asarray(
        np.pi
        * (np.asarray(bore_mm, dtype=np.float64) + np.asarray(cables_sum_mm, dtype=np.float64))
    )


def hydraulic_diameter_mm(
    bore_mm: npt.ArrayLike, cables_sum_mm: npt.ArrayLike, cables_square_mm2: npt.ArrayLike
) -> FloatArray:
    """Hydraulic diameter (mm): 4 A / P = (D^2 - sum d^2) / (D + sum d).

    Parameters
    ----------
    bore_mm, cables_sum_mm, cables_square_mm2 : array_like of float, shapes that broadcast
        Bore (mm), sum of cable diameters (mm), sum of their squares (mm2).

    Returns
    -------
    numpy.ndarray of float, broadcast shape

    Notes
    -----
    Cables that touch each other or the bore wet a little less than counted: the true flow is
    slightly larger where friction matters.

    References
    ----------
    Definition in any handbook; an annulus gives D_outer - D_inner.
    """
    area = free_area_mm2(bore_mm, cables_square_mm2)
    return np.asarray(4.0 * area / wetted_perimeter_mm(bore_mm, cables_sum_mm))


def discharge_l_per_s(
    ducts: Ducts, head_m: npt.ArrayLike, *, viscosity_m2_per_s: float = WATER_10C_M2_PER_S
) -> FloatArray:
    """Flow through full ducts under a difference of level (l/s).

    Parameters
    ----------
    ducts : Ducts
        The ducts.
    head_m : array_like of float, shape that broadcasts with the ducts
        Level difference between the two ends; free outfall: over the invert (m). Negative heads
        give the same flow the other way, negative.
    viscosity_m2_per_s : float, optional
        Kinematic viscosity (m2/s); default fresh water at 10 degrees C.

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        Flow (l/s); NaN where anything is not known.

    Notes
    -----
    h = (K + f L/Dh) v^2 / 2g, f after Colebrook and White, solved in x = Re sqrt(f), in which
    x = (Dh/nu) sqrt(2 g h / (K Y(x)^2 + L/Dh)), Y = 1/sqrt(f). Where laminar flow (f = 64/Re)
    stays below Re 2040 it is taken; else the larger of the turbulent velocity and the one at
    Re 2040, so that the flow never falls as the head grows. Full bore is assumed even where the
    water only covers the invert: too much rather than too little. No silt, no bends, no trapped
    air, no credit for flaps.

    References
    ----------
    Darcy-Weisbach with minor losses, any handbook of hydraulics.
    """
    arrays = np.broadcast_arrays(
        *(
            np.asarray(a, dtype=np.float64)
            for a in (
                head_m,
                ducts.area_mm2,
                ducts.hydraulic_mm,
                ducts.length_m,
                ducts.roughness_mm,
                ducts.minor_losses,
            )
        )
    )
    flat = [np.ravel(a) for a in arrays]
    out = np.empty(flat[0].size)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for at in range(0, out.size, _BLOCK):
            part = slice(at, at + _BLOCK)
            head, area, hydraulic, length, rough, losses = (a[part] for a in flat)
            diameter = hydraulic * 1e-3
            v = _velocity(
                np.abs(head), diameter, length / diameter, rough / hydraulic, losses,
                viscosity_m2_per_s,
            )  # fmt: skip
            out[part] = np.copysign(v * area * (1e-6 * _LITRES_PER_M3), head)
    return out.reshape(arrays[0].shape)


def conductance_l_per_s(
    ducts: Ducts, head_m: npt.ArrayLike, *, viscosity_m2_per_s: float = WATER_10C_M2_PER_S
) -> FloatArray:
    """Flow per square root of the head (l/s at 1 m), with the friction that holds at a head.

    Parameters
    ----------
    ducts : Ducts
        The ducts.
    head_m : array_like of float, shape that broadcasts
        Head at which friction is taken (m), above zero; NaN elsewhere.
    viscosity_m2_per_s : float, optional
        Kinematic viscosity (m2/s).

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        c in Q = c sqrt(h).

    Notes
    -----
    Turbulent friction grows as the head falls, so c taken at the largest head gives the earliest
    filling; only where the flow turns laminar (heads of millimetres) may c rise again.
    """
    head = np.asarray(head_m, dtype=np.float64)
    head = np.where(head > 0.0, head, np.nan)
    flow = discharge_l_per_s(ducts, head, viscosity_m2_per_s=viscosity_m2_per_s)
    return np.asarray(flow / np.sqrt(head))


def room_inflow_l_per_s(
    room_no: npt.ArrayLike, flow_l_per_s: npt.ArrayLike, *, rooms_count: int
) -> FloatArray:
    """Sum of the flows of several ducts into each room (l/s); NaN where one is not known."""
    return np.bincount(
        np.asarray(room_no, dtype=np.int64),
        weights=np.asarray(flow_l_per_s, dtype=np.float64),
        minlength=rooms_count,
    ).astype(np.float64)


def _velocity(
    head: FloatArray,
    diameter: FloatArray,
    slender: FloatArray,
    ratio: FloatArray,
    losses: FloatArray,
    viscosity: float,
) -> FloatArray:
    """Velocity (m/s) under a head (m); `slender` = length over diameter."""
    gauge = viscosity / diameter
    root = np.sqrt(2.0 * G_M_PER_S2 * head)
    turbulent = root * _speed_factor(root / gauge, slender, ratio / ROUGH, losses)
    edge = LAMINAR_REYNOLDS * gauge
    edge_head = edge * edge * (losses + LAMINAR_FACTOR / LAMINAR_REYNOLDS * slender)
    slow = 2.0 * G_M_PER_S2 * head <= edge_head
    found = np.maximum(turbulent, edge)
    if slow.any():
        found[slow] = _laminar(head[slow], gauge[slow], slender[slow], losses[slow])
    return np.asarray(found)


def _speed_factor(
    reach: FloatArray, slender: FloatArray, rough: FloatArray, losses: FloatArray
) -> FloatArray:
    """Velocity over sqrt(2 g h) of the turbulent root; `reach` = sqrt(2 g h) Dh / nu."""
    x = reach / np.sqrt(losses * (_START * _START) + slender)
    for _ in range(_ROUNDS):
        inside = rough + SMOOTH / x
        y = np.log(inside)
        y *= -LOG_SCALE
        ky = losses * y
        drag = ky * y
        drag += slender
        goal = reach / np.sqrt(drag)
        # goal falls as x grows: -d(goal)/dx = slope goal/x
        ky *= LOG_SCALE * SMOOTH
        inside *= drag
        inside *= x
        ky /= inside
        ky *= goal
        x = x * (goal + ky) / (x + ky)
    y = np.log(rough + SMOOTH / x) * LOG_SCALE
    y *= y
    return np.asarray(np.sqrt(y / (losses * y + slender)))


def _laminar(
    head: FloatArray, gauge: FloatArray, slender: FloatArray, losses: FloatArray
) -> FloatArray:
    """Root of K v^2/2g + 64 (nu/D)(L/D) v/2g = h, in the form that loses no digits."""
    drag = 0.5 * LAMINAR_FACTOR * gauge * slender
    energy = 2.0 * G_M_PER_S2 * head
    return np.asarray(energy / (drag + np.sqrt(drag * drag + losses * energy)))

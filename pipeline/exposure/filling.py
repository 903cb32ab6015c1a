"""How long a room takes to fill: free outfall while the inlet lies above, then a falling head.

Plain formulas on arrays. Flow through an inlet is c sqrt(head) (see
`pipeline.exposure.flow.conductance_l_per_s`), the outside level stays constant, the room has one
plan area at every depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

_L_PER_M3: Final = 1000.0
_S_PER_H: Final = 3600.0
# Below this ratio of falling to constant inflow the logarithm loses digits: its series is summed.
_SMALL_RATIO: Final = 0.05
_SERIES_TERMS: Final = 12


@dataclass(frozen=True)
class Rooms:
    """Rooms that fill, one element each.

    Parameters
    ----------
    plan_area_m2 : array_like of float, shape (rooms,)
        Plan area that the water spreads over (m2).
    floor_level_m : array_like of float, shape (rooms,)
        Floor on the working datum (m).
    critical_depth_m : array_like of float, shape (rooms,)
        Depth over the floor at which the loss begins (m).
    outside_level_m : array_like of float, shape (rooms,)
        Constant water level outside (m).
    pump_l_per_s : array_like of float, optional
        What a pump takes out all the time (l/s).
    start_depth_m : array_like of float, optional
        Water that already stands on the floor (m).
    """

    plan_area_m2: npt.ArrayLike
    floor_level_m: npt.ArrayLike
    critical_depth_m: npt.ArrayLike
    outside_level_m: npt.ArrayLike
    pump_l_per_s: npt.ArrayLike = 0.0
    start_depth_m: npt.ArrayLike = 0.0


def falling_head_h(
    plan_area_m2: npt.ArrayLike,
    conductance_l_per_s: npt.ArrayLike,
    head_from_m: npt.ArrayLike,
    head_to_m: npt.ArrayLike,
) -> FloatArray:
    """Hours for a level difference to fall: 2 A (sqrt H1 - sqrt H2) / c.

    Parameters
    ----------
    plan_area_m2 : array_like of float, any shape
        Plan area (m2); for two joined tanks see `joined_area_m2`.
    conductance_l_per_s : array_like of float, shape that broadcasts
        Flow at a head of 1 m (l/s): 1000 Cd a sqrt(2 g) for an opening a in m2.
    head_from_m, head_to_m : array_like of float, shapes that broadcast
        Level difference at the beginning and at the end (m).

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        Hours.

    References
    ----------
    Torricelli's law integrated, any handbook of hydraulics.
    """
    area, flow, one, two = (
        np.asarray(a, dtype=np.float64)
        for a in (plan_area_m2, conductance_l_per_s, head_from_m, head_to_m)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(2.0 * area * (np.sqrt(one) - np.sqrt(two)) * _L_PER_M3 / flow / _S_PER_H)


def joined_area_m2(one_m2: npt.ArrayLike, other_m2: npt.ArrayLike) -> FloatArray:
    """Area that stands for two tanks whose levels draw together (m2): A1 A2 / (A1 + A2)."""
    one, other = np.asarray(one_m2, dtype=np.float64), np.asarray(other_m2, dtype=np.float64)
    return np.asarray(one * other / (one + other))


def constant_inflow_h(volume_m3: npt.ArrayLike, inflow_l_per_s: npt.ArrayLike) -> FloatArray:
    """Hours to fill a volume (m3) at a constant inflow (l/s): V / Q, infinite without inflow."""
    volume = np.asarray(volume_m3, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(
            volume * _L_PER_M3 / np.asarray(inflow_l_per_s, dtype=np.float64) / _S_PER_H
        )


def hours_to_critical_h(
    rooms: Rooms, inlet_level_m: npt.ArrayLike, conductance_l_per_s: npt.ArrayLike
) -> FloatArray:
    """Hours until each room stands at its critical depth, in closed form.

    Parameters
    ----------
    rooms : Rooms
        The rooms.
    inlet_level_m : array_like of float, shape (rooms, inlets)
        Invert of each inlet inside (m).
    conductance_l_per_s : array_like of float, shape (rooms, inlets)
        Flow of each inlet at a head of 1 m (l/s); 0 fills up rows with fewer inlets.

    Returns
    -------
    numpy.ndarray of float, shape (rooms,)
        Hours; 0 where the water already stands there; infinite where the level is never reached
        (outside level below it, or the pump keeps up); NaN where anything is not known.

    Notes
    -----
    While the room lies below an inlet its head is outside level - invert and its flow constant;
    above, the head is outside level - room level. Between two inverts, with s the root of the
    head, q the constant flows less the pump and b the sum of the submerged conductances:
    t = 2A/b [s1 - s2 - q/b ln((q + b s1)/(q + b s2))]. Rooms without obstacles or furniture, one
    plan area at all depths, no drain, no leak out. A level equal to the critical one is reached.

    References
    ----------
    Torricelli's law integrated piece by piece; own derivation, checked against an ODE solver.
    """
    invert, flow = np.broadcast_arrays(
        np.atleast_2d(np.asarray(inlet_level_m, dtype=np.float64)),
        np.atleast_2d(np.asarray(conductance_l_per_s, dtype=np.float64)),
    )
    room = {k: np.broadcast_to(np.asarray(v, dtype=np.float64), invert.shape[:1])
            for k, v in vars(rooms).items()}  # fmt: skip
    outside = room["outside_level_m"]
    start = room["floor_level_m"] + room["start_depth_m"]
    goal = room["floor_level_m"] + room["critical_depth_m"]
    # an inlet of no conductance is padding: where it lies does not matter
    invert = np.where(flow == 0.0, -np.inf, invert)
    edges, constant, falling = _pieces(invert, flow, outside, start, goal)
    constant = constant - room["pump_l_per_s"][:, None]
    heads = np.maximum(outside[:, None] - edges, 0.0)
    hours = _piece_h(room["plan_area_m2"][:, None], constant, falling, heads)
    total = np.where(np.diff(edges, axis=1) > 0.0, hours, 0.0).sum(axis=1)
    total = np.where(goal > outside, np.inf, total)
    total = np.where(goal <= start, 0.0, total)
    known = np.isfinite(flow).all(axis=1) & ~np.isnan(invert).any(axis=1)
    known &= np.isfinite(np.stack(list(room.values()))).all(axis=0)
    return np.asarray(np.where(known, total, np.nan))


def _pieces(
    invert: FloatArray, flow: FloatArray, outside: FloatArray, start: FloatArray, goal: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Levels between which the same inlets are submerged, with constant and falling flows."""
    order = np.argsort(invert, axis=1, kind="stable")
    invert = np.take_along_axis(invert, order, axis=1)
    flow = np.take_along_axis(flow, order, axis=1)
    top = np.minimum(goal, outside)[:, None]
    start = np.minimum(start[:, None], top)
    edges = np.concatenate([start, np.clip(invert, start, top), top], axis=1)
    # an inlet above the outside level gives nothing, and is never reached
    head = np.maximum(outside[:, None] - invert, 0.0)
    free = np.where(flow == 0.0, 0.0, flow * np.sqrt(np.where(np.isinf(head), 0.0, head)))
    none = np.zeros_like(start)
    falling = np.concatenate([none, np.cumsum(flow, axis=1)], axis=1)
    # summed from the top, so that no inlet left gives exactly 0
    constant = np.concatenate([np.cumsum(free[:, ::-1], axis=1)[:, ::-1], none], axis=1)
    return edges, constant, falling


def _piece_h(
    area: FloatArray, constant: FloatArray, falling: FloatArray, heads: FloatArray
) -> FloatArray:
    """Hours of each piece; infinite where the inflow runs out before its end."""
    s1, s2 = np.sqrt(heads[:, :-1]), np.sqrt(heads[:, 1:])
    end = constant + falling * s2
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = constant / falling
        # s1 - s2 without losing digits where the two heads are close
        drop = (heads[:, :-1] - heads[:, 1:]) / (s1 + s2)
        log = np.where(constant == 0.0, 0.0, ratio * np.log1p(falling * drop / end))
        time = 2.0 * (drop - log) / falling
        small = np.abs(falling * s1) < _SMALL_RATIO * np.abs(constant)
        if small.any():
            time = np.where(small, _series(constant, falling, s1, s2), time)
    dry = (end < 0.0) | ((end == 0.0) & ((constant != 0.0) | (falling == 0.0)))
    return np.asarray(np.where(dry, np.inf, time * area * (_L_PER_M3 / _S_PER_H)))


def _series(
    constant: FloatArray, falling: FloatArray, s1: FloatArray, s2: FloatArray
) -> FloatArray:
    """Integral of 2 s ds / (q + b s) as a power series in b s / q."""
    r1, r2 = -falling * s1 / constant, -falling * s2 / constant
    total = np.zeros_like(r1)
    one, two = s1 * s1, s2 * s2
    for k in range(_SERIES_TERMS):
        total += (one - two) * 2.0 / (k + 2.0)
        one, two = one * r1, two * r2
    return np.asarray(total / constant)

"""A river line with model nodes: where a place stands along it, on which bank, and the water there.

Pure: numbers in, numbers out. Chainage grows downstream; left and right are as one looks downstream.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
LEFT: Final = "left"
RIGHT: Final = "right"
BOTH: Final = "both"
_SAME_M: Final = 1e-9


@dataclass(frozen=True)
class Foot:
    """Foot of a place on a river line: chainage, distance (m), bank, and whether it lies beyond."""

    chainage_m: float
    distance_m: float
    bank: str
    is_above_first: bool
    is_below_last: bool


def foot_on_line(line_m: FloatArray, chainage_m: FloatArray, x_m: float, y_m: float) -> Foot:
    """Nearest point of a river line to a place.

    Parameters
    ----------
    line_m : array (nodes, 2)
        Points of the line, from upstream to downstream.
    chainage_m : array (nodes,)
        Chainage of the points, growing; between two points it grows evenly.
    x_m, y_m : float
        The place.

    Returns
    -------
    Foot
        `bank` by the segment of the foot; a place on the line is on the left.
    """
    start, step = line_m[:-1], np.diff(line_m, axis=0)
    length = np.maximum((step**2).sum(axis=1), _SAME_M)
    place = np.array([x_m, y_m])
    along = ((place - start) * step).sum(axis=1) / length
    share = np.clip(along, 0.0, 1.0)
    away = np.hypot(*(place - (start + share[:, None] * step)).T)
    at = int(np.argmin(away))
    cross = step[at, 0] * (y_m - start[at, 1]) - step[at, 1] * (x_m - start[at, 0])
    chainage = chainage_m[at] + share[at] * (chainage_m[at + 1] - chainage_m[at])
    return Foot(
        chainage_m=float(chainage),
        distance_m=float(away[at]),
        bank=RIGHT if cross < 0.0 else LEFT,
        is_above_first=bool(at == 0 and along[0] < -_SAME_M),
        is_below_last=bool(at == len(step) - 1 and along[-1] > 1.0 + _SAME_M),
    )


@dataclass(frozen=True)
class Profile:
    """Water along one bank: nodes with levels, and structures, both by growing chainage."""

    chainage_m: FloatArray
    level_m: FloatArray
    structures_m: FloatArray


def level_at(profile: Profile, chainage_m: float) -> float:
    """Water level at a chainage.

    Parameters
    ----------
    profile : Profile
    chainage_m : float

    Returns
    -------
    float
        Even between two nodes by chainage. Between two nodes with a structure between them the
        higher counts on both sides of it: where and how far the water drops is not known. Upstream
        of the first node NaN: the water stands higher there by an unknown amount. Downstream of the
        last node the level of the last.

    Notes
    -----
    House rule: never lower than what the nodes prove. At a node its own level, of two at one place
    the higher.
    """
    at, level = profile.chainage_m, profile.level_m
    if at.size == 0 or chainage_m < at[0] - _SAME_M:
        return math.nan
    same = np.abs(at - chainage_m) <= _SAME_M
    if same.any():
        return float(level[same].max())
    below = int(np.searchsorted(at, chainage_m))
    if below == at.size:
        return float(level[-1])
    above = below - 1
    # a node at a structure is its upstream face: even down to it, and from it on it counts further
    structures = profile.structures_m
    if ((structures >= at[above] - _SAME_M) & (structures < at[below] - _SAME_M)).any():
        return float(max(level[above], level[below]))
    share = (chainage_m - at[above]) / (at[below] - at[above])
    return float(level[above] + share * (level[below] - level[above]))

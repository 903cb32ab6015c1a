"""Friction of water in a full duct: laminar, and Colebrook and White's equation solved exactly.

Plain formulas on arrays; they know no table. The unknown of every iteration is `x = Re sqrt(f)`,
in which the equation is explicit: `1/sqrt(f) = -2 log10(e/3.7 + 2.51/x)`.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

# Flow in a pipe stays laminar below this Reynolds number. From memory: Avila et al., "The onset of
# turbulence in pipe flow", Science 333 (2011) 192; the library `fluids` uses the same number.
LAMINAR_REYNOLDS: Final = 2040.0
# Darcy factor of laminar flow in a round pipe is this over Re (Hagen-Poiseuille).
LAMINAR_FACTOR: Final = 64.0
# The two constants of Colebrook and White (1937/1939), as in every handbook.
ROUGH: Final = 3.7
SMOOTH: Final = 2.51
# 2 log10(t) = LOG_SCALE ln(t)
LOG_SCALE: Final = 2.0 / np.log(10.0)

# Newton's rounds for a given Reynolds number: the last change is below 1e-14 of the factor over
# Re 2e3..1e12 and roughness ratios 0..0.1.
_ROUNDS: Final = 5
# 1/sqrt(f) to start from: f = 0.02, in the middle of what pipes have.
_START: Final = 7.0


def colebrook_friction(reynolds: npt.ArrayLike, roughness_ratio: npt.ArrayLike) -> FloatArray:
    """Darcy friction factor of turbulent flow after Colebrook and White.

    Parameters
    ----------
    reynolds : array_like of float, any shape
        Reynolds number, velocity x hydraulic diameter / kinematic viscosity.
    roughness_ratio : array_like of float, shape that broadcasts
        Equivalent sand roughness over hydraulic diameter; 0 = smooth.

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        Friction factor; NaN stays NaN.

    Notes
    -----
    The turbulent root at any Reynolds number, also where the flow would be laminar: see
    `pipe_friction`. Written for round pipes; with a hydraulic diameter it is an approximation.

    References
    ----------
    Colebrook, C. F., "Turbulent flow in pipes, with particular reference to the transition region
    between the smooth and rough pipe laws", Journal of the ICE 11 (1939) 133-156 (from memory).
    """
    re, rough = np.broadcast_arrays(
        np.asarray(reynolds, dtype=np.float64),
        np.asarray(roughness_ratio, dtype=np.float64) / ROUGH,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        x = re / _START
        for _ in range(_ROUNDS):
            inside = rough + SMOOTH / x
            y = -LOG_SCALE * np.log(inside)
            # x y(x) = Re: Newton in x, with x dy/dx = LOG_SCALE (2.51/x) / inside
            x = x - x * (x * y - re) / (x * y + LOG_SCALE * SMOOTH / inside)
        return np.asarray((LOG_SCALE * np.log(rough + SMOOTH / x)) ** -2.0)


def pipe_friction(reynolds: npt.ArrayLike, roughness_ratio: npt.ArrayLike) -> FloatArray:
    """Darcy friction factor at any Reynolds number: 64/Re below 2040, else Colebrook and White.

    Parameters
    ----------
    reynolds : array_like of float, any shape
        Reynolds number.
    roughness_ratio : array_like of float, shape that broadcasts
        Equivalent sand roughness over hydraulic diameter.

    Returns
    -------
    numpy.ndarray of float, broadcast shape
        Friction factor; infinite at rest, NaN stays NaN.

    Notes
    -----
    The factor jumps up at 2040. A flow found from a head must not hunt across that jump: see
    `pipeline.exposure.flow.discharge_l_per_s`.

    References
    ----------
    64/Re: Hagen-Poiseuille. 2040: see `LAMINAR_REYNOLDS`.
    """
    re = np.asarray(reynolds, dtype=np.float64)
    turbulent = colebrook_friction(re, roughness_ratio)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(re < LAMINAR_REYNOLDS, LAMINAR_FACTOR / re, turbulent))

"""How thick the sealant layer must be: water pressure, shear at the bond, tension at the edge.

Plain formulas; the values of the materials file come in as numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipeline.core.handbook import G_M_PER_S2, SEA_WATER_FACTOR

# Edge tension of a clamped round plate under even load: 3/4 p (a/t)^2. From memory: any handbook
# of stresses (plates, clamped circular, uniform load, radial moment p a^2 / 8 at the edge).
EDGE_FACTOR = 0.75


def pressure_kpa(head_m: float, *, water_kg_per_m3: float = 1000.0) -> float:
    """Pressure of standing water (kPa): density x g x head.

    Parameters
    ----------
    head_m : float
        Head over the point (m).
    water_kg_per_m3 : float, optional
        Density (kg/m3).

    Returns
    -------
    float
    """
    return water_kg_per_m3 * G_M_PER_S2 * head_m / 1000.0


def thrust_n(pressure_at_kpa: float, area_mm2: float) -> float:
    """Force of a pressure on an area (N)."""
    return pressure_at_kpa * area_mm2 / 1000.0


def sea_head_m(head_m: float, *, is_sea: bool) -> float:
    """Fresh-water head that presses like the given head of sea water (m), where it is the sea."""
    return head_m * SEA_WATER_FACTOR if is_sea else head_m


def shear_kpa(
    pressure_at_kpa: float, *, area_mm2: float, perimeter_mm: float, layer_mm: float
) -> float:
    """Mean shear at the bonded edge of the layer (kPa): p A / (P t); infinite without a bond."""
    if perimeter_mm <= 0.0:
        return math.inf
    return pressure_at_kpa * area_mm2 / (perimeter_mm * layer_mm)


def bending_kpa(pressure_at_kpa: float, *, free_circle_mm: float, layer_mm: float) -> float:
    """Tension at the edge of the layer as a clamped plate (kPa): 0.75 p (a/t)^2.

    Parameters
    ----------
    pressure_at_kpa : float
        Water pressure (kPa).
    free_circle_mm : float
        Radius of the largest circle that fits the free area (mm).
    layer_mm : float
        Thickness of the layer (mm).

    Returns
    -------
    float

    Notes
    -----
    A thin-plate rule used for a thick layer: a house rule for comparing with test values, not a
    proof of strength.
    """
    return EDGE_FACTOR * pressure_at_kpa * (free_circle_mm / layer_mm) ** 2


def layer_for_shear_mm(pressure_at_kpa: float, *, area_mm2: float, bond_kpa_mm: float) -> float:
    """Layer that carries the load by shear (mm): p A / (sum of bond strength x perimeter).

    Parameters
    ----------
    pressure_at_kpa : float
        Water pressure with its partial factor (kPa).
    area_mm2 : float
        Area that the layer closes (mm2).
    bond_kpa_mm : float
        Perimeter x bond strength, see `bond` (kPa mm).

    Returns
    -------
    float
        Infinite when nothing bonds.
    """
    if bond_kpa_mm <= 0.0:
        return math.inf
    return pressure_at_kpa * area_mm2 / bond_kpa_mm


def layer_for_bending_mm(
    pressure_at_kpa: float, *, free_circle_mm: float, tension_kpa: float
) -> float:
    """Layer whose edge tension stays within the bond (mm): a sqrt(0.75 p / sigma)."""
    if tension_kpa <= 0.0:
        return math.inf
    return free_circle_mm * math.sqrt(EDGE_FACTOR * pressure_at_kpa / tension_kpa)


def bond(edges: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Perimeter times bond strength that is counted on, and the perimeter behind it.

    Parameters
    ----------
    edges : sequence of (perimeter_mm, shear_kpa)
        Each edge that the layer lies against; zero strength = no bond.

    Returns
    -------
    bond_kpa_mm : float
        Largest of (perimeter at or above a strength) x that strength.
    perimeter_mm : float
        The perimeter that gave it.

    Notes
    -----
    House rule on the strict side: the weakest edge tears first, so that strong and weak edges are
    never added at their own strengths.
    """
    best = (0.0, 0.0)
    for _, strength in edges:
        if strength > 0.0:
            perimeter = sum(p for p, s in edges if s >= strength)
            best = max(best, (perimeter * strength, perimeter))
    return best

"""The sealant layer of one end: three terms, the largest wins; and the tested envelope."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.core.materials import Duration, Envelope, Sealant, Surface
from pipeline.design.section import Section
from pipeline.design.stress import (
    bending_kpa,
    bond,
    layer_for_bending_mm,
    layer_for_shear_mm,
    pressure_kpa,
    shear_kpa,
)

_DUCTS: Final = (
    "smooth plastic",
    "ribbed plastic",
    "clay",
    "fibre",
    "concrete",
    "steel",
    "asbestos-cement suspect",
)


@dataclass(frozen=True)
class Layer:
    """Thickness of the layer and what decided it."""

    layer_mm: float  # infinite when nothing bonds
    by: str
    bonded_perimeter_mm: float
    shear_kpa: float  # of a layer of the policy minimum
    bending_kpa: float
    assumed: str = ""


def layer_of(  # noqa: PLR0913 - independent facts of one end, all keyword-only
    section: Section,
    *,
    head_m: float,
    wall: str,
    surface: Surface,
    durations: Sequence[Duration],
    sealant: Sealant,
    least_mm: float,
    water_kg_per_m3: float,
) -> Layer:
    """The layer of an end.

    Parameters
    ----------
    section : Section
    head_m : float
        Design head (m); NaN = not known: policy minimum.
    wall : str
        Material of the duct.
    surface : str
        dry or wet.
    durations : sequence of str
        Load durations that can occur; the weakest counts.
    sealant : Sealant
    least_mm : float
        Policy minimum (mm).
    water_kg_per_m3 : float
        Density (kg/m3).

    Returns
    -------
    Layer

    Notes
    -----
    t = max(policy minimum, g p A / (P tau), a sqrt(0.75 g p / sigma)), with g the partial factor,
    A the free area, P the bonded perimeter and a the radius of the largest free circle. Seals are
    made from the building: water pushes the layer off the filler, which therefore never helps.
    """
    edges = _edges(section, wall)
    strengths = [_strength(sealant, name, surface, durations) for name, _ in edges]
    bonds = [(mm, s[0]) for (_, mm), s in zip(edges, strengths, strict=True)]
    bond_kpa_mm, perimeter = bond(bonds)
    tension = min((s[1] for s in strengths if s[0] > 0.0), default=0.0)
    area = section.hole.area_mm2 - section.cables_area_mm2
    words = _assumed(wall, section)
    if math.isnan(head_m):
        return Layer(least_mm, "policy minimum", perimeter, math.nan, math.nan, words)
    p = pressure_kpa(head_m, water_kg_per_m3=water_kg_per_m3)
    pg = p * sealant.factor
    terms = {
        "policy minimum": least_mm,
        "shear": layer_for_shear_mm(pg, area_mm2=area, bond_kpa_mm=bond_kpa_mm) if p else 0.0,
        "bending": layer_for_bending_mm(
            pg, free_circle_mm=section.free_circle_mm, tension_kpa=tension
        )
        if p
        else 0.0,
    }
    by = max(terms, key=lambda name: terms[name])
    return Layer(
        terms[by],
        by,
        perimeter,
        shear_kpa(p, area_mm2=area, perimeter_mm=perimeter, layer_mm=least_mm),
        bending_kpa(p, free_circle_mm=section.free_circle_mm, layer_mm=least_mm),
        words,
    )


def _edges(section: Section, wall: str) -> list[tuple[str, float]]:
    """Substrate and perimeter (mm) of the wall and of each cable."""
    around: dict[str, float] = {}
    for strand in section.strands:
        around[strand.covering] = around.get(strand.covering, 0.0) + math.pi * strand.outer_mm
    return [(wall or "unknown", section.hole.perimeter_mm), *sorted(around.items())]


def _strength(
    sealant: Sealant, substrate: str, surface: Surface, durations: Sequence[Duration]
) -> tuple[float, float]:
    """Shear and tension (kPa): the weakest of the durations; of an unknown duct, of all ducts.

    An unknown cable covering is no listed substrate and does not bond.
    """
    names = [substrate]
    if substrate == "unknown duct":
        listed = {row.substrate for row in sealant.strength}
        names = [n for n in _DUCTS if n in listed]
    pairs = [sealant.bond(n, surface, d) for n in names for d in durations]
    if not pairs:
        return 0.0, 0.0
    return min(p[0] for p in pairs), min(p[1] for p in pairs)


def wall_substrate(material: str) -> str:
    """Substrate of a duct material; blank and unknown become the weakest of all ducts."""
    return "unknown duct" if material in ("", "unknown") else material


def _assumed(wall: str, section: Section) -> str:
    words = []
    if wall == "unknown duct":
        words.append("duct material not known: the weakest bond of the materials file")
    if any(s.covering in ("", "unknown") for s in section.strands):
        words.append("covering not known: counted as no bond")
    return "; ".join(words)


def outside_envelope(
    envelope: Envelope, section: Section, *, head_m: float, durations: Sequence[Duration]
) -> str:
    """What lies outside the tested envelope, in words; '' when all is within.

    Parameters
    ----------
    envelope : Envelope
    section : Section
    head_m : float
        Design head (m); NaN = not known, which is outside.
    durations : sequence of str

    Returns
    -------
    str
    """
    hole = section.hole
    bore = 2.0 * min(hole.half_x_mm, hole.half_y_mm)
    faults: Mapping[str, bool] = {
        f"bore {bore:g} mm over {envelope.bore_mm:g} mm": bore > envelope.bore_mm,
        f"free circle {section.free_circle_mm:.1f} mm over {envelope.free_circle_mm:g} mm": (
            section.free_circle_mm > envelope.free_circle_mm
        ),
        "head not known": math.isnan(head_m),
        f"head {head_m:.3f} m over {envelope.head_m:g} m": head_m > envelope.head_m,
        "load duration not tested": not set(durations) <= set(envelope.durations),
    }
    return ", ".join(words for words, is_fault in faults.items() if is_fault)

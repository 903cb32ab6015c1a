"""How far the quantity of a drawn end may be off: doubts of bore, cable sizes and cable count."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

from pipeline.core.spread import p90, shared_sum
from pipeline.design.case import Case
from pipeline.design.facts import number, text
from pipeline.design.geometry import Opening, opening
from pipeline.design.layer import Layer
from pipeline.design.section import Section

# Doubts of one reading (one standard deviation). House rules, from memory of what such readings
# repeat to; a method that is not named counts as judged.
_BORE_MM: Final = {"calliper": 0.5, "rule": 1.5, "records": 3.0}
_BORE_JUDGED_MM: Final = 5.0
_CABLE_MM: Final = {
    "gauge card": 1.0,
    "photo with scale": 2.0,
    "calliper (authorised person)": 0.3,
    "tape round": 0.7,
}
# Makers' tables for one cable differ by up to 5 % (two suppliers' tables): even spread of +-5 %.
_CABLE_FRAC: Final = {"records": 0.05 / math.sqrt(3.0)}
_JUDGED_FRAC: Final = 0.10
_SUB_DUCT_FRAC: Final = 0.05
# Seen in part: one cable more or less of the mean size; none known, then of this size.
_HIDDEN_MM: Final = 30.0
# Half of the variance of a reading belongs to the rule, card or eye that all ends of a site share.
_SHARED: Final = 0.5
_STEP_MM: Final = 1e-3


@dataclass(frozen=True)
class Range:
    """Doubts of a quantity (one standard deviation, in its unit): its own, and shared by name."""

    own_u: float = 0.0
    shared: dict[str, float] = field(default_factory=dict)

    def times(self, factor: float) -> Range:
        """The range of a quantity that goes with this one."""
        return Range(self.own_u * factor, {name: u * factor for name, u in self.shared.items()})

    def p90(self, quantity: float) -> float:
        """P90 of a quantity with this range."""
        return p90(quantity, self.own_u, self.shared)


def free_area_range(case: Case, section: Section, layer: Layer) -> Range:
    """Doubts of the free area of an end (mm2), the layer's growth with the bore counted in.

    Parameters
    ----------
    case : Case
    section : Section
    layer : Layer
        Where shear or bending decides, the layer grows with the size of the opening.

    Returns
    -------
    Range
        Named by site and method: what all ends of a site that were read alike share.

    Notes
    -----
    First order in each reading: d(pi/4 D^2) = pi/2 D dD. Normal ranges are taken, so that P50 is
    the quantity itself.
    """
    site = text(case.facts.site, "site_id") or "no site"
    own, shared = 0.0, []
    for name, u_mm2 in [*_bore_parts(case, section, layer), *_cable_parts(case)]:
        own += (1.0 - _SHARED) * u_mm2**2
        shared.append({f"{site} {name}": math.sqrt(_SHARED) * u_mm2})
    own += _count_mm2(case, section) ** 2
    return Range(math.sqrt(own), shared_sum(shared))


def _bore_parts(case: Case, section: Section, layer: Layer) -> list[tuple[str, float]]:
    end = case.facts.end
    method = text(end, "bore_method") or "judged"
    u_mm = _BORE_MM.get(method, _BORE_JUDGED_MM)
    shape, first, second = text(end, "shape"), number(end, "bore_mm"), number(end, "bore_b_mm")
    sizes = [first] if math.isnan(second) else [first, second]
    free_mm2 = section.hole.area_mm2 - section.cables_area_mm2
    grows = 0.0 if layer.by == "policy minimum" else 1.0 / len(sizes)
    out = []
    for i, size in enumerate(sizes):
        more, less = list(sizes), list(sizes)
        more[i], less[i] = size + _STEP_MM, size - _STEP_MM
        slope = (_hole(shape, more).area_mm2 - _hole(shape, less).area_mm2) / (2.0 * _STEP_MM)
        slope += grows * free_mm2 / size
        if slope > 0.0:
            out.append((f"bores by {method}", slope * u_mm))
    return out


def _hole(shape: str, sizes: list[float]) -> Opening:
    return opening(shape, sizes[0], sizes[1] if len(sizes) > 1 else 0.0)


def _cable_parts(case: Case) -> list[tuple[str, float]]:
    out = []
    for cable in case.facts.cables:
        method = text(cable, "size_method") or "judged"
        d = number(cable, "diameter_mm")
        u_mm = _CABLE_MM.get(method, _CABLE_FRAC.get(method, _JUDGED_FRAC) * d)
        # the cables of one row were measured once: all are off alike
        area_mm2 = number(cable, "cable_count") * math.pi / 2.0 * d * u_mm
        out.append((f"cables by {method}", area_mm2))
    for child in case.facts.children:
        d = number(child, "nominal_mm")
        d = d if d > 0.0 else number(child, "bore_mm")
        out.append(("sub-ducts", math.pi / 2.0 * d * _SUB_DUCT_FRAC * d))
    return out


def _count_mm2(case: Case, section: Section) -> float:
    """Doubt of the area by cables that were not seen, or counted twice; none where all was seen."""
    if text(case.facts.end, "seen") == "full":
        return 0.0
    if not section.strands:
        return math.pi / 4.0 * _HIDDEN_MM**2
    return section.cables_area_mm2 / len(section.strands)

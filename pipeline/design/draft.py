"""The draft of one end: section, layer, holds, quantities, before it becomes table rows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pipeline.core.cautions import RELEASE
from pipeline.core.contract import HOLD_DESIGN, HOLD_NONE
from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.design.case import Case
from pipeline.design.doubts import free_area_range
from pipeline.design.facts import Facts, number, text
from pipeline.design.head import Head, first_remedy
from pipeline.design.hold_rules import RULES
from pipeline.design.holds import Applied, apply, widest
from pipeline.design.layer import Layer, layer_of, outside_envelope, wall_substrate
from pipeline.design.need import hole_of, not_drawable, overfull, strands_of
from pipeline.design.quantity import (
    Piece,
    allowances,
    hours_h,
    pieces_of,
    sealant_ml,
    sleeves_words,
    with_ranges,
)
from pipeline.design.section import Section, SectionRule, draw
from pipeline.design.steps import Numbers, cautions_of, steps_of


@dataclass(frozen=True)
class Draft:
    """One end as far as it could be designed."""

    case: Case
    is_needed: bool
    need_reason: str
    applied: tuple[Applied, ...] = ()
    layer: Layer | None = None
    ml: float = math.nan
    allowance_frac: float = math.nan
    allowance_words: str = ""
    pieces: tuple[Piece, ...] = ()
    hours_h: float = math.nan
    numbers: Numbers | None = None
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    caution_codes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def facts(self) -> Facts:
        """Facts of the end."""
        return self.case.facts

    @property
    def reach(self) -> str:
        """Widest reach of the holds; none for ends that need no seal."""
        return widest(self.applied) if self.is_needed else HOLD_NONE

    @property
    def is_made(self) -> bool:
        """The seal was made and waits for acceptance: nothing more is bought or planned."""
        return self.is_needed and text(self.facts.sealed, "is_made") == "True"

    @property
    def is_standing(self) -> bool:
        """A seal of ours closes the end, and how it was drawn is known."""
        return not self.is_needed and bool(self.facts.sealed) and self.layer is not None

    @property
    def is_designed(self) -> bool:
        """True where a seal is needed and drawn."""
        return self.is_needed and self.layer is not None and self.reach != HOLD_DESIGN


def draft_of(
    facts: Facts,
    *,
    settings: Settings,
    materials: Materials,
    head: Head,
    need: tuple[bool, str],
    is_both_sealed: bool = False,
) -> Draft:
    """Draft one end.

    Parameters
    ----------
    facts : Facts
    settings : Settings
    materials : Materials
    head : Head
        Design head; `assumed` names a stand-in.
    need : (bool, str)
        Whether it is to be sealed, and why.
    is_both_sealed : bool, optional
        The other mouth of the duct is to be sealed too.

    Returns
    -------
    Draft
    """
    case = Case(facts, settings, materials, head, is_both_sealed=is_both_sealed)
    if not need[0] and not facts.sealed:
        return Draft(case, is_needed=False, need_reason=need[1])
    case, layer = _drawn(case)
    applied = tuple(apply(case, RULES))
    cautions = cautions_of(applied, materials=materials, words=settings.cautions)
    conditions = _conditions(applied)
    draft = Draft(
        case,
        is_needed=need[0],
        need_reason=need[1],
        applied=applied,
        layer=layer,
        assumed=_assumed(case, layer),
        cautions=(*cautions.values(), *conditions),
        caution_codes=(*cautions, *([RELEASE] * len(conditions))),
    )
    if not need[
        0
    ]:  # closed by a seal of ours: its holds are asked, its drawing serves later cables
        share, _ = allowances(settings.design.allowance_frac, case)
        return replace(draft, allowance_frac=share)
    if layer is not None and draft.reach != HOLD_DESIGN:
        return _with_quantities(draft)
    steps = steps_of(case, applied, materials=materials, numbers=None)
    return replace(draft, steps=tuple(steps.values()))


def _conditions(applied: tuple[Applied, ...]) -> list[str]:
    """Conditions of releases, for the crew."""
    return [
        f"Release {text(a.release, 'release_id')}: {text(a.release, 'condition')}"
        for a in applied
        if text(a.release, "condition")
    ]


def _drawn(case: Case) -> tuple[Case, Layer | None]:
    """The case with its section and depth, and the layer; no layer where nothing can be drawn."""
    facts, settings, materials = case.facts, case.settings, case.materials
    why_not = not_drawable(facts)
    if why_not:
        return replace(case, not_drawn=why_not), None
    rule = SectionRule(
        case.may_move,
        settings.design.clearance_mm,
        settings.design.objective,
        settings.design.effort,
    )
    section = draw(hole_of(facts), strands_of(facts), materials=materials, rule=rule)
    if section is None:
        return replace(case, not_drawn=overfull(section)), None
    layer = layer_of(
        section,
        head_m=case.head.head_m,
        wall=wall_substrate(text(facts.end, "material")),
        surface=case.surface,
        durations=case.head.durations,
        sealant=materials.sealant,
        least_mm=settings.design.layer_mm,
        water_kg_per_m3=settings.design.water_kg_per_m3,
    )
    if math.isinf(layer.layer_mm):
        return replace(case, not_drawn="the sealant bonds to nothing here"), None
    # an assumed head proves nothing: only the invented envelope, which proves nothing, takes it
    is_proved = materials.about.example or not case.head.assumed
    outside = outside_envelope(
        materials.sealant.envelope,
        section,
        head_m=case.head.head_m if is_proved else math.nan,
        durations=case.head.durations,
    )
    remedy = first_remedy(case.head)
    if remedy and "head" in outside:
        outside += f" ({remedy})"
    if case.gas_reason and not materials.sealant.envelope.gas_tested:
        outside = ", ".join(w for w in (outside, "gas-tightness not tested") if w)
    filler = materials.filler.length_mm * (2 if case.is_turned else 1)
    sound_from = number(facts.end, "sound_from_mm")
    depth = recess_mm(case) + layer.layer_mm + filler
    depth += 0.0 if math.isnan(sound_from) else sound_from
    drawn = replace(
        case, section=section, outside=outside, depth_needed_mm=depth, filler_length_mm=filler
    )
    return drawn, layer


def recess_mm(case: Case) -> float:
    """Face of the sealant behind the mouth (mm); none for mouths in the open."""
    is_outdoors = text(case.facts.entry, "outdoors") == "yes"
    return 0.0 if is_outdoors else case.materials.sealant.recess_mm


def _with_quantities(draft: Draft) -> Draft:
    case, layer = draft.case, draft.layer
    section = case.section
    assert section is not None
    assert layer is not None
    settings, materials = case.settings, case.materials
    share, words = allowances(settings.design.allowance_frac, case)
    free = section.hole.area_mm2 - section.cables_area_mm2
    ml = sealant_ml(free, layer.layer_mm, share)
    lengths = 2 if case.is_turned else 1
    numbers = Numbers(
        layer.layer_mm,
        ml,
        recess_mm(case),
        case.filler_length_mm,
        sleeves_words(section, lengths),
        len(section.collars),
    )
    steps = steps_of(case, draft.applied, materials=materials, numbers=numbers)
    pieces = pieces_of(
        section,
        ml=ml,
        lengths_count=lengths,
        steps=frozenset(steps),
        case=case,
        materials=materials,
    )
    hours = hours_h(
        settings.crews,
        bore_mm=_side_mm(section),
        cables_count=len(section.strands),
        case=case,
    )
    return replace(
        draft,
        ml=ml,
        allowance_frac=share,
        allowance_words=words,
        pieces=with_ranges(
            pieces,
            free_area_range(case, section, layer),
            free_mm2=free,
            materials=materials,
        ),
        hours_h=hours,
        numbers=numbers,
        steps=tuple(steps.values()),
    )


def _side_mm(section: Section) -> float:
    """Bore, or side of the square of the same area (mm)."""
    hole = section.hole
    return 2.0 * hole.corner_mm if hole.is_round else math.sqrt(hole.area_mm2)


def _assumed(case: Case, layer: Layer | None) -> tuple[str, ...]:
    end = case.facts.end
    words = [case.head.assumed, layer.assumed if layer else ""]
    if case.section is not None:
        if not case.section.hole.is_round and text(end, "shape") != "square":
            words.append("first size taken as the width, second as the height")
        if any(text(c, "size_method") == "judged" for c in case.facts.cables):
            words.append("cable sizes judged")
        if case.facts.children:
            words.append("sub-ducts without an outside size: bore x 7/6")
        if text(end, "contents") == "capped":
            words.append("nothing behind the cap: prove on site")
        if text(end, "seen") == "part":
            words.append("seen in part: cables as listed")
    if text(end, "bore_method") in ("judged", "records"):
        words.append(f"bore from {text(end, 'bore_method')}")
    if case.asbestos == "unknown":
        words.append("asbestos unknown: counts as yes")
    if case.fire_wall == "unknown":
        words.append("fire wall unknown: counts as yes")
    return tuple(w for w in words if w)

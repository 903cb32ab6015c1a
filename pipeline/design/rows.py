"""Drafts as rows of the hand-over tables, and the findings of this stage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from pipeline.core.contract import FIRM, HELD, HOLD_ORDER, PROVISIONAL
from pipeline.core.doubts import parts_text
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.materials import Materials
from pipeline.design.draft import Draft
from pipeline.design.facts import Row, number, text
from pipeline.design.provisional import Estimate
from pipeline.design.quantity import spare_words
from pipeline.design.section import Section

Letters = Mapping[tuple[str, str, str], str]


def firmness(draft: Draft) -> str:
    """How firm the quantities of an end are."""
    if not draft.is_needed:
        return FIRM
    if not draft.is_designed:
        return PROVISIONAL
    return HELD if draft.reach == HOLD_ORDER else FIRM


def design_row(draft: Draft, estimate: Estimate | None, *, materials: Materials) -> Row:
    """One row of `designs`."""
    case, facts = draft.case, draft.facts
    row: Row = {
        "end_id": facts.end_id,
        "site_id": text(facts.site, "site_id") or None,
        "building_id": text(facts.building, "building_id") or None,
        "region": facts.region or None,
        "is_needed": draft.is_needed,
        "need_reason": draft.need_reason,
        "is_designed": draft.is_designed,
        "hold_reach": draft.reach,
        "is_made": draft.is_made,
        "firmness": firmness(draft),
        "shape": text(facts.end, "shape") or None,
        "bore_mm": number(facts.end, "bore_mm"),
        "bore_b_mm": number(facts.end, "bore_b_mm"),
        "depth_free_mm": case.depth_free_mm,
        "old_seal": case.old_seal or None,
        "design_head_m": case.head.head_m,
        "head_from": case.head.words,
    }
    if facts.sealed:
        row["standing_codes"] = ";".join(a.rule.code for a in draft.applied if a.is_hold) or None
    if draft.is_standing:
        row |= _standing_part(draft, materials)
    if not draft.is_needed:
        return row
    holds = [a for a in draft.applied if a.is_hold]
    lifted = [a for a in draft.applied if a.is_lifted]
    row |= {
        "not_designed_reason": None if draft.is_designed else _why_not(draft),
        "hold_codes": ";".join(a.rule.code for a in holds) or None,
        "hold_words": "; ".join(a.words for a in holds) or None,
        "lifted_codes": ";".join(a.rule.code for a in lifted) or None,
        "lifted_words": "; ".join(a.lifted_words for a in lifted) or None,
        "seal_from": "chamber" if facts.is_chamber_end else "building",
        "steps": " | ".join(draft.steps),
        "cautions": " | ".join(draft.cautions),
        "caution_codes": ";".join(draft.caution_codes),
        "cure_words": cure_words(materials),
        "cure_days": materials.sealant.cure_days,
        "assumed": "; ".join(_assumed(draft, estimate)) or None,
    }
    if case.section is not None:
        row |= _section_part(case.section, draft)
    row |= (
        _designed_part(draft, materials.sealant.item_id)
        if draft.is_designed
        else _estimated_part(estimate, materials)
    )
    return row | {"hours_h": 0.0} if draft.is_made else row


def _standing_part(draft: Draft, materials: Materials) -> Row:
    """What a cable that comes later needs to know of a seal that is there; no quantities."""
    assert draft.case.section is not None
    return {
        "cautions": " | ".join(draft.cautions),
        "caution_codes": ";".join(draft.caution_codes),
        "cure_words": cure_words(materials),
        "cure_days": materials.sealant.cure_days,
        "allowance_frac": draft.allowance_frac,
        "assumed": "; ".join(draft.assumed) or None,
        **_section_part(draft.case.section, draft),
    }


def cure_words(materials: Materials) -> str:
    """When a seal may see water, in words."""
    sealant = materials.sealant
    return (
        f"may see the design head {sealant.cure_days:g} days after sealing at "
        f"{sealant.cure_at_c:g} deg C or warmer; colder takes longer, by the data sheet"
    )


def _why_not(draft: Draft) -> str:
    return "; ".join(
        a.words for a in draft.applied if a.rule.reach == draft.reach and not a.is_lifted
    )


def _assumed(draft: Draft, estimate: Estimate | None) -> list[str]:
    words = list(draft.assumed)
    if draft.is_made:
        day = text(draft.facts.sealed, "sealed_on")
        words.append(f"sealed on {day} and not accepted: nothing more is bought, the end is open")
    if not draft.is_designed:
        words.append(
            f"quantity: {estimate.words}" if estimate else "quantity: no seen end to price from"
        )
    return words


def _section_part(section: Section, draft: Draft) -> Row:
    cables = section.cables_area_mm2
    layer = draft.layer
    arrangement = section.arrangement
    if section.has_closed_gap:
        arrangement += "; reduced: separate by leave, or hold"
    part: Row = {
        "opening_area_mm2": section.hole.area_mm2,
        "cables_area_mm2": cables,
        "free_area_mm2": section.hole.area_mm2 - cables,
        "free_circle_mm": section.free_circle_mm,
        "arrangement": arrangement,
        "filler_length_mm": draft.case.filler_length_mm,
        "depth_needed_mm": draft.case.depth_needed_mm,
    }
    if layer is not None:
        part |= {
            "bonded_perimeter_mm": layer.bonded_perimeter_mm,
            "layer_mm": layer.layer_mm,
            "layer_by": layer.by,
            "shear_kpa": layer.shear_kpa if math.isfinite(layer.shear_kpa) else math.nan,
            "bending_kpa": layer.bending_kpa,
        }
    return part


def _designed_part(draft: Draft, sealant: str) -> Row:
    section, numbers = draft.case.section, draft.numbers
    assert section is not None
    assert numbers is not None
    lengths = 2 if draft.case.is_turned else 1
    return {
        "allowance_frac": draft.allowance_frac,
        "allowance_words": draft.allowance_words,
        "sealant_ml": draft.ml,
        "sealant_p50_ml": draft.ml,
        "sealant_p90_ml": next(
            (p.range.p90(p.quantity) for p in draft.pieces if p.item_id == sealant), math.nan
        ),
        "sleeves_words": numbers.sleeves_words,
        "sleeves_count": len(section.sleeves) * lengths,
        "sleeves_spare_words": spare_words(section, lengths) or None,
        "collars_count": len(section.collars) * lengths,
        "hours_h": draft.hours_h,
    }


def _estimated_part(estimate: Estimate | None, materials: Materials) -> Row:
    if estimate is None:
        return {}
    sealant = materials.sealant.item_id
    return {
        "sealant_ml": estimate.mean.get(sealant, math.nan),
        "sealant_p50_ml": estimate.p50.get(sealant, math.nan),
        "sealant_p90_ml": estimate.p90.get(sealant, math.nan),
        "hours_h": estimate.hours_h,
    }


def piece_rows(draft: Draft, estimate: Estimate | None, *, materials: Materials) -> list[Row]:
    """Rows of `pieces` of one end; none where no seal is needed."""
    if not draft.is_needed or draft.is_made:
        return []
    if draft.is_designed:
        amounts = [
            (p.item_id, p.quantity, p.quantity, p.range.p90(p.quantity), p.range)
            for p in draft.pieces
        ]
    elif estimate is not None:
        amounts = [
            (i, estimate.mean[i], estimate.p50[i], estimate.p90[i], estimate.ranges[i])
            for i in sorted(estimate.mean)
        ]
    else:
        amounts = []
    items = materials.items
    return [
        {
            "end_id": draft.facts.end_id,
            "item_id": item_id,
            "counted_by": items[item_id].counted_by,
            "quantity": mean,
            "quantity_p50": p50,
            "quantity_p90": p90,
            "quantity_own_u": spread.own_u,
            "quantity_shared": parts_text(spread.shared.items()) or None,
            "unit": items[item_id].unit,
            "firmness": firmness(draft),
        }
        for item_id, mean, p50, p90, spread in amounts
    ]


def placement_rows(draft: Draft) -> list[Row]:
    """Rows of `placements` of one end: cables, collars, sleeves, in this order."""
    section = draft.case.section
    if section is None or not (draft.is_designed or draft.is_standing):
        return []
    rows: list[Row] = []
    for strand, (x, y) in zip(section.strands, section.xy_mm, strict=True):
        rows.append(
            {
                "kind": "cable",
                "cable_id": strand.cable_id,
                "cable_class": strand.cable_class,
                "group_no": strand.group_no,
                "outer_mm": strand.outer_mm,
                "x_mm": float(x),
                "y_mm": float(y),
            }
        )
    for i, item in sorted(section.collars.items()):
        x, y = section.xy_mm[i]
        rows.append(
            {
                "kind": "collar",
                "cable_id": section.strands[i].cable_id,
                "cable_class": section.strands[i].cable_class,
                "group_no": section.strands[i].group_no,
                "item_id": item.id,
                "outer_mm": item.outer_mm,
                "x_mm": float(x),
                "y_mm": float(y),
            }
        )
    rows += [
        {
            "kind": "sleeve",
            "item_id": sleeve.item_id,
            "outer_mm": sleeve.outer_mm,
            "x_mm": sleeve.x_mm,
            "y_mm": sleeve.y_mm,
        }
        for sleeve in section.sleeves
    ]
    return [
        {"end_id": draft.facts.end_id, "piece_no": i, **row} for i, row in enumerate(rows, start=1)
    ]


def findings_of(draft: Draft, letters: Letters) -> list[Finding]:
    """Findings duct-19 (short depth) and duct-20 (water possible) of one end."""
    if not draft.is_needed:
        return []
    codes = {a.rule.code for a in draft.applied if not a.is_lifted}
    case = draft.case
    out = []
    if "short depth" in codes:
        out.append(
            _finding(
                "duct-19",
                draft,
                letters,
                "clear_depth_mm",
                {"a": f"{case.depth_free_mm:.0f}", "b": f"{case.depth_needed_mm:.0f}"},
            )
        )
    if "water possible" in codes and text(draft.facts.end, "seen") in ("full", "part", ""):
        head = case.head.head_m
        h = "an unknown number of" if math.isnan(head) else f"{head:.2f}"
        is_capped = text(draft.facts.end, "contents") in ("capped", "silted")
        column = "contents" if is_capped else "water_now"
        out.append(_finding("duct-20", draft, letters, column, {"h": h}))
    return out


def _finding(
    code: str, draft: Draft, letters: Letters, column: str, fill: Mapping[str, Any]
) -> Finding:
    facts = draft.facts
    end = facts.end
    file, sheet, row = text(end, "file"), text(end, "sheet"), number(end, "row")
    letter = letters.get((file, sheet, column), "")
    row_no = None if math.isnan(row) else int(row)
    value = number(end, column) if column.endswith("_mm") else text(end, column)
    return make(
        code,
        Cell(
            file=file,
            sheet=sheet,
            row=row_no,
            column=column,
            cell=f"{letter}{row_no}" if letter and row_no else "",
        ),
        key=f"{'entries' if facts.is_bare_entry else 'ducts'}/{facts.end_id}",
        place_id=facts.place_id,
        site_id=text(facts.site, "site_id"),
        as_read=f"{value:g}" if isinstance(value, float) and not math.isnan(value) else str(value),
        fill={"end": facts.end_id, **fill},
    )

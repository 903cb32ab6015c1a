"""The steps and cautions of one end's sheet, as changed by the rules that apply."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.core.cautions import ALWAYS, MATERIALS, caution_words, general
from pipeline.core.materials import Materials
from pipeline.core.settings import Cautions
from pipeline.design.case import OVER_SEAL, TAKE_OUT, Case
from pipeline.design.facts import text
from pipeline.design.holds import Applied


@dataclass(frozen=True)
class Numbers:
    """What the sentences of the sheet name."""

    layer_mm: float
    ml: float
    recess_mm: float
    filler_length_mm: float
    sleeves_words: str
    collars_count: int


def steps_of(
    case: Case, applied: Sequence[Applied], *, materials: Materials, numbers: Numbers | None
) -> dict[str, str]:
    """The steps of a sheet in order, by name.

    Parameters
    ----------
    case : Case
    applied : sequence of Applied
        Rules that apply: they take steps out and add sentences.
    materials : Materials
    numbers : Numbers or None
        None where no seal is drawn: the sheet then only says what to look at.

    Returns
    -------
    dict of str to str
    """
    steps = {
        "permit": "Make sure that permits, isolations and consents are in hand under local rules.",
        "water": "Control the water: stopper and drain hose, keep it off until the seal has cured."
        if case.is_wet
        else "Check that no water comes; keep stopper and hose at hand.",
    }
    if numbers is None:
        steps["measure"] = (
            f"No seal is drawn ({case.not_drawn or 'see the holds'}): look, measure, tell."
        )
        return _added(steps, applied)
    without = {w for a in applied for w in a.rule.without}
    if case.old_seal and "old seal" in without:
        steps["old seal"] = (
            "The old seal stays as it is: a fire stop is not weakened. Go on only as released."
        )
    elif case.old_seal == TAKE_OUT:
        steps["old seal"] = "Remove the old seal" + (
            " whole, wetted, without cutting or drilling." if "cut" in without else " by hand."
        )
    elif case.old_seal == OVER_SEAL:
        steps["old seal"] = "The old seal stays behind the new one: clean its face."
    if text(case.facts.end, "contents") == "capped":
        steps["old seal"] = (
            "Take the cap off slowly; if there is anything in the bore, stop and tell."
        )
    wipe = "Wipe" if "brush" in without else "Clean"
    steps["clean"] = f"{wipe} and dry the bore and everything in it over the depth of the seal."
    if materials.sealant.abrading and "abrade" not in without:
        steps["abrade"] = "Abrade the bore lightly where the sealant will lie."
    if "degrease" not in without:
        steps["degrease"] = "Degrease with a fresh cloth; let it air."
    steps |= _cables(case, numbers)
    # the crew works in whole millimetres: up, so that the layer is never thinner than designed
    layer = math.ceil(round(numbers.layer_mm, 6))
    front = math.ceil(round(numbers.recess_mm + layer, 6))
    steps["filler"] = (
        f"Filler sleeves: {numbers.sleeves_words}; front face {front} mm, back face "
        f"{front + numbers.filler_length_mm:.0f} mm from the mouth."
    )
    has_cables = case.section is not None and bool(case.section.strands)
    between, cables = (" and between cables", " and cables") if has_cables else ("", "")
    steps["check"] = f"Check {front} mm of free depth all round{between} before sealing."
    steps["sealant"] = f"Sealant {layer} mm deep: {math.ceil(numbers.ml)} ml."
    steps["smooth"] = f"Smooth off; press the edge against the bore{cables}."
    steps["label"] = "Label with end, date and the number to ring before a cable is changed."
    steps["photo"] = "Photo with the label in it; fill in the record."
    return _added(steps, applied)


def _cables(case: Case, numbers: Numbers) -> dict[str, str]:
    section = case.section
    if section is None or not section.strands:
        return {"cables": ""}
    if not section.arrangement.startswith("separated"):
        return {"cables": "Leave the cables as they lie."}
    words = f"With the owner's leave: cables {section.arrangement}; groups stay together."
    if numbers.collars_count:
        words += f" {numbers.collars_count} cable collars round the small cables."
    return {"cables": words}


def _added(steps: dict[str, str], applied: Sequence[Applied]) -> dict[str, str]:
    out = dict(steps)
    for one in applied:
        for name, sentence in one.rule.adds.items():
            if name in out:
                out[name] = f"{out[name]} {sentence}".strip()
    return {name: words for name, words in out.items() if words}


def cautions_of(
    applied: Sequence[Applied], *, materials: Materials, words: Cautions
) -> dict[str, str]:
    """The cautions that apply to an end by their codes, and the one that always does.

    Parameters
    ----------
    applied : sequence of Applied
    materials : Materials
    words : Cautions
        Words and local codes of the programme.

    Returns
    -------
    dict of str to str
        Code -> words, in the order of the sheet.

    """
    out = {
        a.rule.code: caution_words(a.rule.code, a.rule.caution, words)
        for a in applied
        if a.rule.caution
    }
    if materials.note:
        out[MATERIALS] = materials.note[0].upper() + materials.note[1:] + "."
    return {**out, ALWAYS: general(ALWAYS, words)}

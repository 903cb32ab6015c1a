"""Holds and changed steps: a table of rules. The widest reach wins.

Reach `design`: no seal is drawn, quantity provisional. `order`: designed, bought only after
release, no benefit until then. `work`: designed, bought, counted; the crew waits for the release.
`none`: only the steps or the cautions change. Local codes, permits and the owner's rules decide;
the papers only remind.
"""

from __future__ import annotations

import math
from typing import Final

from pipeline.core.contract import HOLD_DESIGN, HOLD_NONE, HOLD_ORDER, HOLD_WORK
from pipeline.design.case import TAKE_OUT, Case
from pipeline.design.facts import text
from pipeline.design.holds import Rule

OWNER: Final = "the owner's engineer"


def _if(condition: bool, detail: str = "yes") -> str:
    return detail if condition else ""


def _cord(case: Case, *, with_leave: bool) -> str:
    end = case.facts.end
    has_cord = text(end, "contents") == "draw cord only" or text(end, "draw_cord") == "yes"
    return _if(has_cord and case.settings.design.cord_out == with_leave)


def _single_core_in_steel(case: Case) -> str:
    is_single = any(
        text(c, "cores") in ("1", "unknown", "")
        and text(c, "cable_class") in ("LV", "HV", "EHV", "unknown", "")
        for c in case.facts.cables
    )
    return _if(text(case.facts.end, "material") == "steel" and is_single)


def _heat(case: Case) -> str:
    is_long = case.filler_length_mm >= case.materials.filler.heat_from_mm
    is_loaded = any(
        text(c, "cable_class") in ("HV", "EHV", "unknown", "") and text(c, "dead") != "yes, proved"
        for c in case.facts.cables
    )
    return _if(is_long and is_loaded, f"{case.filler_length_mm:g} mm")


def _old_seal_power_tools(case: Case) -> str:
    hard = [s for s in case.facts.seals if text(s, "removal") != "by hand"]
    return _if(case.old_seal == TAKE_OUT and bool(hard) and case.has_live_cables)


def _gap(case: Case) -> str:
    state = text(case.facts.entry, "gap_around_duct")
    return _if(state in ("crack", "weeping", "open", "not seen"), state)


def _tubes(case: Case) -> str:
    return _if(
        text(case.facts.end, "contents") == "sub-ducts"
        or text(case.facts.end, "shape") == "sub-duct"
        or "fibre tube" in case.coverings
    )


RULES: Final[tuple[Rule, ...]] = (
    Rule(
        "contents unknown",
        HOLD_DESIGN,
        "no seal drawn: {detail}",
        "the surveyor",
        lambda c: c.not_drawn,
        effect="design: none; quantity provisional",
    ),
    Rule(
        "outside envelope",
        HOLD_DESIGN,
        "outside what the sealant was tested for: {detail}",
        OWNER,
        lambda c: c.outside,
        effect="design: none; quantity provisional",
    ),
    Rule(
        "short depth",
        HOLD_DESIGN,
        "too little free depth behind the mouth: {detail}",
        OWNER,
        lambda c: _if(c.is_short, f"{c.depth_free_mm:.0f} mm free, {c.depth_needed_mm:.0f} needed"),
        effect="design: none from this side; quantity provisional",
    ),
    Rule(
        "no access",
        HOLD_DESIGN,
        "the mouth can be sealed neither from the building nor from the chamber",
        OWNER,
        lambda c: _if(text(c.facts.end, "seal_from") == "neither"),
        effect="design: none; quantity provisional",
    ),
    Rule(
        "asbestos",
        HOLD_ORDER,
        "asbestos at the duct or in the old seal: {detail}",
        "the owner's asbestos register or a sample",
        lambda c: c.asbestos,
        "Asbestos suspected: do not brush dry, abrade, cut or drill. Stop if the material is not "
        "as the register says; waste goes the licensed way.",
        ("abrade", "brush", "cut", "drill"),
        effect="hold: order; steps without abrading, brushing, cutting, drilling",
    ),
    Rule(
        "fire barrier",
        HOLD_ORDER,
        "the wall is, or may be, a fire barrier ({detail})",
        OWNER,
        lambda c: c.fire_wall,
        "A flood seal is not a fire seal. Do not remove or weaken a fire stop.",
        ("old seal",),
        effect="hold: order; an old seal stays until the release says how both are kept",
    ),
    Rule(
        "fluid-filled",
        HOLD_ORDER,
        "a cable {detail} fluid-filled or under gas pressure",
        "the cable's owner",
        lambda c: c.filling,
        "No work beside a fluid-filled or pressure cable without its owner's method.",
        ("abrade", "degrease"),
        {"permit": "The cable's owner gives the method of work, in writing."},
        effect="hold: order; cables drawn as they lie; steps without abrading and degreasing",
    ),
    Rule(
        "gas or water service",
        HOLD_ORDER,
        "the duct holds a gas or water service",
        "the owner of the service",
        lambda c: _if(text(c.facts.end, "duct_use") == "water or gas pipe"),
        "Test for gas before and during the work; no flame, no spark.",
        ("degrease",),
        {"permit": "Tell the owner of the service and the building's gas-risk holder."},
        effect="hold: order; steps without solvent",
    ),
    Rule(
        "wet well",
        HOLD_ORDER,
        "the duct comes from the wet well {detail}: a hazardous area",
        OWNER,
        lambda c: c.wet_well,
        "Gas may come out of this duct: test at the mouth before it is opened and all the time "
        "it is open; no flame, no spark, equipment for the area.",
        ("degrease",),
        effect="hold: order; hazardous-area caution; steps without solvent",
    ),
    Rule(
        "third party",
        HOLD_ORDER,
        "other people's chamber or cables: {detail}",
        "that owner, in writing",
        lambda c: ", ".join(c.other_owners),
        "No work on other people's ducts or cables without their consent.",
        adds={"permit": "Have the consent of the other owners with you, in writing."},
        effect="hold: order; consent list; step",
    ),
    Rule(
        "structure",
        HOLD_ORDER,
        "the mouth is broken: how the wall is made good must be settled first",
        "a structural engineer",
        lambda c: _if(text(c.facts.end, "mouth") == "broken"),
        "Do not seal into loose or broken wall.",
        adds={"check": "Seal only after the wall has been made good as settled."},
        effect="hold: order; step",
    ),
    Rule(
        "covering carries water",
        HOLD_ORDER,
        "water can travel inside the covering ({detail}); sealing around it does not close the way",
        "the cable's owner",
        lambda c: ", ".join(sorted(c.coverings & {"fibrous wrap", "bare armour"})),
        "Do not cut back or strip a covering without its owner's method.",
        ("abrade", "degrease"),
        effect="hold: order; that edge is not counted as bonded; steps without abrading and "
        "degreasing",
    ),
    Rule(
        "covering not compatible",
        HOLD_ORDER,
        "the sealant must not touch a covering of {detail}",
        "the cable's owner and the sealant's supplier",
        lambda c: c.coverings_that_are("not compatible"),
        "Keep sealant and solvent off this covering.",
        ("degrease",),
        effect="hold: order; steps without solvent",
    ),
    Rule(
        "covering not tested",
        HOLD_WORK,
        "not tested whether a covering takes the sealant: {detail}",
        "the cable's owner or the sealant's supplier, in writing",
        lambda c: c.coverings_that_are("not tested"),
        adds={"permit": "Have it in writing that the covering takes the sealant."},
        effect="hold: work; step; lifted by the owner's note on the covering",
    ),
    Rule(
        "water possible",
        HOLD_WORK,
        "water stands, or may stand, behind the mouth, cap or old seal",
        "whoever dips the far chamber and keeps it down",
        lambda c: _if(c.may_hide_water),
        "Water may stand behind it: open slowly, stand aside, have a drain ready.",
        adds={"water": "Dip the far chamber and keep it down before the mouth is opened."},
        effect="hold: work; step 'control water' first",
    ),
    Rule(
        "running water",
        HOLD_WORK,
        "water runs from the duct",
        "whoever stops the flow",
        lambda c: _if(text(c.facts.end, "water_now") in ("run", "full bore")),
        "Do not seal into running water.",
        adds={
            "water": "Stop or divert the flow with a temporary stopper and hose; if it cannot "
            "be stopped, stop work and tell."
        },
        effect="hold: work; temporary stopper counted as wet; wet bond values; wet hours",
    ),
    Rule(
        "heat",
        HOLD_WORK,
        "loaded power cables through {detail} of filler: does the rating allow it?",
        "the cable's engineer",
        _heat,
        adds={"filler": "Only in the length that the cable's engineer has released."},
        effect="hold: work; step",
    ),
    Rule(
        "earth conductor",
        HOLD_WORK,
        "an earth conductor lies near the work",
        "the owner's authorised person",
        lambda c: _if(c.has_earth),
        "Do not touch, move or part an earth conductor: only the owner's authorised person.",
        ("abrade", "degrease"),
        effect="hold: work; cables drawn as they lie; steps without abrading and degreasing",
    ),
    Rule(
        "draw cord",
        HOLD_WORK,
        "a draw cord lies in the duct: a seal must not be made round a cord",
        OWNER,
        lambda c: _cord(c, with_leave=False),
        "Do not seal a cord in: it stays a way for water.",
        adds={"cables": "Cord: coil it on the dry side or take it out, as released."},
        effect="hold: work; lifted where the settings give leave to take cords out",
    ),
    Rule(
        "draw cord out",
        HOLD_NONE,
        "a draw cord lies in the duct: it comes out",
        "",
        lambda c: _cord(c, with_leave=True),
        "Do not seal a cord in: it stays a way for water.",
        adds={"cables": "Take the draw cord out before sealing, by the owner's leave."},
        effect="step",
    ),
    Rule(
        "single core in steel",
        HOLD_WORK,
        "single-core power cable in a steel way",
        "the cable's engineer",
        _single_core_in_steel,
        "No steel ring, clamp or tie around a single-core cable.",
        effect="hold: work",
    ),
    Rule(
        "damaged cable",
        HOLD_WORK,
        "a cable at the mouth: {detail}",
        "the cable's owner",
        lambda c: c.damage,
        "Do not touch a damaged cable or a joint at the mouth; stop and tell.",
        ("abrade", "degrease"),
        effect="hold: work; cables drawn as they lie; steps without abrading and degreasing",
    ),
    Rule(
        "old seal near live cables",
        HOLD_WORK,
        "the old seal does not come out by hand and the cables are not proved dead",
        "the cable's owner",
        _old_seal_power_tools,
        "No power tools beside cables that are not proved dead.",
        adds={"old seal": "Blunt hand tools that are not of metal only."},
        effect="hold: work; old seal out by blunt hand tools only",
    ),
    Rule(
        "separate by leave",
        HOLD_WORK,
        "reduced: cables close off gaps that the nozzle cannot enter",
        "the cables' owner (leave to move them apart) or " + OWNER,
        lambda c: _if(
            c.section is not None
            and c.section.has_closed_gap
            and not c.section.arrangement.startswith("separated")
        ),
        adds={"check": "Look for gaps between touching cables and at the wall."},
        effect="arrangement 'reduced'; hold: work",
    ),
    Rule(
        "both ends sealed",
        HOLD_WORK,
        "both ends of this duct are to be sealed: water may stay trapped between",
        OWNER,
        lambda c: _if(c.is_both_sealed),
        effect="hold: work",
    ),
    Rule(
        "closed gap in group",
        HOLD_NONE,
        "the cables of a group close off gaps that the nozzle cannot enter",
        "",
        lambda c: _if(
            c.section is not None
            and c.section.has_closed_gap
            and c.section.arrangement.startswith("separated")
        ),
        "Ties and cleats of groups stay.",
        adds={"sealant": "Work sealant into the gaps inside each group from the front first."},
        effect="arrangement 'reduced'; step",
    ),
    Rule(
        "live cables",
        HOLD_NONE,
        "cables not proved dead",
        "",
        lambda c: _if(c.has_live_cables),
        "Treat every cable as live: do not move, bend, lift, step on or strike it without its "
        "owner's leave. Blunt hand tools that are not of metal only. Ties and cleats stay.",
        adds={"clean": "Blunt non-metallic hand tools only."},
        effect="steps: blunt non-metallic hand tools",
    ),
    Rule(
        "no solvent",
        HOLD_NONE,
        "no agreement of the cables' owners for solvent or abrading",
        "",
        lambda c: _if(c.has_live_cables and not c.has_agreement),
        "No abrading and no solvent on or near cables: their owner has not agreed to it for "
        "this covering.",
        ("abrade", "degrease"),
        effect="steps without abrading and degreasing; those items are not counted",
    ),
    Rule(
        "lead or unknown covering",
        HOLD_NONE,
        "a covering of lead, or one that is not known",
        "",
        lambda c: _if(bool(c.coverings & {"lead", "unknown", ""})),
        "Lead or unknown covering: wash hands, no abrading.",
        ("abrade",),
        effect="steps without abrading; an unknown covering is not counted as bonded",
    ),
    Rule(
        "sub-ducts or tubes",
        HOLD_NONE,
        "sub-ducts or fibre tubes are ways of their own",
        "",
        _tubes,
        adds={
            "check": "Close each sub-duct and each tube on its own: until then the opening is "
            "not closed."
        },
        effect="steps; each sub-duct is an end of its own",
    ),
    Rule(
        "floor or roof mouth",
        HOLD_NONE,
        "the mouth lies in a {detail}: sealant may slump",
        "",
        lambda c: c.is_turned,
        adds={
            "filler": "Twice the filler length, so that the layer lies on firm ground.",
            "sealant": "In two passes; the second when the first has skinned.",
        },
        effect="quantity: twice the sleeves; more depth needed; two passes",
    ),
    Rule(
        "outdoor mouth",
        HOLD_NONE,
        "the mouth lies in the open",
        "",
        lambda c: _if(text(c.facts.entry, "outdoors") == "yes"),
        adds={"smooth": "Bring the face to the wall line and slope it to shed water."},
        effect="steps; no recess; allowance for the slope where the settings name one",
    ),
    Rule(
        "gap beside duct",
        HOLD_NONE,
        "gap between duct and wall: {detail}",
        "",
        _gap,
        adds={
            "check": "Close the gap between duct and wall as well: extra work; sealing the "
            "bore alone does not stop this water."
        },
        effect="extra step",
    ),
    Rule(
        "old seal",
        HOLD_NONE,
        "a seal is there: {detail}",
        "",
        lambda c: c.old_seal,
        effect="steps and hours; waste bag where it is taken out",
    ),
    Rule(
        "ribbed duct",
        HOLD_NONE,
        "ribbed inside",
        "",
        lambda c: _if(text(c.facts.end, "material") == "ribbed plastic"),
        adds={"sealant": "Fill the ribs."},
        effect="quantity: allowance for ribs where the settings name one",
    ),
    Rule(
        "gas-tight",
        HOLD_NONE,
        "to be gas-tight as well: {detail}",
        "",
        lambda c: c.gas_reason,
        "A seal against water is not thereby a seal against gas: whoever holds the gas risk says "
        "how it is proved.",
        adds={"photo": "Gas-tightness proved by the owner's method and written down."},
        effect="sealed also where no water comes; step; outside the envelope where the "
        "certificate holds no gas test",
    ),
    Rule(
        "not probed",
        HOLD_NONE,
        "free depth not probed: prove on site",
        "",
        lambda c: _if(math.isnan(c.depth_free_mm) and not c.not_drawn),
        adds={"check": "Prove the free depth on site, by whoever may probe beside the cables."},
        effect="designed; 'prove on site'",
    ),
    Rule(
        "bell or broken mouth",
        HOLD_NONE,
        "{detail} mouth: the seal goes where the sound bore begins",
        "",
        lambda c: _if(text(c.facts.end, "mouth") in ("bell", "broken"), text(c.facts.end, "mouth")),
        effect="depth counted from the sound bore",
    ),
    Rule(
        "confined space",
        HOLD_NONE,
        "work in a chamber: a confined space",
        "",
        lambda c: _if(c.facts.is_chamber_end and text(c.facts.chamber, "confined_space") != "no"),
        "Confined space: bad air, rescue plan, person outside; local rules decide on entry.",
        effect="caution",
    ),
)

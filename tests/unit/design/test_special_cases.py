"""Each hold and special case beside the same end without the flag: what differs, and only that.

One line per rule of `hold_rules`: the survey that sets the flag, the parts of the design that
change, words that the sheet must hold, and words that it must NOT hold. What changes is a house
rule; what must not stand on the sheet is common practice of the trade, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pandas as pd
import pytest

from pipeline.core.materials import Materials
from pipeline.design.hold_rules import RULES
from pipeline.tables import Tables

Run = Callable[..., Tables]

AGREED = {"dead": "yes, proved", "compatible_note": "sealant and solvent agreed by the owner"}
BASE: dict[str, Any] = {"ends": [{"contents": "cables"}], "cables": [AGREED]}
OLD = {"condition": "cracked", "kind": "mortar"}

# parts of a design that a case may change, and the columns that show it
PARTS: dict[str, tuple[str, ...]] = {
    "need": ("is_needed",),
    "drawing": ("is_designed", "arrangement", "sleeves_words", "free_area_mm2", "free_circle_mm"),
    "layer": ("layer_mm", "layer_by", "bonded_perimeter_mm", "design_head_m"),
    "depth": ("depth_needed_mm", "filler_length_mm"),
    "hold": ("hold_reach", "hold_codes"),
    "firmness": ("firmness",),
    "steps": ("steps",),
    "cautions": ("cautions",),
    "hours": ("hours_h",),
}
DESIGN_HOLD = "drawing layer depth hold firmness steps hours quantity"
# the section is drawn, but it does not count: only the quantities and the sheet go
UNUSABLE = "drawing hold firmness steps hours quantity"


@dataclass(frozen=True)
class Special:
    """One case: flag set by `changes` on `base`; what differs; what is said and what is not."""

    code: str
    changes: dict[str, Any]
    differs: str
    says: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    base: dict[str, Any] = field(default_factory=lambda: BASE)
    items: dict[str, float] = field(default_factory=dict)  # item -> with the flag (0 = none)
    real: bool = False  # with materials that hold a certificate


def _end(**values: Any) -> dict[str, Any]:
    return {"ends": [{"contents": "cables", **values}]}


def _cable(**values: Any) -> dict[str, Any]:
    return {"cables": [{**AGREED, **values}]}


OLD_BASE = {**BASE, "seals": [OLD]}
# deep water, so that the weaker bond of a wet bore shows in the layer
DEEP = {**BASE, "reach": [{"rarest_level_m": 15.0}]}
NO_ABRADE = {"abrasive-cloth": 0.0}
NO_DEGREASE = {"degreaser-ml": 0.0}

CASES: tuple[Special, ...] = (
    Special("contents unknown", _end(contents="not seen"), DESIGN_HOLD,
            ("look, measure, tell",), ("Filler sleeves", "Sealant", "Abrade", "Degrease")),
    Special("outside envelope", {"reach": [{"rarest_level_m": 15.5}]}, f"{UNUSABLE} layer depth",
            ("look, measure, tell",), ("Filler sleeves", "Sealant"), real=True),
    Special("short depth", _end(clear_depth_mm=90.0, clear_depth_word=None), UNUSABLE,
            ("look, measure, tell",), ("Filler sleeves", "Sealant")),
    Special("no access", _end(seal_from="neither"), UNUSABLE,
            ("look, measure, tell",), ("Filler sleeves", "Sealant")),
    Special("asbestos", {"entries": [{"asbestos_suspect": "yes"}]},
            "hold firmness steps cautions quantity", ("Wipe and dry",),
            ("Abrade", "Clean and dry", "brush", "by hand"),
            base=OLD_BASE, items={**NO_ABRADE, "waste-bag-old-seal": 0.0}),
    Special("fire barrier", {"entries": [{"fire_wall": "yes"}]}, "hold firmness steps cautions",
            ("The old seal stays as it is",), ("Remove the old seal",), base=OLD_BASE),
    Special("fluid-filled", _cable(filling="oil or gas pressure"),
            "drawing hold firmness steps cautions quantity", ("The cable's owner gives the method", "Leave the cables"),
            ("Abrade", "Degrease", "With the owner's leave: cables"), items={**NO_ABRADE, **NO_DEGREASE}),
    Special("gas or water service", _end(duct_use="water or gas pipe"),
            "hold firmness steps cautions quantity", ("Tell the owner of the service",), ("Degrease",),
            items=NO_DEGREASE),
    Special("wet well", {"chambers": [{"kind": "wet well"}]}, "hold firmness steps cautions quantity",
            (), ("Degrease",), items=NO_DEGREASE),
    Special("third party", {"chambers": [{"owner": "other utility"}]},
            "hold firmness steps cautions", ("consent of the other owners",)),
    Special("structure", _end(mouth="broken"), "hold firmness steps cautions",
            ("after the wall has been made good",)),
    Special("covering carries water", _cable(covering="fibrous wrap"),
            "layer hold firmness steps cautions quantity", (), ("Abrade", "Degrease"),
            items={**NO_ABRADE, **NO_DEGREASE}, base={**BASE, "buildings": [{"asbestos_suspect": "no"}]}),
    Special("covering not compatible", {"covering": {"plastic": "not compatible"}},
            "hold firmness steps cautions quantity", (), ("Degrease",), items=NO_DEGREASE),
    Special("covering not tested", {"covering": {"plastic": "not tested"}}, "hold steps",
            ("in writing that the covering takes the sealant",),
            base={"ends": [{"contents": "cables"}], "cables": [{"dead": "yes, proved"}]}),
    Special("water possible", _end(water_now="not seen"), "layer depth hold steps cautions quantity",
            ("Dip the far chamber",), base=DEEP),
    Special("running water", _end(water_now="run"), "layer depth hold steps cautions hours quantity",
            ("Stop or divert the flow", "Control the water"), ("Check that no water comes",), base=DEEP),
    Special("heat", _end(lie="floor (up)"), "drawing depth hold steps quantity",
            ("Only in the length that the cable's engineer",),
            base={**BASE, "cables": [{**AGREED, "cable_class": "HV", "dead": "no"}]}),
    Special("earth conductor", _cable(cable_class="earth"), "drawing hold steps cautions quantity",
            ("Leave the cables",), ("With the owner's leave: cables", "Abrade", "Degrease"),
            items={**NO_ABRADE, **NO_DEGREASE}),
    Special("draw cord", _end(draw_cord="yes"), "hold steps cautions", ("coil it on the dry side",)),
    Special("draw cord out", {**_end(draw_cord="yes"), "policy": {"cord_out": True}},
            "steps cautions", ("Take the draw cord out before sealing",)),
    Special("single core in steel", _cable(cores="1"), "hold cautions", (),
            base={**_end(material="steel"), "cables": [AGREED]}),
    Special("damaged cable", _cable(condition="joint at mouth"),
            "drawing hold steps cautions quantity", ("Leave the cables",),
            ("With the owner's leave: cables", "Abrade", "Degrease"),
            items={**NO_ABRADE, **NO_DEGREASE}),
    Special("old seal near live cables", {"seals": [{**OLD, "removal": "power tools"}]},
            "hold steps cautions", ("Blunt hand tools that are not of metal",), (),
            base={**BASE, "cables": [{**AGREED, "dead": "no"}], "seals": [OLD]}),
    Special("separate by leave", {"cables": [{**AGREED, "cable_count": 3, "diameter_mm": 33.0,
                                               "arrangement": "trefoil", "group_no": 1}]},
            "drawing layer hold steps quantity", ("Look for gaps between touching cables",),
            base={**BASE, "policy": {"separate_cables": False},
                  "cables": [{**AGREED, "cable_count": 3, "diameter_mm": 32.0}]}),
    Special("both ends sealed", {"ends": [{"contents": "cables", "far_end_id": "D2"},
                                           {"end_id": "D2", "col_no": 2, "far_end_id": "D1"}]},
            "hold"),
    Special("closed gap in group", {"cables": [{**AGREED, "cable_count": 3, "diameter_mm": 33.0,
                                                 "arrangement": "trefoil", "group_no": 1}]},
            "drawing steps cautions quantity", ("gaps inside each group",), (),
            base={**BASE, "cables": [{**AGREED, "cable_count": 3, "diameter_mm": 33.0}]}),
    Special("live cables", _cable(dead="no"), "steps cautions", ("Blunt non-metallic hand tools",)),
    Special("no solvent", _cable(dead="no", compatible_note=None), "steps cautions quantity", (),
            ("Abrade", "Degrease"), base={**BASE, "cables": [{**AGREED, "dead": "no"}]},
            items={**NO_ABRADE, **NO_DEGREASE}),
    Special("lead or unknown covering", _cable(covering="lead"), "steps cautions quantity", (),
            ("Abrade",), items=NO_ABRADE),
    Special("sub-ducts or tubes", _cable(covering="fibre tube"), "layer steps",
            ("each tube on its own",)),
    Special("floor or roof mouth", _end(lie="floor (up)"), "drawing depth steps quantity",
            ("Twice the filler length", "In two passes")),
    Special("outdoor mouth", {"entries": [{"outdoors": "yes"}]}, "depth steps quantity",
            ("slope it to shed water",), ("front face 25 mm",)),
    Special("gap beside duct", {"entries": [{"gap_around_duct": "open"}]}, "steps",
            ("Close the gap between duct and wall",)),
    Special("old seal", {"seals": [OLD]}, "steps hours quantity", ("Remove the old seal by hand",),
            items={"waste-bag-old-seal": 0.5}),
    Special("old seal", {"seals": [{"condition": "sound", "proposal": "over-seal"}]},
            "steps hours quantity", ("stays behind the new one",), ("Remove the old seal",),
            base=OLD_BASE, items={"waste-bag-old-seal": 0.0}),
    Special("old seal", {"seals": [{"condition": "sound", "water_passing": "none",
                                    "inspected_on": "2029-06-01", "rated_head_m": 2.0}]},
            "need drawing layer depth steps cautions hours quantity", (),
            ("Remove the old seal", "Sealant"), base=OLD_BASE),
    Special("ribbed duct", _end(material="ribbed plastic"), "steps quantity", ("Fill the ribs",)),
    Special("gas-tight", {"policy": {"gas_tight": ("B1",)}}, "steps cautions",
            ("Gas-tightness proved by the owner's method",)),
    Special("not probed", _end(clear_depth_word=None), "steps", ("Prove the free depth on site",)),
    Special("bell or broken mouth", _end(mouth="bell", sound_from_mm=30.0), "depth", ()),
)  # fmt: skip
# only chamber ends that are sealed there fire it: see test_chamber_work_is_a_confined_space
ELSEWHERE = {"confined space"}


@cache
def _real(materials: Materials) -> Materials:
    about = materials.about.model_copy(update={"example": False, "certificate": "invented, tests"})
    return materials.model_copy(update={"about": about})


def _of(
    run: Run, survey: dict[str, Any], stuff: Materials
) -> tuple[dict[str, Any], dict[str, float]]:
    changes = dict(survey)
    states = changes.pop("covering", {})
    listed = tuple(
        c.model_copy(update={"sealant": states.get(c.covering, c.sealant)})
        for c in stuff.sealant.covering
    )
    sealant = stuff.sealant.model_copy(update={"covering": listed})
    out = run(stuff=stuff.model_copy(update={"sealant": sealant}), **changes)
    row = next(r for r in out["designs"].to_dict("records") if r["end_id"] == "D1")
    mine = out["pieces"][out["pieces"]["end_id"] == "D1"]
    return row, dict(zip(mine["item_id"], mine["quantity"], strict=True))


def _same(a: Any, b: Any) -> bool:
    return bool((pd.isna(a) and pd.isna(b)) or a == b)


@pytest.mark.parametrize("case", CASES, ids=[f"{i}-{c.code}" for i, c in enumerate(CASES)])
def test_what_differs_and_what_must_not_stand(
    run: Run, materials: Materials, case: Special
) -> None:
    """The listed parts differ from the same end without the flag, no other part does; the sheet
    says and lacks the listed words, and each lacking word did stand there without the flag."""
    stuff = _real(materials) if case.real else materials
    without, pieces_without = _of(run, case.base, stuff)
    flagged, pieces = _of(run, {**case.base, **case.changes}, stuff)
    differs = {
        part
        for part, columns in PARTS.items()
        if not all(_same(without[c], flagged[c]) for c in columns)
    }
    if pieces != pieces_without:
        differs.add("quantity")
    assert differs == set(case.differs.split())
    steps = "" if pd.isna(flagged["steps"]) else flagged["steps"]
    for words in case.says:
        assert words in steps
        assert words not in without["steps"]
    for words in case.lacks:
        assert words not in steps
        if words != "brush":  # no sheet of ours says it: the rule keeps it out for good
            assert words in without["steps"]
    for item, quantity in case.items.items():
        assert pieces.get(item, 0.0) == quantity
        assert pieces_without.get(item, 0.0) != quantity


def test_every_rule_stands_in_the_table() -> None:
    """No rule without its line; every line names a rule, and every rule says its effect."""
    assert {c.code for c in CASES} | ELSEWHERE == {r.code for r in RULES}
    assert all(r.effect for r in RULES)


def test_the_flag_fires_its_rule(run: Run, materials: Materials) -> None:
    """Holds of the table stand in `hold_codes` with the flag and not without it."""
    holds = {r.code for r in RULES if r.released_by}
    for case in CASES:
        if case.code not in holds:
            continue
        stuff = _real(materials) if case.real else materials
        codes = [
            str(_of(run, survey, stuff)[0]["hold_codes"]).split(";")
            for survey in (case.base, {**case.base, **case.changes})
        ]
        assert case.code not in codes[0], case.code
        assert case.code in codes[1], case.code


def test_chamber_work_is_a_confined_space(run: Run) -> None:
    """Sealed in the chamber because the wall has no room: confined space, unless proved not."""
    ends = [
        {"seal_from": "neither", "far_end_id": "D2"},
        {"end_id": "D2", "place_kind": "chamber", "place_id": "C1", "building_id": None,
         "seal_from": "chamber", "far_end_id": "D1"},
    ]  # fmt: skip
    for state, is_said in ((None, True), ("yes", True), ("no", False)):
        out = run(policy={"seal_place": "wall or chamber"}, ends=ends,
                  chambers=[{"confined_space": state}])["designs"].set_index("end_id")  # fmt: skip
        assert out.at["D2", "is_needed"]
        assert ("Confined space" in out.at["D2", "cautions"]) == is_said

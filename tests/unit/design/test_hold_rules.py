"""Every rule of holds and changed steps: a row that fires it, its reach and its effect."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.core.contract import FIRM, HELD, HOLDS, PROVISIONAL
from pipeline.design.hold_rules import RULES
from pipeline.tables import Tables

One = Callable[..., dict[str, Any]]
Run = Callable[..., Tables]

CABLES = {"ends": [{"contents": "cables"}]}
OLD = [{"condition": "cracked", "kind": "mortar"}]

# code, reach (house rule), survey that fires it
FIRES: list[tuple[str, str, dict[str, Any]]] = [
    ("contents unknown", "design", {"ends": [{"contents": "not seen"}]}),
    ("contents unknown", "design", {"ends": [{"contents": "silted"}]}),
    ("contents unknown", "design", {"ends": [{"contents": "cables"}]}),
    ("contents unknown", "design", {"ends": [{"contents": None}]}),
    ("contents unknown", "design", {"ends": [{"bore_mm": None}]}),
    ("contents unknown", "design", {"ends": [{"stopped": "bore_mm"}]}),
    ("contents unknown", "design", {"ends": [{"seen": "counted only"}]}),
    ("contents unknown", "design", {"ends": [{"shape": "square"}]}),
    ("contents unknown", "design", {**CABLES, "cables": [{"diameter_mm": None}]}),
    ("contents unknown", "design", {**CABLES, "cables": [{"diameter_mm": 70.0}, {"cable_id": "K2", "diameter_mm": 70.0}]}),
    ("short depth", "design", {"ends": [{"clear_depth_mm": 104.0, "clear_depth_word": None}]}),
    ("no access", "design", {"ends": [{"seal_from": "neither"}]}),
    ("asbestos", "order", {"entries": [{"asbestos_suspect": "yes"}]}),
    ("asbestos", "order", {"ends": [{"material": "asbestos-cement suspect"}]}),
    ("asbestos", "order", {"entries": [{"asbestos_suspect": "unknown"}], "buildings": [{"built_year": 1999}]}),
    ("asbestos", "order", {"entries": [{"asbestos_suspect": None}], "buildings": [{"built_year": None, "asbestos_suspect": None}]}),
    ("asbestos", "order", {"entries": [{"asbestos_suspect": "unknown"}], "ends": [{"material": "unknown"}]}),
    ("asbestos", "order", {"seals": [{"asbestos_suspect": "unknown", "made_year": None}]}),
    ("fire barrier", "order", {"entries": [{"fire_wall": "yes"}]}),
    ("fire barrier", "order", {"entries": [{"fire_wall": None}], "buildings": [{"fire_wall": "unknown"}]}),
    ("fire barrier", "order", {"seals": [{"fire_label": "yes"}]}),
    ("fluid-filled", "order", {**CABLES, "cables": [{"filling": "oil or gas pressure"}]}),
    ("fluid-filled", "order", {**CABLES, "cables": [{"filling": "unknown", "cable_class": "HV"}]}),
    ("fluid-filled", "order", {**CABLES, "cables": [{"filling": None, "cable_class": "unknown"}]}),
    ("gas or water service", "order", {"ends": [{"duct_use": "water or gas pipe"}]}),
    ("wet well", "order", {"chambers": [{"kind": "wet well"}]}),
    ("third party", "order", {"chambers": [{"owner": "other utility"}]}),
    ("third party", "order", {"chambers": [{"owner": None}]}),
    ("third party", "order", {**CABLES, "cables": [{"owner": "another network"}]}),
    ("structure", "order", {"ends": [{"mouth": "broken"}]}),
    ("covering carries water", "order", {**CABLES, "cables": [{"covering": "fibrous wrap"}]}),
    ("covering not tested", "work", {**CABLES, "cables": [{"covering": "unknown"}]}),
    ("covering not tested", "work", {**CABLES, "cables": [{"covering": None}]}),
    ("water possible", "work", {"ends": [{"water_now": "full bore"}]}),
    ("water possible", "work", {"ends": [{"water_now": "not seen"}]}),
    ("water possible", "work", {"ends": [{"contents": "capped"}], "chambers": [{"water_state": "not seen"}]}),
    ("water possible", "work", {"seals": OLD, "chambers": [{"water_state": "standing"}]}),
    ("running water", "work", {"ends": [{"water_now": "run"}]}),
    ("heat", "work", {"ends": [{"contents": "cables", "lie": "floor (up)"}], "cables": [{"cable_class": "HV"}]}),
    ("earth conductor", "work", {**CABLES, "cables": [{"cable_class": "earth"}]}),
    ("draw cord", "work", {"ends": [{"contents": "draw cord only"}]}),
    ("draw cord", "work", {"ends": [{"draw_cord": "yes"}]}),
    ("single core in steel", "work", {"ends": [{"contents": "cables", "material": "steel"}], "cables": [{"cores": "1"}]}),
    ("damaged cable", "work", {**CABLES, "cables": [{"condition": "joint at mouth"}]}),
    ("old seal near live cables", "work", {**CABLES, "cables": [{}], "seals": [{"removal": "power tools"}]}),
    ("separate by leave", "work", {"policy": {"separate_cables": False}, **CABLES, "cables": [{"cable_count": 3, "arrangement": "trefoil", "group_no": 1, "diameter_mm": 33.0}]}),
    ("both ends sealed", "work", {"ends": [{"far_end_id": "D2"}, {"end_id": "D2", "col_no": 2, "far_end_id": "D1"}]}),
]  # fmt: skip
FIRM_OF = {"design": PROVISIONAL, "order": HELD, "work": FIRM, "none": FIRM}


@pytest.mark.parametrize(("code", "reach", "changes"), FIRES)
def test_hold_fires_with_its_reach(
    one: One, code: str, reach: str, changes: dict[str, Any]
) -> None:
    """The rule fires, its words name who releases it, and the row shows at least its reach."""
    row = one(**changes)
    assert code in row["hold_codes"].split(";")
    assert HOLDS.index(row["hold_reach"]) <= HOLDS.index(reach)
    assert next(r for r in RULES if r.code == code).reach == reach
    assert "released by" in row["hold_words"]
    assert row["firmness"] == FIRM_OF[row["hold_reach"]]
    assert row["is_designed"] == (row["hold_reach"] != "design")


def test_every_hold_has_a_row_that_fires_it() -> None:
    """No hold is left without a sample (those of other materials: test_special_cases)."""
    other = {"outside envelope", "covering not compatible"}
    holds = {r.code for r in RULES if r.released_by} - other
    assert holds == {code for code, _, _ in FIRES}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {**CABLES, "cables": [{}]},
        {**CABLES, "cables": [{"cable_class": "HV"}]},
        {"entries": [{"asbestos_suspect": "unknown"}]},  # built 2010, smooth plastic
        {"entries": [{"fire_wall": None}]},  # the building says no
        {"ends": [{"water_now": "damp"}]},
        {"seals": OLD},  # far chamber seen dry
    ],
)
def test_plain_ends_have_no_hold(one: One, changes: dict[str, Any]) -> None:
    """Well-known ends are firm and free: the rules do not fire at everything."""
    row = one(**changes)
    assert row["hold_reach"] == "none"
    assert row["firmness"] == FIRM


def test_widest_reach_wins(one: One) -> None:
    """Work + order holds together: held; with a design hold: provisional."""
    row = one(ends=[{"water_now": "run"}], entries=[{"fire_wall": "yes"}])
    assert (row["hold_reach"], row["firmness"]) == ("order", HELD)
    row = one(ends=[{"water_now": "run", "contents": "not seen"}], entries=[{"fire_wall": "yes"}])
    assert (row["hold_reach"], row["firmness"]) == ("design", PROVISIONAL)


def test_leave_to_take_cords_out_lifts_the_hold(one: One) -> None:
    """With the owner's leave in the settings a draw cord is no hold."""
    end = [{"contents": "draw cord only"}]
    assert one(policy={"cord_out": True}, ends=end)["hold_reach"] == "none"


def test_asbestos_takes_steps_out(one: One) -> None:
    """Suspected asbestos: no step abrades, brushes, cuts or drills; the old seal comes out wetted."""
    row = one(entries=[{"asbestos_suspect": "yes"}], seals=OLD)
    words = row["steps"].lower()
    assert "abrade" not in words
    assert "wipe and dry" in words
    assert "without cutting or drilling" in words
    assert "Abrade" in one()["steps"]  # an empty plastic bore without suspicion is abraded


def test_steps_name_cables_only_where_there_are_some(run: Run, one: One) -> None:
    """An empty bore has nothing to be checked between; one with cables has."""
    empty = one()["steps"]
    assert "free depth all round before sealing" in empty
    assert "press the edge against the bore." in empty
    full = run(cables=[{"cable_class": "HV", "diameter_mm": 30.0}])["designs"].at[0, "steps"]
    assert "all round and between cables before sealing" in full
    assert "press the edge against the bore and cables." in full


def test_live_cables_change_the_steps(run: Run) -> None:
    """Beside cables not proved dead: blunt non-metallic tools, no abrading, no solvent, and the
    items for them are not bought; with proof of dead they are."""
    live = run(**CABLES, cables=[{}])
    steps = live["designs"].at[0, "steps"]
    assert "Blunt non-metallic hand tools" in steps
    assert "Abrade" not in steps
    assert "Degrease" not in steps
    assert not {"degreaser-ml", "abrasive-cloth"} & set(live["pieces"]["item_id"])
    dead = run(**CABLES, cables=[{"dead": "yes, proved"}])
    assert {"degreaser-ml", "abrasive-cloth"} <= set(dead["pieces"]["item_id"])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"entries": [{"outdoors": "yes"}]}, "slope it to shed water"),
        ({"entries": [{"gap_around_duct": "open"}]}, "Close the gap between duct and wall"),
        ({"ends": [{"lie": "roof (down)"}]}, "In two passes"),
        ({"ends": [{"material": "ribbed plastic"}]}, "Fill the ribs"),
        ({"ends": [{"water_now": "run"}]}, "Stop or divert the flow"),
        ({**CABLES, "cables": [{"covering": "fibre tube"}]}, "Close each sub-duct and each tube"),
        ({"seals": OLD}, "Remove the old seal by hand"),
        ({"seals": [{"condition": "sound", "proposal": "over-seal"}]}, "stays behind the new one"),
    ],
)
def test_changed_steps(one: One, changes: dict[str, Any], words: str) -> None:
    """Rules without a hold still change the sheet."""
    assert words in one(**changes)["steps"]


def test_less_knowledge_never_frees(one: One) -> None:
    """Blanking a value that decides a hold never narrows the reach (law 1 and 3)."""
    known = one(**CABLES, cables=[{}])
    order = list(HOLDS)
    for changes in (
        {"ends": [{"contents": "cables", "water_now": None}]},
        {"ends": [{"contents": None}]},
        {"ends": [{"contents": "cables", "material": None}]},
        {"entries": [{"asbestos_suspect": None, "fire_wall": None}],
         "buildings": [{"asbestos_suspect": None, "fire_wall": None, "built_year": None}]},
        {"cables": [{"filling": None, "cable_class": None}]},
        {"cables": [{"dead": None}]},
        {"chambers": [{"owner": None}]},
    ):  # fmt: skip
        row = one(**{**CABLES, "cables": [{}], **changes})
        assert row["is_needed"]
        assert order.index(row["hold_reach"]) <= order.index(known["hold_reach"]), changes


def test_no_verdict_of_safety(run: Run) -> None:
    """No text of any rule or sheet calls anything safe; cautions defer to local rules."""
    out = run(**CABLES, cables=[{"filling": None, "cable_class": "HV"}])["designs"].iloc[0]
    for words in (out["steps"], out["cautions"], out["hold_words"]):
        assert "safe" not in words.lower().replace("unsafe", "")
    assert "Local codes, permits and the owner's rules decide" in out["cautions"]
    assert "example materials: no head rating, not for work" in out["cautions"].lower()

"""The stage as a whole: rows out for rows in, quantities by hand, holds, firmness."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.core.hold_words import ENVELOPE, holds_in
from pipeline.core.materials import Materials
from pipeline.tables import Tables

One = Callable[..., dict[str, Any]]
Run = Callable[..., Tables]


def test_blank_bore_by_hand(one: One) -> None:
    """A blank 125 mm bore under 1.5 m: head, layer terms and ml worked by hand.

    p = 9.81 x 1.5 = 14.715 kPa, x 1.5 = 22.0725. Shear 110 kPa: 22.0725 x 62.5 / 2 / 110 = 6.27
    mm. Bending 190 kPa: 62.5 sqrt(0.75 x 22.0725 / 190) = 18.45 mm. Policy 20 mm decides.
    Volume pi/4 x 125^2 x 20 = 245.44 ml (volume of the free area times the layer), x 1.15 = 282.25 ml.
    """
    row = one()
    assert row["is_needed"]
    assert row["design_head_m"] == pytest.approx(1.5)
    assert row["layer_by"] == "policy minimum"
    assert row["layer_mm"] == 20.0
    assert row["sealant_ml"] == pytest.approx(245.4369 * 1.15, abs=0.01)
    assert row["bonded_perimeter_mm"] == pytest.approx(np.pi * 125.0)
    assert row["shear_kpa"] == pytest.approx(14.715 * 62.5 / 2.0 / 20.0)
    assert row["bending_kpa"] == pytest.approx(0.75 * 14.715 * (62.5 / 20.0) ** 2)
    assert row["firmness"] == "firm"
    assert row["hold_reach"] == "none"


def test_bending_decides_under_high_water(one: One) -> None:
    """Under 5 m in a wet bore bending passes the policy minimum.

    p = 49.05 x 1.5 = 73.575 kPa; wet, long: 130 kPa; 62.5 sqrt(0.75 x 73.575 / 130) = 40.72 mm;
    shear 73.575 x 31.25 / 70 = 32.85 mm is less.
    """
    row = one(ends=[{"water_now": "damp"}], reach=[{"rarest_level_m": 15.0}])
    assert row["layer_by"] == "bending"
    assert row["layer_mm"] == pytest.approx(40.72, abs=0.005)


def test_lowest_overflow_raises_the_head(one: One) -> None:
    """Water behind a seal stands up to the lowest cover that the far chamber is joined to."""
    levels = [
        {"thing_kind": "duct end", "thing_id": "D1", "level_m": 10.0, "has_pedigree": True},
        {"thing_kind": "cover", "thing_id": "C1", "level_m": 13.0, "has_pedigree": True},
    ]
    assert one(levels=levels)["design_head_m"] == pytest.approx(3.0)
    chambers = [{}, {"chamber_id": "C2"}]
    link = {
        "link_id": "L1", "kind": "both ends seen", "place_a_id": "C1", "place_b_id": "C2",
        "crest_level_m": 12.2, "is_proved": True, "is_blocked": False,
    }  # fmt: skip
    lower = [*levels, {"thing_kind": "cover", "thing_id": "C2", "level_m": 12.0,
                       "has_pedigree": True}]  # fmt: skip
    # C2's cover lies lower, but water gets there only over a crest of 12.2
    row = one(levels=lower, chambers=chambers, links=[link])
    assert row["design_head_m"] == pytest.approx(2.2)


def test_sea_water_presses_more(one: One) -> None:
    """Sea water counts 1.025 times its height (handbook value)."""
    assert one(reach=[{"mechanism": "sea"}])["design_head_m"] == pytest.approx(1.5 * 1.025)
    # a sea that is not modelled here, or dry here, presses nothing
    far = [{"opening_id": "D1", "source_id": "sea", "mechanism": "sea", "policy_level_m": None}]
    assert one(reach_sources=far)["design_head_m"] == pytest.approx(1.5)


def test_unknown_head_takes_the_highest_of_the_site(run: Run) -> None:
    """An end without level gets the highest known head of its site, stated; never zero."""
    out = run(
        ends=[{}, {"end_id": "D2", "col_no": 2}],
        reach=[{}, {"opening_id": "D2", "end_id": "D2", "opening_level_m": None,
                    "level_class": "no level"}],
    )["designs"].set_index("end_id")  # fmt: skip
    assert out.at["D2", "design_head_m"] == pytest.approx(1.5)
    assert "highest of its site" in out.at["D2", "assumed"]


def test_every_end_has_a_row(run: Run) -> None:
    """Chamber ends, ends above, bare entries and ends not reached all stay in the table."""
    out = run(
        ends=[
            {},
            {"end_id": "D2", "place_kind": "chamber", "place_id": "C1", "building_id": None},
            {"end_id": "D3", "seen": "not reached", "bore_mm": None, "shape": None},
            {"end_id": "D4"},
        ],
        entries=[{}, {"entry_id": "E2", "kind": "slot", "width_mm": 200, "height_mm": 60}],
        reach=[
            {},
            {"opening_id": "D3", "end_id": "D3"},
            {"opening_id": "D4", "end_id": "D4", "level_class": "above"},
            {"opening_id": "E2", "end_id": None, "entry_id": "E2"},
        ],
        cables=[{"end_id": "E2", "cable_id": "K2"}],
    )["designs"].set_index("end_id")
    assert list(out.index) == ["D1", "D2", "D3", "D4", "E2"]
    assert out["is_needed"].tolist() == [True, False, True, False, True]
    assert "sealed at the wall" in out.at["D2", "need_reason"]
    assert out.at["D3", "firmness"] == "provisional"
    assert out.at["E2", "is_designed"]
    # 200 x 60 less one 36 mm cable: 12000 - 1017.88 mm2
    assert out.at["E2", "free_area_mm2"] == pytest.approx(12000.0 - 1017.876, abs=0.01)


def test_provisional_quantities_come_from_the_same_wall(run: Run) -> None:
    """Mean and P90 of three seen ends of the wall; another wall does not count.

    Blank bores 90, 118, 125 mm: pi/4 d^2 x 20 x 1.15 = 146.32, 251.53, 282.25 ml; mean 226.70;
    P90 by linear interpolation between the 2nd and 3rd: 251.53 + 0.8 x 30.72 = 276.11.
    """
    sizes = {"D1": 90.0, "D2": 118.0, "D3": 125.0}
    ends: list[dict[str, Any]] = [{"end_id": k, "bore_mm": v} for k, v in sizes.items()]
    ends += [
        {"end_id": "D4", "seen": "counted only", "bore_mm": None},
        {"end_id": "D5", "bore_mm": 40.0, "face": "B"},
    ]
    out = run(ends=ends)
    row = out["designs"].set_index("end_id").loc["D4"]
    assert row["sealant_ml"] == pytest.approx(226.70, abs=0.02)
    assert row["sealant_p90_ml"] == pytest.approx(276.11, abs=0.02)
    assert "3 seen ends of the same wall" in row["assumed"]
    pieces = out["pieces"].query("end_id == 'D4'").set_index("item_id")
    assert pieces.at["sealant-310", "quantity"] == pytest.approx(row["sealant_ml"])
    assert pieces.at["label", "quantity"] == 1.0
    assert set(pieces["firmness"]) == {"provisional"}
    assert "D4" not in set(out["placements"]["end_id"])


def _spare(words: object) -> dict[str, int]:
    """Sleeves beyond the drawing by item id, from the words of the table ('2 x 10 mm, ...')."""
    found = re.findall(r"(\d+) x (\d+) mm", str(words))
    return {f"sleeve-{size}": int(count) for count, size in found}


@pytest.mark.parametrize("may_separate", [True, False])
def test_the_larger_count_of_both_arrangements_is_bought(run: Run, may_separate: bool) -> None:
    """By size, pieces are the larger of the counts drawn with and without leave to move cables."""
    cables = [{"cable_id": f"K{i}", "diameter_mm": 33.0} for i in range(3)]
    ends = [{"bore_mm": 138.0, "contents": "cables"}]
    sleeves = []
    for leave in (True, False):
        out = run(ends=ends, cables=cables, policy={"separate_cables": leave})
        rows = out["placements"].query("kind == 'sleeve'")
        sleeves.append(rows["item_id"].value_counts().to_dict())
        if leave == may_separate:
            bought = out["pieces"].set_index("item_id")["quantity"].to_dict()
    separated, as_found = sleeves
    wanted = as_found | {
        item: max(count, as_found.get(item, 0)) for item, count in separated.items()
    }
    wanted = wanted if may_separate else as_found
    assert {i: n for i, n in bought.items() if i.startswith("sleeve")} == wanted
    assert separated != as_found


def test_pieces_follow_the_drawing(run: Run) -> None:
    """Sleeves, collars and sealant in `pieces` are those of `placements` and `designs`.

    Where the cables as found leave room for more sleeves of a size, these are counted on top.
    """
    out = run(
        ends=[{"bore_mm": 138.0, "contents": "cables"}],
        cables=[
            {"arrangement": "trefoil", "cable_count": 3, "group_no": 1},
            {"cable_id": "K2", "diameter_mm": 14.0},
        ],
    )
    drawn = out["placements"].query("kind != 'cable'")["item_id"].value_counts().to_dict()
    pieces = out["pieces"].set_index("item_id")["quantity"].to_dict()
    spare = _spare(out["designs"].iloc[0]["sleeves_spare_words"])
    for item, count in drawn.items():
        assert pieces[item] == count + spare.get(item, 0)
    assert drawn["collar-20"] == 1  # bore 20 - 2 x (0.8 + 1.2) = 16 mm takes 14 mm; 11.6 does not
    row = out["designs"].iloc[0]
    assert pieces["sealant-310"] == pytest.approx(row["sealant_ml"])
    assert row["sleeves_count"] == sum(n for i, n in drawn.items() if i.startswith("sleeve"))
    # 3 x 36 and 1 x 14 in 138: pi/4 (138^2 - 3 x 36^2 - 14^2) = 11749.56 mm2, by hand
    assert row["free_area_mm2"] == pytest.approx(11749.556, abs=0.01)


def test_allowances_apply_only_where_they_belong(one: One) -> None:
    """Ribbed, judged and outdoor allowances join waste and penetration only at such ends."""
    assert one()["allowance_frac"] == pytest.approx(0.15)
    ribbed = one(ends=[{"material": "ribbed plastic", "bore_method": "judged"}])
    assert ribbed["allowance_frac"] == pytest.approx(0.15 + 0.12 + 0.08)
    outdoors = one(entries=[{"outdoors": "yes"}])
    assert outdoors["allowance_frac"] == pytest.approx(0.19)


def test_floor_mouth_takes_twice_the_filler(run: Run) -> None:
    """A mouth in the floor takes two lengths of filler: twice the sleeves, 80 mm more depth."""
    flat, floor = run(), run(ends=[{"lie": "floor (up)"}])
    a, b = flat["designs"].iloc[0], floor["designs"].iloc[0]
    assert b["sleeves_count"] == 2 * a["sleeves_count"]
    assert b["depth_needed_mm"] == a["depth_needed_mm"] + 80.0


def test_short_depth_is_a_design_hold_with_a_finding(run: Run) -> None:
    """60 mm free where 105 are needed (5 + 20 + 80): no seal drawn, question duct-19."""
    out = run(
        ends=[{"clear_depth_mm": 60.0, "clear_depth_word": None}],
        columns=[{"file": "s.xlsx", "sheet": "ducts", "table": "ends",
                  "house_name": "clear_depth_mm", "heading": "clear", "letter": "X"}],
    )  # fmt: skip
    row = out["designs"].iloc[0]
    assert (row["hold_reach"], row["firmness"]) == ("design", "provisional")
    assert row["depth_needed_mm"] == 105.0
    assert not row["is_designed"]
    finding = out["findings"].query("code == 'duct-19'").iloc[0]
    assert (finding["cell"], finding["as_read"]) == ("X7", "60")
    assert "60" in finding["message"]
    assert "105" in finding["message"]


def test_not_probed_is_designed(one: One) -> None:
    """Depth not probed: designed, and the sheet says to prove it on site."""
    row = one(ends=[{"clear_depth_word": "not probed"}])
    assert row["is_designed"]
    assert "Prove the free depth on site" in row["steps"]


def test_envelope_holds_what_lies_outside(run: Run, materials: Materials) -> None:
    """6 m of head lies outside 5 m: a design hold, with invented materials too.

    A head that had to be assumed proves nothing for real materials; invented ones prove nothing
    anyhow, and the run goes on with the assumed one.
    """
    high = [{"rarest_level_m": 16.0}]
    row = run(reach=high)["designs"].iloc[0]
    assert row["hold_reach"] == "design"
    assert "head 6.000 m over 5 m" in row["hold_words"]
    nothing_known = [{"rarest_level_m": None, "policy_level_m": None}]
    assert run(reach=nothing_known)["designs"].at[0, "hold_reach"] == "none"
    about = materials.about.model_copy(update={"example": False, "certificate": "T 1"})
    real = materials.model_copy(update={"about": about})
    row = run(stuff=real, reach=high)["designs"].iloc[0]
    assert row["hold_reach"] == "design"
    assert "head 6.000 m over 5 m" in row["hold_words"]
    unknown = run(stuff=real, reach=[{"rarest_level_m": None, "policy_level_m": None}],
                  levels=[{"thing_id": "D1", "level_m": 10.0}])  # fmt: skip
    assert "head not known" in unknown["designs"].at[0, "hold_words"]


def test_chamber_end_instead_of_the_wall(run: Run) -> None:
    """With leave to seal in chambers, a duct without room at the wall moves; never both ends."""
    ends = [
        {"clear_depth_mm": 30.0, "clear_depth_word": None, "far_end_id": "D2"},
        {"end_id": "D2", "place_kind": "chamber", "place_id": "C1", "building_id": None,
         "seal_from": "both", "far_end_id": "D1"},
    ]  # fmt: skip
    wall = run(ends=ends)["designs"].set_index("end_id")
    assert wall["is_needed"].tolist() == [True, False]
    assert wall.at["D1", "hold_reach"] == "design"
    moved = run(policy={"seal_place": "wall or chamber"}, ends=ends)["designs"].set_index("end_id")
    assert moved["is_needed"].tolist() == [False, True]
    assert moved.at["D2", "seal_from"] == "chamber"
    assert "confined space" in moved.at["D2", "cautions"].lower()


def test_kept_seal_needs_nothing(one: One) -> None:
    """A seal inspected within the policy age, sound, dry and rated for the head is kept."""
    good = {"condition": "sound", "water_passing": "none", "inspected_on": "2027-06-01",
            "rated_head_m": 1.5}  # fmt: skip
    assert not one(seals=[good])["is_needed"]
    for change in (
        {"inspected_on": "2025-05-01"},  # older than five years
        {"inspected_on": "2030-06-02"},  # after the planning date
        {"rated_head_m": 1.499},
        {"rated_head_m": None},
        {"condition": "weeping"},
        {"water_passing": "not seen"},
    ):
        assert one(seals=[{**good, **change}])["is_needed"], change


def test_row_order_does_not_matter(run: Run) -> None:
    """Shuffled rows give the same tables."""
    ends = [{"end_id": f"D{i}", "bore_mm": 90.0 + i, "contents": "cables"} for i in range(1, 6)]
    cables = [
        {"cable_id": f"K{i}", "end_id": f"D{i}", "diameter_mm": 20.0 + i} for i in range(1, 6)
    ]
    one_way = run(ends=ends, cables=cables)
    other = run(ends=ends[::-1], cables=cables[::-1])
    for name in ("designs", "placements", "pieces"):
        pd.testing.assert_frame_equal(one_way[name], other[name])


def test_water_behind_a_cap_is_asked_once(run: Run) -> None:
    """A capped mouth with a wet far chamber: question duct-20 with the head; none for unseen ends."""
    out = run(
        ends=[
            {"contents": "capped"},
            {"end_id": "D2", "col_no": 2, "seen": "counted only", "contents": None,
             "water_now": None},
        ],
        chambers=[{"water_state": "standing"}],
    )  # fmt: skip
    asked = out["findings"].query("code == 'duct-20'")
    assert asked["key"].tolist() == ["ducts/D1"]
    assert "1.50 m" in asked.iloc[0]["message"]
    assert asked.iloc[0]["column"] == "contents"


def test_an_assumed_head_outside_the_envelope_asks_for_the_level_first(run: Run) -> None:
    """6.0 m by hand at D1 (16.0 over 10.0), taken over by D2 without a level: the hold says so."""
    out = run(
        ends=[{}, {"end_id": "D2", "col_no": 2}],
        reach=[{"rarest_level_m": 16.0}, {"opening_id": "D2", "end_id": "D2",
               "opening_level_m": None, "level_class": "no level"}],
    )["designs"].set_index("end_id")  # fmt: skip
    assumed = "assumed: its own level is missing, so the highest head of its site is taken"
    assert out.at["D2", "head_from"] == assumed
    assert f"(head {assumed}: measure its level first)" in out.at["D2", "hold_words"]
    assert "measure" not in out.at["D1", "hold_words"]
    (hold,) = [h for h in holds_in(out.at["D2", "hold_words"]) if h.what.startswith(ENVELOPE)]
    assert hold.released_by == "the owner's engineer"
    assert hold.asked.startswith("whether a seal outside the tested figures may stand")
    assert "head 6.000 m over" in hold.asked

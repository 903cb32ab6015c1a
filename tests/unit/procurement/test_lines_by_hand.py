"""Needs, order lines and dates worked by hand on a small set of crew days."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.buying import Buying, Lot, Price
from pipeline.core.buying import load as load_buying
from pipeline.core.materials import Materials
from pipeline.core.materials import load as load_materials
from pipeline.core.settings import Settings
from pipeline.procurement import procurement
from pipeline.procurement.dates import window
from pipeline.procurement.risks import open_risks
from pipeline.tables import REGISTRY, Tables, hand_over
from pipeline.tables.spec import conform

_ROOT = Path(__file__).parents[3]
# end -> (site, day, ml of sealant, firmness); two days in May, one in June, all of region North
_ENDS: dict[str, tuple[str, str, float, str]] = {
    "E1": ("S1", "2026-05-05", 300.0, "firm"),
    "E2": ("S1", "2026-05-05", 200.0, "firm"),
    "E3": ("S2", "2026-05-06", 310.0, "firm"),
    "E4": ("S2", "2026-06-02", 100.0, "firm"),
    "E5": ("S1", "", 250.0, "held"),
    "E6": ("S2", "", 150.0, "provisional"),
    "E7": ("S2", "", 999.0, "held"),  # not in a chosen package
}


@pytest.fixture(scope="module")
def settings() -> Settings:
    """Buffer 5 days, transport 2 days, planning date 2 March 2026 (clean sample)."""
    return settings_file.load(_ROOT / "configs" / "clean.toml")


@pytest.fixture(scope="module")
def materials(settings: Settings) -> Materials:
    """Example materials: cartridge of 310 ml, 5 % spare labels, one spare cartridge a crew-day."""
    return load_materials(settings.design.materials)


@pytest.fixture(scope="module")
def buying(settings: Settings) -> Buying:
    """Example buyer's tables without any stock."""
    full = load_buying(settings)
    return Buying(
        full.items, full.prices, full.suppliers, full.depots, stock=(), calendar=full.calendar
    )


def _frame(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return conform(REGISTRY[name], pd.DataFrame(rows), stage="test")


def _tables() -> Tables:
    days: dict[tuple[str, str], list[str]] = {}
    for end, (site, day, _ml, _firm) in _ENDS.items():
        if day:
            days.setdefault((day, site), []).append(end)
    dates = sorted({d for d, _ in days})
    designs, pieces = [], []
    for end, (site, _day, ml, firmness) in _ENDS.items():
        hold = {"held": "order", "provisional": "design"}.get(firmness, "none")
        designs.append(
            {
                "end_id": end, "site_id": site, "building_id": f"{site}-B", "region": "North",
                "is_needed": True, "need_reason": "test", "is_designed": firmness != "provisional",
                "not_designed_reason": "not seen" if firmness == "provisional" else None,
                "hold_reach": hold, "hold_words": "asbestos" if firmness == "held" else None,
                "firmness": firmness, "hours_h": 1.0, "sealant_ml": ml,
            }
        )  # fmt: skip
        more = 1.4 if firmness == "provisional" else 1.0
        pieces += [
            {
                "end_id": end, "item_id": item, "counted_by": by, "quantity": quantity,
                "quantity_p90": quantity * more, "unit": unit, "firmness": firmness,
            }
            for item, by, quantity, unit in (
                ("sealant-310", "crew-day", ml, "ml"),
                ("label", "end", 1.0, "piece"),
            )
        ]  # fmt: skip
    chosen = {"S1": "E1;E2;E5", "S2": "E3;E4;E6"}
    return {
        "crew_days": _frame(
            "crew_days",
            [
                {
                    "region": "North", "day_no": dates.index(day) + 1, "work_date": day,
                    "site_id": site, "building_ids": f"{site}-B", "end_ids": ";".join(ends),
                    "stop_words": "no flood warning",
                }
                for (day, site), ends in days.items()
            ],
        ),
        "designs": _frame("designs", designs),
        "pieces": _frame("pieces", pieces),
        "packages": _frame(
            "packages",
            [
                {
                    "package_id": f"{s}-B/1", "building_id": f"{s}-B", "site_id": s,
                    "region": "North", "step_no": 1, "end_ids": ends, "gain": "benefit",
                    "held_count": 1, "ends_count": 3,
                }
                for s, ends in chosen.items()
            ],
        ),
        "choices": _frame(
            "choices",
            [
                {
                    "building_id": f"{s}-B", "site_id": s, "region": "North", "is_chosen": True,
                    "package_id": f"{s}-B/1", "reason": "test",
                }
                for s in chosen
            ],
        ),
    }  # fmt: skip


def _run(settings: Settings, materials: Materials, buying: Buying) -> Tables:
    made = procurement(_tables(), settings, materials=materials, buying=buying)
    return hand_over("procurement", made)


def _line(tables: Tables, item: str, month: str) -> dict[str, Any]:
    lines = tables["order_lines"]
    (row,) = lines[(lines["item_id"] == item) & (lines["month"] == month)].to_dict("records")
    return dict(row)


def test_cartridges_are_opened_by_the_day(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """By hand: 5 May 500 ml = 2 cartridges, 6 May 310 ml = 1; + 1 spare a day = 5 in May.

    June: 100 ml = 1, + 1 = 2. Rounding each end up would need 4 in May, one pool 3 (810 ml).
    """
    tables = _run(settings, materials, buying)
    may, june = (_line(tables, "sealant-310", m) for m in ("2026-05", "2026-06"))
    assert (may["need_firm"], may["spare"], may["pieces_needed_count"]) == (930.0, 620.0, 5)
    assert (june["need_firm"], june["spare"], june["pieces_needed_count"]) == (310.0, 310.0, 2)


def test_firm_provisional_and_held_never_mix(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """Held 250 ml and provisional 150 (P90 210) ml stand in their own columns, unbought."""
    may = _line(_run(settings, materials, buying), "sealant-310", "2026-05")
    assert may["need_held"] == 250.0  # E7 is in no chosen package
    assert (may["need_provisional"], may["need_provisional_p90"]) == (150.0, pytest.approx(210.0))
    assert may["pieces_needed_count"] == 5


def test_later_steps_stand_apart(settings: Settings, materials: Materials, buying: Buying) -> None:
    """S2 has a second step that is not chosen, with E7: its 999 ml are no need of the chosen work."""
    plan = _tables()
    ladder = pd.DataFrame(plan["packages"])
    later = ladder[ladder["site_id"] == "S2"].assign(
        package_id="S2-B/2", step_no=2, end_ids="E3;E4;E6;E7"
    )
    plan["packages"] = pd.concat([ladder, later], ignore_index=True)
    made = hand_over("procurement", procurement(plan, settings, materials=materials, buying=buying))
    may = _line(made, "sealant-310", "2026-05")
    assert (may["need_held"], may["need_held_later"]) == (250.0, 999.0)
    assert (may["need_provisional"], may["need_provisional_later"]) == (150.0, 0.0)
    waits = made["needs"][made["needs"]["firmness"] != "firm"]
    assert dict(zip(waits["end_ids"], waits["belongs_to"], strict=True)) == {
        "E5": "chosen package", "E6": "chosen package", "E7": "later step",
    }  # fmt: skip
    risks = made["open_risks"].set_index("subject")["risk"]
    assert risks["E5"].startswith("held in the chosen package")
    assert risks["E7"].startswith("held in a step that is not chosen")


def test_labels_by_end_with_their_spare(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """May: 3 labels + 5 % = 3.15 -> 4 pieces; one pack of 100 serves June too."""
    tables = _run(settings, materials, buying)
    may, june = (_line(tables, "label", m) for m in ("2026-05", "2026-06"))
    assert (may["pieces_needed_count"], may["packs_count"], may["surplus_count"]) == (4, 1, 96)
    assert (june["pieces_needed_count"], june["stock_used_count"]) == (2, 2)
    assert (june["packs_count"], june["line_minor"]) == (0, 0)


def test_counting_levels_are_kept_apart(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """Gloves L: 2 pairs x 2 people x 2 days in May; bags: 2 a site; gun: one a crew + one spare."""
    tables = _run(settings, materials, buying)
    assert _line(tables, "gloves-l", "2026-05")["need_firm"] == 2 * 2 * 2
    assert _line(tables, "waste-bag", "2026-05")["need_firm"] == 2 * 2
    gun = _line(tables, "gun", "2026-05")
    assert (gun["need_firm"], gun["spare"], gun["pieces_needed_count"]) == (1, 1, 2)
    levels = tables["needs"].groupby("item_id")["counted_by"].agg(set)
    assert levels["gloves-l"] == {"crew-day"}
    assert levels["waste-bag"] == {"site"}
    assert levels["spare-kit"] == {"region"}


def test_bill_equals_the_sum_of_its_parts(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """Needs add up to lines, pieces to packs, packs x price to money, for every line."""
    tables = _run(settings, materials, buying)
    needs = tables["needs"]
    for row in tables["order_lines"].to_dict("records"):
        mine = needs[(needs["item_id"] == row["item_id"]) & (needs["month"] == row["month"])]
        for firmness in ("firm", "provisional", "held"):
            total = mine.loc[mine["firmness"] == firmness, "quantity"].sum()
            assert row[f"need_{firmness}"] == pytest.approx(total)
        pieces = math.ceil(round((row["need_firm"] + row["spare"]) / row["unit_per_piece"], 9))
        assert row["pieces_needed_count"] == pieces
        assert row["pieces_net_count"] == pieces - row["stock_used_count"]
        assert row["pieces_ordered_count"] == row["packs_count"] * row["pack_size_count"]
        assert row["surplus_count"] == row["pieces_ordered_count"] - row["pieces_net_count"]
        assert row["line_minor"] == row["packs_count"] * row["pack_price_minor"]


def test_first_expired_first_out(settings: Settings, materials: Materials, buying: Buying) -> None:
    """Lots: 2 dead before use, 3 until 20 May, 4 without end: May takes 3 + 2, June the last 2."""
    lots = (
        Lot("D-N", "sealant-310", "old", 2, dt.date(2026, 5, 1)),
        Lot("D-N", "sealant-310", "young", 4, None),
        Lot("D-N", "sealant-310", "middle", 3, dt.date(2026, 5, 20)),
        Lot("D-S", "sealant-310", "other depot", 50, None),
    )
    stocked = Buying(
        buying.items, buying.prices, buying.suppliers, buying.depots, lots, buying.calendar
    )
    tables = _run(settings, materials, stocked)
    may, june = (_line(tables, "sealant-310", m) for m in ("2026-05", "2026-06"))
    assert (may["stock_used_count"], may["pieces_net_count"]) == (5, 0)
    assert (june["stock_used_count"], june["pieces_net_count"]) == (2, 0)


def _offer(buying: Buying, supplier: str) -> Price:
    return next(p for p in buying.offers("sealant-310") if p.supplier_id == supplier)


def test_latest_order_date_by_hand(settings: Settings, buying: Buying) -> None:
    """First use Tue 5 May 2026, transport 2 days -> Sun 3 -> Fri 1 May at the depot.

    Supplier Two, 10 working days from the order: from Fri 1 May back over 30, 29, 28, 27, 24, 23,
    22, 21, 20, 17 April (no holiday between); 5 days of buffer -> Sun 12 -> Fri 10 April.
    """
    use = dt.date(2026, 5, 5)
    got = window(_offer(buying, "S2"), use, use, depot_id="D-N", buying=buying, settings=settings)
    assert (got.need_by, got.latest) == (dt.date(2026, 5, 1), dt.date(2026, 4, 10))


def test_confirmation_and_holidays_count(settings: Settings, buying: Buying) -> None:
    """Supplier One: 15 working days from confirmation + 3 to confirm = 18 back from Fri 1 May.

    April 30 29 28 27 24 23 22 21 20 17 16 15 14 13 10 9 8 7 -> Tue 7 April; 5 days of buffer ->
    Thu 2 April, which is open (Fri 3 and Mon 6 are not).
    """
    use = dt.date(2026, 5, 5)
    got = window(_offer(buying, "S1"), use, use, depot_id="D-N", buying=buying, settings=settings)
    assert got.latest == dt.date(2026, 4, 2)


def test_clash_of_lead_time_and_shelf_life_is_shown(settings: Settings, buying: Buying) -> None:
    """Used from 5 May to 30 November, living 180 days: earliest 3 June + 5 = 8 June > 10 April."""
    got = window(
        _offer(buying, "S2"),
        dt.date(2026, 5, 5),
        dt.date(2026, 11, 30),
        depot_id="D-N",
        buying=buying,
        settings=settings,
    )
    assert got.earliest == dt.date(2026, 6, 8)
    assert "split the delivery" in got.clash


def test_a_price_that_has_ended_is_not_used(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """Without a valid price nothing is bought for nothing: money blank, and an open risk says why."""
    ended = tuple(p for p in buying.prices if p.item_id != "label")
    none = Buying(buying.items, ended, buying.suppliers, buying.depots, (), buying.calendar)
    tables = _run(settings, materials, none)
    may = _line(tables, "label", "2026-05")
    assert pd.isna(may["line_minor"])
    risks = tables["open_risks"]
    assert "label 2026-05" in set(risks.loc[risks["risk"] == "no price", "subject"])


def test_open_risks_name_held_and_unseen_ends(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """Each waiting end of the chosen packages stands in the list with its reason."""
    risks = _run(settings, materials, buying)["open_risks"].set_index("subject")
    assert risks.at["E5", "words"] == "asbestos"
    assert risks.at["E6", "words"] == "not seen"
    assert "E7" not in risks.index


def test_two_part_sealant_pools_within_its_pot_life(
    settings: Settings, materials: Materials, buying: Buying
) -> None:
    """E1 300 ml, E2 10 ml, one hour each: one pack when both fit the pot life, two when not."""
    tables = _tables()
    pieces = tables["pieces"].copy()
    is_e2 = (pieces["end_id"] == "E2") & (pieces["item_id"] == "sealant-310")
    pieces.loc[is_e2, "quantity"] = 10.0
    tables["pieces"] = pieces
    for pot_life_min, packs in ((60.0, 2 + 1), (120.0, 1 + 1)):  # + one on the second day
        sealant = materials.sealant.model_copy(
            update={"parts": "two", "pot_life_min": pot_life_min}
        )
        two = materials.model_copy(update={"sealant": sealant})
        made = hand_over("procurement", procurement(tables, settings, materials=two, buying=buying))
        assert _line(made, "sealant-310", "2026-05")["need_firm"] == packs * 310.0


def test_a_release_that_is_waited_for_says_why() -> None:
    """Open risks of a building left out: the ends of one hold together, with its words."""
    designs = [
        {"end_id": f"E{i}", "hold_reach": reach, "hold_words": words, "sealant_ml": 100.0,
         "firmness": "held", "not_designed_reason": None, "region": "North"}
        for i, (reach, words) in enumerate(
            (("design", "head 3 m over 2.2 m"), ("design", "head 3 m over 2.2 m"),
             ("order", "asbestos"), ("work", "running water")), start=1)
    ]  # fmt: skip
    tables = {
        "designs": pd.DataFrame(designs),
        "choices": pd.DataFrame([{"building_id": "B1", "is_chosen": False, "package_id": None,
                                  "region": None}]),
        "packages": pd.DataFrame([{"package_id": "B1/1", "building_id": "B1", "region": "North",
                                   "step_no": 1, "end_ids": "E1;E2;E3;E4", "ends_count": 4,
                                   "held_count": 3, "assumed": None, "hold": None}]),
    }  # fmt: skip
    (row,) = open_risks(tables, pd.DataFrame()).to_dict("records")
    assert row["words"] == (
        "3 of 4 ends held; no gain known yet; E1, E2 held: head 3 m over 2.2 m; E3 held: asbestos"
    )

"""The stage `records`: states, lots, sample and as built, on the smallest tables that show them."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pandas as pd
import pytest

from pipeline.core.onsets import building_onsets
from pipeline.core.record_sheets import STATES
from pipeline.records.as_built import as_built_rows
from pipeline.records.lots import lot_rows
from pipeline.records.sample import draw
from pipeline.records.with_holds import findings_of_holds
from pipeline.tables import Tables, blank

NAMES = (
    "sealed_ends", "installs", "inspections", "releases", "cable_changes", "orders_placed",
    "kits_packed", "designs", "reach", "reach_sources", "onsets_found", "columns",
)  # fmt: skip
ROW = {"file": "r.xlsx", "sheet": "installs", "row": 2, "is_used": True}


def tables_of(**rows: list[dict[str, Any]]) -> Tables:
    """Blank tables with the given rows laid in."""
    return {n: pd.DataFrame(rows[n]) if n in rows else blank(n) for n in NAMES}


def sealed(end: str, **more: Any) -> dict[str, Any]:
    """An accepted seal that stands."""
    return {"end_id": end, "install_id": f"I-{end}", "is_closed": True, "is_changed": False,
            "sealed_on": "2030-01-01", **more}  # fmt: skip


def design_of(end: str, **more: Any) -> dict[str, Any]:
    """An end of building B1."""
    return {"end_id": end, "building_id": "B1", "site_id": "S1", "region": "North",
            "is_needed": False, "standing_codes": None, "lifted_codes": None, **more}  # fmt: skip


def test_a_package_is_complete_when_all_that_was_ordered_is_accepted() -> None:
    """Two ends ordered: one accepted leaves it open; both accepted complete it; a third does not count."""
    order = [{**ROW, "sheet": "orders_placed", "end_ids": "D1;D2", "order_date": "2029-12-01"}]
    ends = [design_of("D1"), design_of("D2", is_needed=True), design_of("D3", is_needed=True)]
    half = as_built_rows(tables_of(orders_placed=order, designs=ends, sealed_ends=[sealed("D1")]))
    assert [(r["is_complete"], r["open_ids"]) for r in half] == [(False, "D2")]
    both = as_built_rows(
        tables_of(orders_placed=order, designs=ends, sealed_ends=[sealed("D1"), sealed("D2")])
    )
    assert [(r["is_complete"], r["package_ends_count"]) for r in both] == [(True, 2)]


def test_without_an_order_every_needed_end_belongs_to_the_package() -> None:
    """Nothing is certified on less than all ends that are still to be sealed."""
    ends = [design_of("D1"), design_of("D2", is_needed=True)]
    rows = as_built_rows(tables_of(designs=ends, sealed_ends=[sealed("D1")]))
    assert [(r["is_complete"], r["open_ids"]) for r in rows] == [(False, "D2")]


@pytest.mark.parametrize(
    ("end", "seal"),
    [({"standing_codes": "asbestos"}, {}), ({}, {"is_closed": False})],
)
def test_a_standing_hold_or_an_open_seal_certifies_nothing(
    end: dict[str, Any], seal: dict[str, Any]
) -> None:
    """A seal under a hold that nobody lifted, or one that does not stand: not complete."""
    rows = as_built_rows(
        tables_of(designs=[design_of("D1", **end)], sealed_ends=[sealed("D1", **seal)])
    )
    assert [r["is_complete"] for r in rows] == [False]


def test_onset_of_a_building_by_hand() -> None:
    """River 1 % and 2 % at two openings, sea 5 % at one: 1 - 0.98 x 0.95; the gate is the second.

    The second opening alone: 1 - 0.98 x 0.95 = 0.069; the first 0.01.
    """
    base = {"building_id": "B1", "opening_kind": "duct end", "opening_level_m": 9.0}
    reach = pd.DataFrame(
        [
            {**base, "opening_id": "D1", "let_in_level_m": 10.0, "onset_chance_per_year": 0.01},
            {**base, "opening_id": "D2", "let_in_level_m": 11.0, "onset_chance_per_year": 0.069},
            {**base, "opening_id": "D3", "let_in_level_m": None, "onset_chance_per_year": None},
        ]
    )
    sources = pd.DataFrame(
        [
            {"opening_id": "D1", "mechanism": "river", "chance_per_year": 0.01},
            {"opening_id": "D2", "mechanism": "river", "chance_per_year": 0.02},
            {"opening_id": "D2", "mechanism": "sea", "chance_per_year": 0.05},
            {"opening_id": "D3", "mechanism": "river", "chance_per_year": None},
        ]
    )
    row = building_onsets(reach, sources).iloc[0]
    assert row["chance_per_year"] == pytest.approx(1 - 0.98 * 0.95, abs=1e-12)
    assert (row["gate_id"], row["level_m"], row["unknown_count"]) == ("D2", 11.0, 1)


def test_a_lot_is_traced_to_every_end_it_is_in() -> None:
    """Two lots in one record, one of them in another end too; unknown lots stand by name."""
    rows = [
        {**ROW, "install_id": "I1", "end_id": "D1", "lot": "L1; L2", "expires_on": "2030-12-31",
         "seal_date": "2030-01-01"},
        {**ROW, "install_id": "I2", "end_id": "D2", "lot": "L2", "expires_on": "2029-12-31",
         "seal_date": "2030-01-01"},
        {**ROW, "install_id": "I3", "end_id": "D3", "lot": None, "expires_on": None,
         "seal_date": "2030-01-01"},
    ]  # fmt: skip
    found = lot_rows(tables_of(installs=rows, designs=[design_of("D1")]))
    by_lot = {(r["lot"], r["end_id"]): r["is_expired"] for r in found}
    assert by_lot == {
        ("L1", "D1"): False, ("L2", "D1"): False, ("L2", "D2"): True, ("not known", "D3"): True,
    }  # fmt: skip


def test_a_release_that_lifts_nothing_and_a_seal_under_a_hold_are_told() -> None:
    """record-13 and record-20; neither where the release lifts and no hold stands."""
    release = {**ROW, "sheet": "releases", "release_id": "R1", "end_id": "D1", "hold": "asbestos",
               "building_id": None, "site_id": None, "is_in_force": True}  # fmt: skip
    install = {**ROW, "install_id": "I-D2", "end_id": "D2"}
    ends = [design_of("D1", is_needed=True), design_of("D2", standing_codes="asbestos")]
    given = {"releases": [release], "installs": [install], "sealed_ends": [sealed("D2")]}
    found = findings_of_holds(tables_of(designs=ends, **given))
    assert [f.code for f in found] == ["record-13", "record-20"]
    assert all("{" not in f.message for f in found)
    lifted = [design_of("D1", is_needed=True, lifted_codes="asbestos"), design_of("D2")]
    assert findings_of_holds(tables_of(designs=lifted, **given)) == []


def test_the_draw_is_the_same_whatever_the_order() -> None:
    """Same seed, same sample; another seed another one; never more than asked for."""
    weights = {f"D{i}": 1.0 + i % 4 for i in range(40)}
    one = draw(weights, 8, 1)
    assert draw(dict(reversed(weights.items())), 8, 1) == one
    assert len(one) == 8
    assert draw(weights, 8, 2) != one
    assert draw(weights, 100, 1) == set(weights)


def test_hard_ends_are_drawn_as_often_as_their_weight_says() -> None:
    """One of two with weights 3 and 1: three draws in four, over 4,000 seeds.

    The first draw of weighted sampling takes each with weight / sum of weights (definition of the
    method); 3/4 of 4,000 has a standard deviation of 27.4, five of them are allowed.
    """
    counts = Counter(next(iter(draw({"hard": 3.0, "easy": 1.0}, 1, seed))) for seed in range(4000))
    assert abs(counts["hard"] - 3000) < 137


def test_the_states_stand_in_the_order_of_life() -> None:
    """Thirteen states in the order that the programme counts by."""
    assert STATES == (
        "known", "counted", "measured", "levelled", "assessed", "designed", "priced", "ordered",
        "packed", "sealed", "inspected", "accepted", "changed",
    )  # fmt: skip

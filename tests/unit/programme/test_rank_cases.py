"""Ranks under low and high loss, flood and reliability; chances under shifted water, by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.core.settings import Budget, Settings, Spread
from pipeline.programme.flood_shift import shifted_sources
from pipeline.tables import Tables

Run = Callable[[Tables, Settings], Tables]
_SPREAD = Spread(
    repair_low=0.5, repair_high=1.0, supply_low=0.1, supply_high=3.0, cost_low=0.9, cost_high=1.2
)


def _two(town: Any) -> None:
    """S1: a dear repair and no customers; S2: a cheap repair and many customers."""
    for n, kind, customers in ((1, "substation", 0), (2, "other", 20000)):
        site, building = f"S{n}", f"B{n}"
        town.site(site, site_type=kind, customers_count=customers)
        town.building(building, site)
        town.opening(f"{building}-1", building, level_m=20.25, chances={"river": 10**-1.5})
        for k, level in (("vent", 20.9), ("door", 21.0)):
            town.opening(
                f"{building}/{k}", building, level_m=level, chances={"river": 0.002},
                kind=k, level_class="above",
            )  # fmt: skip
        town.flood(building, 0.01, None, ground_m=21.0)


def _chamber_water(town: Any, u_m: float | None = 0.1) -> None:
    """Water at chamber CH: 20.00 m at 10 %, 20.50 m at 1 %."""
    for aep, level in ((0.1, 20.0), (0.01, 20.5)):
        town.flood("CH", aep, level, place_kind="chamber", u_m=u_m, ground_m=19.0)
    for row in town.rows["reach_sources"]:
        if row["opening_id"].endswith("-1"):
            row["control_level_m"] = 20.25


def test_shifted_chance_by_hand(town: Any) -> None:
    """Level linear in log chance: 20.25 lies half way, 10^-1.5; 0.1 m higher water 10^-1.3, lower 10^-1.7."""
    _two(town)
    _chamber_water(town)
    tables = town.tables()
    for by_u, chance in ((1.0, 10**-1.3), (-1.0, 10**-1.7)):
        rows = shifted_sources(tables, by_u).set_index("opening_id")
        assert rows.at["B1-1", "chance_per_year"] == pytest.approx(chance, rel=1e-6)
        assert rows.at["B1-1", "sure_chance_per_year"] == pytest.approx(chance, rel=1e-6)
        assert rows.at["B1/vent", "chance_per_year"] == 0.002  # no control level: kept


def test_unknown_doubt_moves_nothing(town: Any) -> None:
    """Water whose doubt is not known stays where it is."""
    _two(town)
    _chamber_water(town, u_m=None)
    tables = town.tables()
    rows = shifted_sources(tables, 1.0)["chance_per_year"]
    assert rows.tolist() == pytest.approx(tables["reach_sources"]["chance_per_year"].tolist())


def test_steady_water_and_what_stood_above_all(town: Any) -> None:
    """Groundwater is there or not; an opening over the rarest event may be reached by higher water."""
    _two(town)
    _chamber_water(town)
    town.flood(
        "CH", -1.0, 20.2, place_kind="chamber", mechanism="groundwater", u_m=0.1, ground_m=19.0
    )
    for end, kind, level in (("B1-7", "groundwater", 20.25), ("B1-8", "river", 20.55)):
        town.opening(end, "B1", level_m=level, chances={kind: 0.0}, level_class="above")
        town.rows["reach_sources"][-1]["control_level_m"] = level
    high = shifted_sources(town.tables(), 1.0).set_index("opening_id")["chance_per_year"]
    low = shifted_sources(town.tables(), -1.0).set_index("opening_id")["chance_per_year"]
    # 20.55 between 20.10 (10 %) and 20.60 (1 %): share 0.9, 10^-1.9 by hand
    assert high["B1-8"] == pytest.approx(10**-1.9, rel=1e-6)
    assert low["B1-8"] == 0.0
    assert low["B1-7"] == 0.0
    assert high["B1-7"] == pytest.approx(1.0)  # 20.30 stands over 20.25 in every event


def _run(town: Any, settings: Settings, run: Run, money: float) -> Tables:
    """S1 180,000 at any time; S2 40,000 + 20,000 x 24 h x 1 = 520,000 (loss of the settings)."""
    value = settings.value.model_copy(update={"spread": _SPREAD})
    budget = (Budget(region="North", year=2026, money=money, crew_days=9),)
    return run(town.tables(), settings.model_copy(update={"value": value, "budget": budget}))


def test_ranks_turn_with_the_loss(town: Any, settings: Settings, run: Run) -> None:
    """Low: S1 90,000 against S2 20,000 + 48,000 = 68,000: the ranks turn. High: they do not."""
    loss = settings.value.loss
    assert (loss["substation"].repair, loss["other"].repair) == (180000, 40000)
    assert (loss["other"].per_customer_hour, loss["other"].hours) == (1.0, 24)
    _two(town)
    _chamber_water(town)
    made = _run(town, settings, run, 9000)
    ranks = made["rank_cases"].set_index(["building_id", "case"])["rank"]
    assert (ranks["B1", "as planned"], ranks["B2", "as planned"]) == (2, 1)
    assert (ranks["B1", "loss low"], ranks["B2", "loss low"]) == (1, 2)
    assert (ranks["B1", "loss high"], ranks["B2", "loss high"]) == (2, 1)
    packages = made["packages"].set_index("building_id")
    assert packages.at["B1", "cost_low_minor"] == round(packages.at["B1", "cost_minor"] * 0.9)
    assert packages.at["B1", "cost_high_minor"] == round(packages.at["B1", "cost_minor"] * 1.2)


def test_every_case_is_a_choice_of_its_own(town: Any, settings: Settings, run: Run) -> None:
    """Money for one: as planned B2, under the low loss B1; each case keeps the budget."""
    _two(town)
    _chamber_water(town)
    made = _run(town, settings, run, 1500)
    rows = made["rank_cases"]
    assert (rows.groupby("case")["is_chosen"].sum() == 1).all()
    chosen = rows[rows["is_chosen"]].set_index("case")["building_id"]
    assert (chosen["as planned"], chosen["loss low"]) == ("B2", "B1")
    assert len(rows) == 2 * 7


def test_worth_goes_with_reliability_and_flood(town: Any, settings: Settings, run: Run) -> None:
    """Low reliability and low water are worth less than planned, high ones more, and by how much."""
    _two(town)
    _chamber_water(town)
    made = _run(town, settings, run, 9000)
    worth = made["rank_cases"].set_index(["building_id", "case"])["pv_avoided_minor"]
    plan = made["packages"].set_index("building_id").loc["B1"]
    share = plan["avoided_low_minor_per_year"] / plan["avoided_minor_per_year"]
    assert worth["B1", "reliability low"] == pytest.approx(plan["pv_avoided_minor"] * share, abs=1)
    # the chance that a seal takes away is p - 0.002: by hand from the shifted chances above
    for case, chance in (("flood low", 10**-1.7), ("flood high", 10**-1.3)):
        wanted = plan["pv_avoided_minor"] * (chance - 0.002) / (10**-1.5 - 0.002)
        assert worth["B1", case] == pytest.approx(wanted, rel=1e-4)


def test_without_a_spread_there_is_no_loss_case(town: Any, settings: Settings, run: Run) -> None:
    """No policy by default: the loss cases and the cost range need the settings' figures."""
    _two(town)
    value = settings.value.model_copy(update={"spread": None})
    made = run(town.tables(), settings.model_copy(update={"value": value}))
    assert not made["rank_cases"]["case"].str.startswith("loss").any()
    assert made["packages"]["cost_low_minor"].isna().all()

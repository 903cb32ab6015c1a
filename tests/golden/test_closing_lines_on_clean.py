"""Closing lines on the clean sample: laws of the house, and the water search with the line built in."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.buying import load as load_buying
from pipeline.core.materials import load as load_materials
from pipeline.core.settings import Settings
from pipeline.design import design
from pipeline.exposure import exposure
from pipeline.exposure.closing_net import closing_tables
from pipeline.exposure.links import make_links
from pipeline.intake import intake
from pipeline.levels import levels
from pipeline.programme.closing_lines import Prices, closing_lines, end_prices
from pipeline.programme.costs import CostBook
from pipeline.programme.openings import by_building
from pipeline.tables import Tables, hand_over
from pipeline.tables.closing import ALL
from pipeline.tables.spec import conform

ROOT = Path(__file__).parents[2]
ENTRY_MINOR = 60_000  # invented


def follow(tables: Tables, settings: Settings) -> Tables:
    """Exposure and the network of mouths on top of survey and levels."""
    out = {**tables, **hand_over("exposure", exposure(tables, settings))}
    new = closing_tables(out, make_links(out, settings), out["reach"], settings)
    return {**out, **{n: conform(ALL[n], f, stage="exposure") for n, f in new.items()}}


def lines(tables: Tables, prices: Prices) -> pd.DataFrame:
    """The table as it is handed over, by kind and place."""
    unseen = {b: o.unsurveyed for b, o in by_building(tables).items()}
    made = closing_lines(tables, prices, unsurveyed=unseen)
    made = conform(ALL["closing_lines"], made, stage="programme")
    return made.set_index(["kind", "place_id"])


@pytest.fixture(scope="module")
def sample() -> tuple[Tables, Settings, Prices, pd.DataFrame]:
    """The clean sample through to its closing lines."""
    settings = settings_file.load(ROOT / "configs" / "clean.toml")
    tables = hand_over("intake", intake(settings))
    new = hand_over("levels", levels(tables, settings))
    tables = follow({**tables, **{k: v for k, v in new.items() if k != "findings"}}, settings)
    materials = load_materials(settings.design.materials)
    drawn = design(tables, settings, materials=materials)
    tables |= {k: v for k, v in drawn.items() if k != "findings"}
    book = CostBook(tables, settings, materials=materials, buying=load_buying(settings))
    prices = end_prices(tables, book, entry_minor=ENTRY_MINOR)
    return tables, settings, prices, lines(tables, prices)


def test_every_building_and_site_has_a_line(
    sample: tuple[Tables, Settings, Prices, pd.DataFrame],
) -> None:
    """One row each, whole lines among them, every one proved and none dearer than all walls."""
    tables, _, _, made = sample
    assert len(made.loc["building"]) == len(tables["buildings"])
    assert len(made.loc["site"]) == tables["buildings"]["site_id"].nunique()
    whole = made[made["is_possible"].astype(bool)]
    assert (whole["ends_count"] > 0).any()
    assert (made["gap_frac"] == 0.0).all()
    priced = whole[whole["all_wall_without_price"].isna()]
    assert len(priced)
    assert (priced["cost_minor"] <= priced["all_wall_cost_minor"]).all()


def test_nothing_that_is_not_above_is_forgotten(
    sample: tuple[Tables, Settings, Prices, pd.DataFrame],
) -> None:
    """Where a line lies at the own walls, each opening not above is in it, or named as not closed."""
    tables, _, _, made = sample
    reach = tables["reach"]
    seen = 0
    for building, row in made.loc["building"].iterrows():
        ends = set(str(row["end_ids"]).split(";")) - {"nan"}
        at_walls = set(reach.loc[reach["building_id"] == building, "opening_id"])
        if not ends <= at_walls:
            continue
        left = reach[
            (reach["building_id"] == building)
            & (reach["level_class"] != "above")
            & ~reach["opening_id"].isin(ends)
        ]
        seen += len(ends)
        for opening in left["opening_id"]:
            assert f"{opening}:" in str(row["cannot_close"])
    assert seen > 0


def test_with_the_line_built_in_the_water_search_finds_no_way(
    sample: tuple[Tables, Settings, Prices, pd.DataFrame],
) -> None:
    """The ends of every whole line as sound, rated seals of the survey: nothing below is left."""
    tables, settings, _, made = sample
    whole = made.loc["site"][made.loc["site"]["is_possible"].astype(bool)]
    ends = [e for text in whole["end_ids"].dropna() for e in str(text).split(";")]
    assert ends
    built = pd.DataFrame(
        {
            "seal_id": [f"line-{e}" for e in ends],
            "end_id": ends,
            "condition": "sound",
            "water_passing": "none",
            "rated_head_m": 99.0,
            "inspected_on": settings.planning_date.isoformat(),
        }
    )
    seals = pd.concat([tables["seals"], built], ignore_index=True)
    after = hand_over("exposure", exposure({**tables, "seals": seals}, settings))["reach"]
    sites = set(whole.index)

    def wet(reach: pd.DataFrame) -> pd.DataFrame:
        walls = reach[(reach["opening_kind"] != "chamber end") & reach["site_id"].isin(sites)]
        return walls[walls["level_class"] == "below"]

    assert len(wet(tables["reach"]))
    assert wet(after).empty, wet(after)[["opening_id", "reason"]]


@pytest.mark.parametrize("change", ["water", "freeboard", "doubt", "proof", "pedigree"])
def test_more_water_or_less_knowledge_never_makes_a_line_cheaper(
    sample: tuple[Tables, Settings, Prices, pd.DataFrame], change: str
) -> None:
    """At the same prices, a whole line stays as dear or becomes dearer, or is no whole line."""
    tables, settings, prices, before = sample
    changed = dict(tables)
    if change == "water":
        changed["floods"] = tables["floods"].assign(level_m=tables["floods"]["level_m"] + 1.0)
    elif change == "freeboard":
        up = tables["policies"]["freeboard_m"] + 1.0
        changed["policies"] = tables["policies"].assign(freeboard_m=up)
    elif change == "doubt":
        changed["levels"] = tables["levels"].assign(limit_mm=tables["levels"]["limit_mm"] + 1500)
    elif change == "proof":
        changed["ends"] = tables["ends"].assign(far_proof=None)
    else:
        changed["levels"] = tables["levels"].assign(has_pedigree=False)
    # every end has a price, so that a seal which was not needed before can be taken
    reach = tables["reach"]
    every = reach.loc[reach["is_sealable"].astype(bool), "opening_id"]
    full = Prices({**dict.fromkeys(every, 10_000), **prices.end_minor}, ENTRY_MINOR)
    first = lines(tables, full)
    after = lines(follow(changed, settings), full)
    both = first["is_possible"].astype(bool) & after["is_possible"].astype(bool)
    assert (after.loc[both, "cost_minor"] >= first.loc[both, "cost_minor"]).all()
    assert not (after["is_possible"].astype(bool) & ~first["is_possible"].astype(bool)).any()
    dearer = (after["cost_minor"] > first["cost_minor"]) | (~both & first["is_possible"])
    assert dearer.any()
    assert len(before) == len(after)

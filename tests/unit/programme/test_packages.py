"""Packages of a building: held ends, unknown openings, structural gate, costs, loss, customers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from pipeline.core.settings import Settings
from pipeline.tables import Tables

Run = Callable[[Tables, Settings], Tables]
_DOOR = {"kind": "door", "level_class": "above"}
_VENT = {"kind": "vent", "level_class": "above"}

_SURVEY_ROW = {"file": "f", "sheet": "s", "row": 9, "row_state": "used"}


def _plain(town: Any, building: str = "B1", site: str = "S1", **more: Any) -> None:
    """A building with three ducts at two chances, and a high door and vent."""
    town.building(building, site, **more)
    town.opening(f"{building}-1", building, level_m=20.2, chances={"river": 0.064})
    town.opening(f"{building}-2", building, level_m=20.2, chances={"river": 0.064})
    town.opening(f"{building}-3", building, level_m=20.5, chances={"river": 0.017})
    town.opening(f"{building}/vent", building, level_m=20.7, chances={"river": 0.0063}, **_VENT)
    town.opening(f"{building}/door", building, level_m=20.95, chances={"river": 0.0017}, **_DOOR)
    town.flood(building, 0.01, None, ground_m=21.0)


def _rows(tables: Tables) -> list[dict[str, Any]]:
    return list(tables["packages"].to_dict("records"))


def test_nested_steps_with_gates(town: Any, settings: Settings, run: Run) -> None:
    """Two nested packages; each names the gate that it closes and the next one."""
    town.site("S1")
    _plain(town)
    first, second = _rows(run(town.tables(), settings))
    assert (first["end_ids"], second["end_ids"]) == ("B1-1;B1-2", "B1-1;B1-2;B1-3")
    assert first["next_gate"].startswith("B1-3 (20.500 m)")
    assert "vent" in second["next_gate"]
    assert [first["gain"], second["gain"]] == ["benefit", "benefit"]
    assert (second["before_level_m"], second["after_level_m"]) == (20.2, 20.7)


def test_loss_and_cost_by_hand(town: Any, settings: Settings, run: Run) -> None:
    """Loss, loss avoided, present value and cost of the small package, worked by hand.

    Loss once: 180,000 + 1,000 x 18 h x 6.0 = 288,000. As found 0.064 x 288,000 = 18,432.00 a year.
    Two seals at 0.98: all hold 0.9604; chance after 0.064 - 0.047 x 0.9604 = 0.0188612;
    avoided 288,000 x 0.0451388 = 12,999.97 a year. Annuity of 25 years at 3.5 %: 16.48151
    (check: (1 - 1.035^-25)/0.035). Hours 2 + 1.5 set-up = 3.5 at 96 = 336.00; site 850.00.
    """
    town.site("S1")
    _plain(town)
    row = _rows(run(town.tables(), settings))[0]
    assert row["loss_once_minor"] == 288_000_00
    assert row["loss_before_minor_per_year"] == 18_432_00
    assert row["avoided_minor_per_year"] == pytest.approx(12_999_97, abs=1)
    annuity = (1 - 1.035**-25) / 0.035
    assert row["pv_avoided_minor"] == pytest.approx(12_999_97 * annuity, rel=1e-6)
    assert (row["labour_minor"], row["site_cost_minor"]) == (336_00, 850_00)
    assert row["cost_minor"] == row["material_minor"] + 336_00 + 850_00
    assert row["crew_days"] == pytest.approx(3.5 / 7.5)
    assert row["avoided_low_minor_per_year"] < row["avoided_minor_per_year"]
    assert row["avoided_minor_per_year"] < row["avoided_high_minor_per_year"]


def test_a_step_that_shows_a_higher_chance_says_why(
    town: Any, settings: Settings, run: Run
) -> None:
    """Two seals: 0.0171 + 0.0469 (1 - 0.98^2) = 0.01896; eight, of which six close next to nothing:
    0.017 + 0.047 (1 - 0.98^8) = 0.02401 (by hand). The second says that failing seals make it.
    """
    town.site("S1")
    town.building("B1", "S1")
    for n in (1, 2):
        town.opening(f"B1-{n}", "B1", level_m=20.2, chances={"river": 0.064})
    for n in range(3, 9):
        town.opening(f"B1-{n}", "B1", level_m=20.5, chances={"river": 0.0171})
    town.opening("B1/vent", "B1", level_m=20.7, chances={"river": 0.017}, **_VENT)
    town.opening("B1/door", "B1", level_m=20.95, chances={"river": 0.0017}, **_DOOR)
    town.flood("B1", 0.01, None, ground_m=21.0)
    first, second = _rows(run(town.tables(), settings))
    assert first["after_chance_per_year"] == pytest.approx(0.018957, abs=1e-6)
    assert second["after_chance_per_year"] == pytest.approx(0.024014, abs=1e-6)
    why = "higher than that of step 1"
    assert why in second["assumed"]
    assert why not in str(first["assumed"])


def test_material_is_the_list_price_of_the_need(
    town: Any, settings: Settings, run: Run, buying: Any, materials: Any
) -> None:
    """Material: two labels, 400 ml, and the items of the site and of 3.5/7.5 of a crew-day."""
    town.site("S1")
    _plain(town)
    row = _rows(run(town.tables(), settings))[0]
    on = settings.planning_date

    def price(item: str) -> float:
        """Lowest price of a unit, straight from the offers."""
        units = float(buying.items[item].unit_per_piece)
        offers: list[float] = [
            p.price_minor / (p.pack_count * units)
            for p in buying.prices
            if p.item_id == item and p.valid_from <= on <= p.valid_to
        ]
        return min(offers)

    expected = 2 * price("label") + 400 * price("sealant-310")
    for item in materials.item:
        quantity = item.quantity * (settings.crews.crew_size if item.per_person else 1)
        if item.counted_by == "site":
            expected += quantity * price(item.id)
        elif item.counted_by == "crew-day" and item.id != "sealant-310":
            expected += quantity * 3.5 / 7.5 * price(item.id)
    assert 0 <= row["material_minor"] - expected < 1.0


def test_held_end_gives_no_benefit_until_released(town: Any, settings: Settings, run: Run) -> None:
    """One of the two lowest ducts is held: the package gains nothing, and says what release gives."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=20.2, chances={"river": 0.064})
    town.opening("B1-2", "B1", level_m=20.2, chances={"river": 0.064}, hold="order")
    town.opening("B1/vent", "B1", level_m=20.7, chances={"river": 0.01}, **_VENT)
    town.opening("B1/door", "B1", level_m=20.95, chances={"river": 0.0017}, **_DOOR)
    town.flood("B1", 0.01, None, ground_m=21.0)
    made = run(town.tables(), settings)
    (row,) = _rows(made)
    assert (row["gain"], row["held_count"]) == ("nothing", 1)
    assert "B1-2" in row["assumed"]
    assert "1 in 100" in row["assumed"]
    (choice,) = made["choices"].to_dict("records")
    assert not choice["is_chosen"]
    assert choice["left_out_reason"].startswith("no gain because")


def test_work_hold_keeps_its_benefit(town: Any, settings: Settings, run: Run) -> None:
    """A hold on work alone is designed, bought and counted; the crew reads it."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=20.2, chances={"river": 0.064}, hold="work")
    town.opening("B1/vent", "B1", level_m=20.7, chances={"river": 0.01}, **_VENT)
    town.opening("B1/door", "B1", level_m=20.95, chances={"river": 0.0017}, **_DOOR)
    town.flood("B1", 0.01, None, ground_m=21.0)
    made = run(town.tables(), settings)
    assert [r["gain"] for r in _rows(made)] == ["benefit"]
    assert "do not start before the release" in made["crew_days"]["note"].iloc[0]


@pytest.mark.parametrize("words", ["up to", "benefit unknown"])
def test_unknown_door_follows_the_setting(
    town: Any, settings: Settings, run: Run, words: str
) -> None:
    """A door without level stays open and unknown: the setting decides between two honest words."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=20.2, chances={"river": 0.064})
    town.opening("B1/door", "B1", level_m=None, chances={}, kind="door", level_class="no level")
    town.opening("B1/vent", "B1", level_m=20.7, chances={"river": 0.01}, **_VENT)
    town.flood("B1", 0.01, None, ground_m=21.0)
    value = settings.value.model_copy(update={"unknown_doors": words})
    (row,) = _rows(run(town.tables(), settings.model_copy(update={"value": value})))
    assert row["gain"] == words
    assert (words == "benefit unknown") == pd.isna(row["avoided_minor_per_year"])


def test_openings_never_looked_for_are_unknown(town: Any, settings: Settings, run: Run) -> None:
    """Without a door row, a vent row and other openings nothing firm is claimed."""
    town.site("S1")
    town.building("B1", "S1", other_openings=None)
    town.opening("B1-1", "B1", level_m=20.2, chances={"river": 0.064})
    town.flood("B1", 0.01, None, ground_m=21.0)
    (row,) = _rows(run(town.tables(), settings))
    assert row["gain"] == "up to"
    assert "not surveyed: door, vent, drain, hatch or crack" in row["assumed"]


def test_unknown_end_is_in_the_first_package(town: Any, settings: Settings, run: Run) -> None:
    """An end without level may be the lowest: every package closes it."""
    town.site("S1")
    _plain(town)
    town.opening("B1-4", "B1", level_m=None, chances={}, level_class="no level")
    rows = _rows(run(town.tables(), settings))
    assert all("B1-4" in r["end_ids"].split(";") for r in rows)


def test_gate_that_no_seal_closes(town: Any, settings: Settings, run: Run) -> None:
    """A gap beside the duct lower than all ducts: one package that gains nothing, and says why."""
    town.site("S1")
    _plain(town)
    town.opening("B1/gap", "B1", level_m=20.0, chances={"river": 0.09}, kind="gap beside duct")
    made = run(town.tables(), settings)
    (row,) = _rows(made)
    assert row["gain"] == "nothing"
    assert "gap" in row["next_gate"]


def _basement(town: Any, **more: Any) -> None:
    """Floor 18.00, brick; river 18.00, 18.40 and 20.62 at the wall; policy 20.62 + 0.30 = 20.92."""
    town.site("S1")
    town.building("B1", "S1", floor_m=18.00, **more)
    town.opening("B1-1", "B1", level_m=18.20, chances={"river": 0.0574})
    town.opening("B1/vent", "B1", level_m=21.2, chances={"river": 0.001}, **_VENT)
    town.opening("B1/door", "B1", level_m=21.3, chances={"river": 0.001}, **_DOOR)
    for aep, level in ((0.1, 18.00), (0.033, 18.40), (0.01, 20.62)):
        town.flood("B1", aep, level, ground_m=17.5)


def test_structural_gate_counts_benefit_up_to_the_limit(
    town: Any, settings: Settings, run: Run
) -> None:
    """Floor 18.00 + 0.60 = 18.60 under a policy water of 20.92: held, nothing counted above 18.60.

    Chance of 18.60 by hand, level linear in log chance: 0.033 x (0.01/0.033)^(0.20/2.22) = 0.02964.
    One seal at 0.98: after 0.0574 - (0.0574 - 0.02964) x 0.98 = 0.03019.
    """
    _basement(town)
    (row,) = _rows(run(town.tables(), settings))
    assert row["limit_level_m"] == pytest.approx(18.60)
    assert row["after_level_m"] == pytest.approx(18.60)
    assert row["hold"].startswith("structural engineer to confirm walls, floor and uplift")
    assert row["after_chance_per_year"] == pytest.approx(0.03019, abs=2e-5)
    assert row["gain"] == "benefit"


def test_structural_gate_released_by_an_engineer(town: Any, settings: Settings, run: Run) -> None:
    """max_head_m 3.5 lifts the limit to 21.50, above the policy water: no hold, the vent decides."""
    _basement(town, max_head_m=3.5, max_head_by="structural engineer")
    (row,) = _rows(run(town.tables(), settings))
    assert row["limit_level_m"] == pytest.approx(21.50)
    assert pd.isna(row["hold"])
    assert row["after_level_m"] == pytest.approx(21.2)


def test_structural_limit_under_the_onset_gains_nothing(
    town: Any, settings: Settings, run: Run
) -> None:
    """As found water comes in at 18.70; sealed, the wall is at its limit at 18.60: no gain."""
    town.site("S1")
    town.building("B1", "S1", floor_m=18.00)
    town.opening("B1-1", "B1", level_m=18.70, chances={"river": 0.028})
    town.opening("B1/vent", "B1", level_m=21.2, chances={"river": 0.001}, **_VENT)
    town.opening("B1/door", "B1", level_m=21.3, chances={"river": 0.001}, **_DOOR)
    for aep, level in ((0.1, 18.00), (0.033, 18.40), (0.01, 20.62)):
        town.flood("B1", aep, level, ground_m=17.5)
    made = run(town.tables(), settings)
    (row,) = _rows(made)
    assert row["gain"] == "structural hold"
    (choice,) = made["choices"].to_dict("records")
    assert choice["left_out_reason"].startswith("structural hold")


def test_water_in_a_chamber_never_loads_the_wall(town: Any, settings: Settings, run: Run) -> None:
    """The same basement in dry ground: its ring is dry, so the structural gate does not act."""
    town.site("S1")
    town.building("B1", "S1", floor_m=18.00)
    town.opening("B1-1", "B1", level_m=18.20, chances={"river": 0.0574})
    town.opening("B1/vent", "B1", level_m=21.2, chances={"river": 0.002}, **_VENT)
    town.opening("B1/door", "B1", level_m=21.3, chances={"river": 0.001}, **_DOOR)
    for aep in (0.1, 0.033, 0.01, 0.001):
        town.flood("B1", aep, None, ground_m=21.0)
    (row,) = _rows(run(town.tables(), settings))
    assert row["gain"] == "benefit"
    assert pd.isna(row["hold"])
    assert row["after_level_m"] == pytest.approx(21.2)


def test_customers_along_a_feeding_relation_count_once(
    town: Any, settings: Settings, run: Run
) -> None:
    """A feeds B: 5,000 and 2,000 as normally fed are 3,000 + 2,000, not 7,000."""
    town.site("A", customers_count=5000)
    town.site("B", customers_count=2000, fed_from_site_id="A")
    _plain(town, "A1", "A")
    _plain(town, "B1", "B")
    rows = {r["site_id"]: r for r in _rows(run(town.tables(), settings))}
    assert (rows["A"]["customers_count"], rows["B"]["customers_count"]) == (3000, 2000)
    # 180,000 + customers x 18 x 6
    assert rows["A"]["loss_once_minor"] == (180_000 + 3000 * 108) * 100
    assert rows["B"]["loss_once_minor"] == (180_000 + 2000 * 108) * 100


@pytest.mark.parametrize(
    ("backfeed", "share"), [("none", 1.0), ("part", 0.5), ("full", 0.0), ("unknown", 1.0)]
)
def test_back_feed(town: Any, settings: Settings, run: Run, backfeed: str, share: float) -> None:
    """Back-feed takes its share of the loss of supply; unknown counts as none."""
    town.site("S1", backfeed=backfeed)
    _plain(town)
    row = _rows(run(town.tables(), settings))[0]
    assert row["loss_once_minor"] == (180_000 + 1000 * 108 * share) * 100


def test_a_chance_that_rests_on_the_unknown_gives_a_benefit_of_at_most(
    town: Any, settings: Settings, run: Run
) -> None:
    """A duct whose far end is not known lets water in often, but only 1.7 % is sure: 'up to'."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=20.2, chances={"river": 0.064}, sure=0.017)
    town.opening("B1/vent", "B1", level_m=20.7, chances={"river": 0.0063}, **_VENT)
    town.opening("B1/door", "B1", level_m=20.95, chances={"river": 0.0017}, **_DOOR)
    town.flood("B1", 0.01, None, ground_m=21.0)
    (row,) = _rows(run(town.tables(), settings))
    assert row["gain"] == "up to"
    assert "1 in 59 a year is sure" in row["assumed"]


def test_an_opening_that_names_no_building_may_be_in_any(
    town: Any, settings: Settings, run: Run
) -> None:
    """A lost entry at 3 %: no seal of B1 closes it, so B1 gains nothing below 3 %, and 'up to'."""
    town.site("S1")
    _plain(town)
    town.opening("L", "B1", level_m=20.3, chances={"river": 0.03}, kind="entry")
    town.rows["reach"][-1] |= {"building_id": None, "site_id": None}
    town.rows["entries"].append({**_SURVEY_ROW, "entry_id": "L", "building_id": None, "face": "A"})
    first, *_ = _rows(run(town.tables(), settings))
    assert first["gain"] == "up to"
    assert first["after_chance_per_year"] >= 0.03


def test_a_building_without_site_shares_the_customers(
    town: Any, settings: Settings, run: Run
) -> None:
    """1,000 customers, B1 and a building that names no site: half of them stand behind each."""
    town.site("S1")
    _plain(town)
    (alone, _) = _rows(run(town.tables(), settings))
    town.rows["buildings"].append(
        {**town.rows["buildings"][0], "building_id": "B9", "site_id": None}
    )
    (shared, _) = _rows(run(town.tables(), settings))
    assert shared["loss_once_minor"] < alone["loss_once_minor"]
    assert "shared between 2 buildings" in shared["assumed"]


def test_level_under_the_most_frequent_event_is_more_often_than(
    town: Any, settings: Settings, run: Run
) -> None:
    """An opening that every modelled event reaches: 'more often than' 1 in 10, in row and reason."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=20.0, chances={"river": 0.1})
    town.rows["reach"][-1]["onset_bound"] = "more often than"
    town.opening("B1/vent", "B1", level_m=21.2, chances={"river": 0.001}, **_VENT)
    town.opening("B1/door", "B1", level_m=21.3, chances={"river": 0.001}, **_DOOR)
    town.flood("B1", 0.01, None, ground_m=21.5)
    made = run(town.tables(), settings)
    (row,) = _rows(made)
    assert row["before_bound"] == "more often than"
    assert row["before_chance_per_year"] == pytest.approx(0.1)
    (choice,) = made["choices"].to_dict("records")
    assert "water inside at more often than 1 in 10 a year" in choice["reason"]


def test_nothing_known_is_not_a_loss_of_nothing(town: Any, settings: Settings, run: Run) -> None:
    """No chance is known and the only end is held: loss and gain are blank or 'not known', never 0."""
    town.site("S1")
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=None, chances={}, hold="design", level_class="no level")
    made = run(town.tables(), settings)
    (row,) = _rows(made)
    assert row["gain"] == "not known"
    for name in (
        "before_chance_per_year",
        "loss_before_minor_per_year",
        "loss_after_minor_per_year",
    ):
        assert pd.isna(row[name]), name
    (choice,) = made["choices"].to_dict("records")
    said = choice["left_out_reason"]
    assert said.startswith("no gain can be told: the chance of water inside is not known; ")
    assert "treated as reached by water" in said
    assert "no water is known to get in" not in said

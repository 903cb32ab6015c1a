"""Cases worked by hand: covers, crests, drains, water tables, basements, proofs, doubts.

W = design water level, F = freeboard 0.30 m, policy line P = W + F; all levels in metres.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import contract, settings_file
from pipeline.core.settings import Settings
from pipeline.exposure import exposure
from pipeline.tables import REGISTRY, Tables, blank
from pipeline.tables.spec import conform

ROOT = Path(__file__).parents[3]
K = 1.645


def frame(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """A hand-over table from the cells that matter."""
    if not rows:
        return blank(name)
    common = {"file": "hand.xlsx", "sheet": name, "row": 1, "row_state": "used"}
    names = set(REGISTRY[name].names)
    full = [{**{k: v for k, v in common.items() if k in names}, **r} for r in rows]
    return conform(REGISTRY[name], pd.DataFrame(full), stage="test")


class Case:
    """A site with chambers, one building, ducts between them, and water."""

    def __init__(self, freeboard_m: float = 0.30) -> None:
        self.freeboard_m = freeboard_m
        self.chambers: list[dict[str, Any]] = []
        self.ends: list[dict[str, Any]] = []
        self.entries: list[dict[str, Any]] = []
        self.buildings: list[dict[str, Any]] = []
        self.levels: list[dict[str, Any]] = []
        self.floods: list[dict[str, Any]] = []

    def level(self, kind: str, thing: str, value_m: float, u_m: float = 0.0) -> None:
        """A level with pedigree; the limit is k x u, up to whole millimetres."""
        self.levels.append(
            {"thing_kind": kind, "thing_id": thing, "site_id": "S", "level_m": value_m,
             "limit_mm": math.ceil(round(K * u_m * 1000, 6)), "has_pedigree": True}
        )  # fmt: skip

    def chamber(self, name: str, cover_m: float, *, u_m: float = 0.0, **more: Any) -> None:
        """A chamber without a drain."""
        self.chambers.append(
            {"chamber_id": name, "site_id": "S", "x_m": 100.0, "y_m": 100.0, "drain": "none",
             "drain_to": "none", "kind": "manhole", "water_state": "dry", **more}
        )  # fmt: skip
        self.level("cover", name, cover_m, u_m)

    def building(self, name: str) -> None:
        """A building with one entry, 10 m off."""
        self.buildings.append({"building_id": name, "site_id": "S", "x_m": 110.0, "y_m": 100.0})
        self.entries.append(
            {"entry_id": f"E-{name}", "building_id": name, "gap_around_duct": "none",
             "leads_to": "unknown"}
        )  # fmt: skip

    def duct(
        self, one: str, place: str, invert_m: float, other: str, far: str, far_m: float,
        *, proof: str = "rodded", u_m: float = 0.0,
    ) -> None:  # fmt: skip
        """A duct with both mouths listed."""
        for end, at, level, mate, to in (
            (one, place, invert_m, other, far), (other, far, far_m, one, place),
        ):  # fmt: skip
            entry = at.startswith("E-")
            self.ends.append(
                {"end_id": end, "place_kind": "entry" if entry else "chamber", "place_id": at,
                 "far_place_id": to, "far_end_id": mate, "far_proof": proof, "seen": "full",
                 "is_unlisted": False, "site_id": "S",
                 "building_id": at.removeprefix("E-") if entry else None}
            )  # fmt: skip
            self.level("duct end", end, level, u_m)

    def water(
        self, place: str, level_m: float | None, *, mechanism: str = "river", aep: float = 0.01,
        u_m: float = 0.05, nearest: bool = False, answer: str = "",
    ) -> None:  # fmt: skip
        """Water of one event at a place; None = dry."""
        kind = "building" if any(b["building_id"] == place for b in self.buildings) else "chamber"
        told = answer or (contract.DRY if level_m is None or nearest else contract.LEVEL)
        self.floods.append(
            {"place_kind": kind, "place_id": place, "site_id": "S", "source_id": mechanism,
             "mechanism": mechanism, "aep_per_year": aep, "event": f"{aep}", "climate": "none",
             "defences": "with", "answer": told, "level_m": level_m, "u_m": u_m,
             "is_nearest": nearest, "is_refused": False}
        )  # fmt: skip

    def run(self) -> pd.DataFrame:
        """Reach by opening."""
        tables: Tables = dict(BLANKS)
        tables["sites"] = frame("sites", [{"site_id": "S", "region": "R", "x_m": 0.0, "y_m": 0.0}])
        for name in ("chambers", "ends", "entries", "buildings", "levels", "floods"):
            tables[name] = frame(name, getattr(self, name))
        tables["policies"] = frame(
            "policies",
            [{"site_id": "S", "design_aep_per_year": 0.01, "climate": "none", "defences": "with",
              "freeboard_m": self.freeboard_m, "origin": "test"}],
        )  # fmt: skip
        reach: pd.DataFrame = exposure(tables, SETTINGS)["reach"]
        return reach.set_index("opening_id")


def _settings() -> Settings:
    settings = settings_file.load(ROOT / "configs" / "clean.toml")
    flood = settings.flood.model_copy(update={"climate": "none", "defences": "with", "k": K})
    return settings.model_copy(update={"flood": flood})


SETTINGS = _settings()
BLANKS = {name: blank(name) for name in REGISTRY}


def simple(cover_m: float, crest_m: float, own_m: float, water_m: float, **more: Any) -> Case:
    """One chamber, one duct, one building whose own ring is dry and far from water."""
    case = Case(more.pop("freeboard_m", 0.30))
    u_m = more.pop("u_m", 0.0)
    case.building("B")
    case.chamber("C", cover_m, u_m=u_m)
    case.duct("D1", "E-B", own_m, "D2", "C", crest_m, u_m=u_m, proof=more.pop("proof", "rodded"))
    case.water("C", water_m, **more)
    case.water("B", None)
    return case


def test_below_through_a_duct_by_hand() -> None:
    """C = max(20.80, 20.75, 19.00) = 20.80; P = 20.62 + 0.30 = 20.92; -120 mm; limit 68 mm."""
    row = simple(20.80, 20.75, 19.00, 20.62, u_m=0.041).run().loc["D1"]
    assert (row["level_class"], row["margin_mm"]) == ("below", -120)
    assert row["let_in_level_m"] == 20.80
    assert row["way"] == "through duct"


def test_equal_is_wet() -> None:
    """A crest that stands exactly at W + F = 20.92 passes; one millimetre more is too close."""
    assert simple(20.00, 20.92, 19.00, 20.62).run().loc["D1", "level_class"] == "below"
    assert simple(20.00, 20.921, 19.00, 20.62).run().loc["D1", "level_class"] != "below"


def test_nearest_water_counts_for_a_chamber() -> None:
    """The chamber's own cell is dry, the next wet cell 20 m off: the same class and margin."""
    row = simple(20.80, 20.75, 19.00, 20.62, u_m=0.041, nearest=True).run().loc["D1"]
    assert (row["level_class"], row["margin_mm"]) == ("below", -120)
    assert row["margin_is_bound"]


def test_tide_comes_in_by_a_drain_under_the_cover() -> None:
    """Tide 20.6 by a drain: the cover at 21.5 is no obstacle; C = 20.1 <= 20.9."""
    case = simple(21.50, 20.10, 20.00, 20.60, mechanism="sea")
    assert case.run().loc["D1", "level_class"] != "below"
    case.chambers[0] |= {"drain": "present", "drain_to": "tide"}
    assert case.run().loc["D1", "level_class"] == "below"


def test_a_drain_that_is_not_known_of_may_be_there() -> None:
    """Blank drain and drain_to: the highest of sewer, river and sea comes in."""
    case = simple(21.50, 20.10, 20.00, 20.60)
    case.chambers[0] |= {"drain": None, "drain_to": None}
    assert case.run().loc["D1", "level_class"] == "below"


def test_groundwater_gets_into_a_duct_between_dry_chambers() -> None:
    """Water table 0.5 m over the duct: 20.5 against an invert of 20.0, chambers dry."""
    case = Case()
    case.building("B")
    case.chamber("C1", 22.0)
    case.duct("D1", "E-B", 20.0, "D2", "C1", 20.0)
    for place in ("C1", "B"):
        case.water(place, None)
        case.water(place, 20.5, mechanism="groundwater", aep=-1.0)
    assert case.run().loc["D1", "level_class"] == "below"


def test_two_chambers_joined_only_through_a_basement() -> None:
    """Water enters basement A by one duct and leaves by another: the chamber behind is reached."""
    case = Case()
    for name in ("A", "B"):
        case.building(name)
        case.water(name, None)
    case.chamber("C1", 20.0)
    case.chamber("C2", 25.0)
    case.duct("A1", "E-A", 19.0, "C1a", "C1", 19.0)
    case.duct("A2", "E-A", 19.2, "C2a", "C2", 19.1)
    case.duct("B1", "E-B", 19.3, "C2b", "C2", 19.1)
    case.water("C1", 20.62)
    case.water("C2", None)
    reach = case.run()
    assert reach.loc["B1", "level_class"] == "below"
    assert reach.loc["B1", "let_in_level_m"] == 20.0
    assert "C1" in reach.loc["B1", "way_places"]


def test_water_that_is_inside_already_is_no_way_in() -> None:
    """The duct by which water leaves basement A is not counted as one that lets it in."""
    case = Case()
    case.building("A")
    case.water("A", None)
    case.chamber("C1", 20.0)
    case.chamber("C2", 25.0)
    case.duct("A1", "E-A", 19.0, "C1a", "C1", 19.0)
    case.duct("A2", "E-A", 19.2, "C2a", "C2", 19.1)
    case.water("C1", 20.62)
    case.water("C2", None)
    reach = case.run()
    assert reach.loc["A1", "level_class"] == "below"
    assert reach.loc["A2", "level_class"] == "above"


@pytest.mark.parametrize("proof", ["drawing", "assumed", "unknown", None])
def test_both_mouths_seen_alone_never_clears(proof: str | None) -> None:
    """A high dry duct is above when rodded, and never without a proof."""
    assert simple(25.0, 24.0, 24.0, 20.62).run().loc["D1", "level_class"] == "above"
    row = simple(25.0, 24.0, 24.0, 20.62, proof=proof).run().loc["D1"]
    assert row["level_class"] == "too close to call"
    assert "unproved" in row["reason"]


def test_an_unproved_link_to_water_is_below() -> None:
    """Wet through a duct that is only assumed: below, and the reason says so."""
    row = simple(20.00, 19.5, 19.00, 20.62, proof="assumed").run().loc["D1"]
    assert row["level_class"] == "below"


def test_small_freeboard_needs_the_second_test() -> None:
    """F 0.30 < 1.645 x 0.25: above also needs a chance under 5 %.

    C = 20.95, W = 20.62: z = (20.62 - 20.95) / 0.25 = -1.32, chance 9.3 % -> too close;
    C = 21.10: z = -1.92, chance 2.7 % -> above (normal table).
    """
    for crest, expected in ((20.95, "too close to call"), (21.10, "above")):
        case = simple(20.00, crest, crest, 20.62)
        for flood in case.floods:
            flood["u_m"] = 0.25
        assert case.run().loc["D1", "level_class"] == expected
    case = simple(20.00, 20.95, 20.95, 20.62)
    assert case.run().loc["D1", "level_class"] == "above"  # u_W 0.05: the freeboard covers it


def test_no_level_and_no_flood_level_are_not_dry() -> None:
    """Without its own level an end is 'no level'; without a modelled chamber 'no flood level'."""
    case = simple(25.0, 24.0, 24.0, 20.62)
    case.levels = [x for x in case.levels if x["thing_id"] != "D1"]
    assert case.run().loc["D1", "level_class"] == "no level"
    case = simple(25.0, 24.0, 24.0, 20.62)
    case.floods = [f for f in case.floods if f["place_id"] != "C"]
    row = case.run().loc["D1"]
    assert row["level_class"] == "no flood level"
    assert row["way"] == "unknown"
    assert math.isnan(row["onset_chance_per_year"])


def test_ring_dry_and_no_way_found_under_the_nearest_water() -> None:
    """Below W + F of the water nearby, ring dry, no way: too close to call, 'nearest water'."""
    case = simple(25.0, 24.0, 20.0, 18.0)
    case.floods = [f for f in case.floods if f["place_id"] != "B"]
    case.water("B", 20.62, nearest=True)
    row = case.run().loc["D1"]
    assert (row["level_class"], row["way"]) == ("too close to call", "none found")
    assert row["reason"].startswith("nearest water")


@pytest.mark.parametrize("change", ["water", "freeboard", "doubt"])
def test_more_water_or_doubt_never_clears(change: str) -> None:
    """Raising a flood level, the freeboard or a doubt never turns a class into above."""
    for crest in (20.5, 20.9, 20.95, 21.0, 21.2, 23.0):
        before = simple(20.0, crest, 20.0, 20.62, u_m=0.02).run().loc["D1", "level_class"]
        case = simple(20.0, crest, 20.0, 20.62, u_m=0.02)
        if change == "water":
            case.floods[0]["level_m"] += 0.25
        elif change == "freeboard":
            case.freeboard_m = 0.6
        else:
            for level in case.levels:
                level["limit_mm"] = 150.0
        after = case.run().loc["D1", "level_class"]
        assert not (after == "above" and before != "above")


def _high_and_dry() -> Case:
    """A proved duct and dry chamber far above the water: `above` by every rule."""
    return simple(25.0, 24.0, 24.0, 20.62)


@pytest.mark.parametrize("place", ["C", "B"])
def test_a_refused_flood_row_leaves_at_best_no_flood_level(place: str) -> None:
    """Something about the place could not be read: dry by the grid is not enough to clear."""
    case = _high_and_dry()
    assert case.run().loc["D1", "level_class"] == "above"
    case.water(place, None, answer=contract.NOT_MODELLED, mechanism="sea", aep=-1.0)
    case.floods[-1]["is_refused"] = True
    row = case.run().loc["D1"]
    assert row["level_class"] == "no flood level"
    assert math.isnan(row["onset_chance_per_year"])


def test_a_refused_flood_row_dries_nothing() -> None:
    """Below stays below, with its margin; how often is no longer known."""
    case = simple(20.80, 20.75, 19.00, 20.62)
    case.water("C", None, answer=contract.NOT_MODELLED, aep=-1.0)
    case.floods[-1]["is_refused"] = True
    row = case.run().loc["D1"]
    assert (row["level_class"], row["margin_mm"]) == ("below", -120)
    assert math.isnan(row["onset_chance_per_year"])


@pytest.mark.parametrize(("mark_m", "level_class"), [(24.10, "below"), (23.0, "above")])
def test_water_seen_in_a_building_counts_for_its_openings(mark_m: float, level_class: str) -> None:
    """A tide mark at 24.10 + 0.30 in the room is over an end at 24.0; one at 23.0 + 0.30 is not."""
    case = _high_and_dry()
    case.level("water seen", "B", mark_m)
    row = case.run().loc["D1"]
    assert row["level_class"] == level_class


@pytest.mark.parametrize("place", ["B", "C"])
def test_water_seen_at_an_unknown_height_may_stand_anywhere(place: str) -> None:
    """A mark whose height cannot be read, whatever the state of the chamber says: below.

    In the chamber it may stand up to the cover of 25.0, over the duct's mouth at 24.0.
    """
    case = _high_and_dry()
    case.level("water seen", place, math.nan)
    assert case.run().loc["D1", "level_class"] == "below"

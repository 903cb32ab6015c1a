"""One small invented building after another, as the tables that the stage gets."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.buying import Buying
from pipeline.core.buying import load as load_buying
from pipeline.core.materials import Materials
from pipeline.core.materials import load as load_materials
from pipeline.core.settings import Settings
from pipeline.tables import REGISTRY, Tables
from pipeline.tables.spec import conform

_ROOT = Path(__file__).parents[3]
_SURVEY = {"file": "f", "sheet": "s", "row": 2, "row_state": "used"}


def _frame(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return conform(REGISTRY[name], pd.DataFrame(rows), stage="test")


class Town:
    """Collects sites, buildings and openings, and gives the stage's tables.

    Levels and chances are typed by the test; what a test does not type is plain: every seal is
    designed, takes one hour and needs one label.
    """

    def __init__(self) -> None:
        self.rows: dict[str, list[dict[str, Any]]] = {
            n: []
            for n in (
                "sites", "buildings", "entries", "ends", "levels", "floods", "policies", "reach",
                "reach_sources", "designs", "pieces", "chambers", "links",
                "way_edges", "way_waters",
            )
        }  # fmt: skip

    def site(self, site: str, **more: Any) -> None:
        """A site of region North with 1,000 customers and no back-feed, policy 1 % + 0.30 m."""
        self.rows["sites"].append(
            {
                **_SURVEY,
                "site_id": site,
                "region": "North",
                "site_type": "substation",
                "customers_count": 1000,
                "backfeed": "none",
                "x_m": 497000.0,
                "y_m": 650000.0,
                **more,
            }
        )
        self.rows["policies"].append(
            {
                "site_id": site,
                "design_aep_per_year": 0.01,
                "climate": "now",
                "defences": "with",
                "freeboard_m": 0.30,
                "origin": "test",
            }
        )

    def building(
        self, building: str, site: str, *, floor_m: float | None = 10.0, **more: Any
    ) -> None:
        """A brick building; door and vent are known and high unless a test adds them itself."""
        self.rows["buildings"].append(
            {
                **_SURVEY,
                "building_id": building,
                "site_id": site,
                "wall_build": "brick",
                "floor_build": "reinforced raft",
                "other_openings": "none seen",
                **more,
            }
        )
        self.rows["levels"].append(
            {
                "thing_kind": "lowest floor",
                "thing_id": building,
                "level_m": floor_m,
                "has_pedigree": True,
            }
        )
        self.rows["entries"].append(
            {**_SURVEY, "entry_id": f"{building}-E", "building_id": building, "face": "A"}
        )

    def opening(
        self,
        opening: str,
        building: str,
        *,
        level_m: float | None,
        chances: dict[str, float | None],
        kind: str = "duct end",
        level_class: str = "below",
        hold: str = "none",
        sure: float | None = None,
    ) -> None:
        """An opening with its chance by mechanism; a duct end also gets a design of one hour.

        `sure`: chance that does not rest on what is not known; None = all of it.
        """
        site = next(b["site_id"] for b in self.rows["buildings"] if b["building_id"] == building)
        is_end = kind == "duct end"
        self.rows["reach"].append(
            {
                "opening_id": opening,
                "opening_kind": kind,
                "end_id": opening if is_end else None,
                "building_id": building,
                "site_id": site,
                "region": "North",
                "is_sealable": is_end,
                "opening_level_m": level_m,
                "level_class": level_class,
                "margin_is_bound": False,
                "reason": "test",
                "way": "through duct",
                "let_in_level_m": level_m,
                "onset_chance_per_year": max(
                    (p for p in chances.values() if p is not None),
                    default=0.0 if level_class == "above" else None,
                ),
                "policy_level_m": None,
                "has_pedigree": True,
                "is_proved_way": True,
            }
        )
        self.rows["reach_sources"] += [
            {
                "opening_id": opening,
                "source_id": f"{m} source",
                "source_place_id": "CH",
                "mechanism": m,
                "chance_per_year": p,
                "chance_bound": "",
                "sure_chance_per_year": p if sure is None else sure,
            }
            for m, p in chances.items()
        ]
        if is_end:
            self._end(opening, building, site, hold=hold, is_needed=level_class != "above")

    def _end(self, end: str, building: str, site: str, *, hold: str, is_needed: bool) -> None:
        self.rows["ends"].append(
            {
                **_SURVEY,
                "end_id": end,
                "place_id": f"{building}-E",
                "place_kind": "entry",
                "is_unlisted": False,
                "building_id": building,
                "site_id": site,
                "row_no": 1,
                "col_no": len(self.rows["ends"]) + 1,
            }
        )
        firmness = {"order": "held", "design": "provisional"}.get(hold, "firm")
        self.rows["designs"].append(
            {
                "end_id": end,
                "site_id": site,
                "building_id": building,
                "region": "North",
                "is_needed": is_needed,
                "need_reason": "test",
                "is_designed": hold != "design",
                "hold_reach": hold,
                "hold_words": None if hold == "none" else "a reason",
                "firmness": firmness,
                "hours_h": 1.0,
                "design_head_m": 9.0,
                "cure_days": 7.0,
                "sealant_ml": 200.0,
            }
        )
        self.rows["pieces"] += [
            {
                "end_id": end,
                "item_id": item,
                "counted_by": by,
                "quantity": quantity,
                "quantity_p90": quantity * 1.5 if firmness == "provisional" else quantity,
                "unit": unit,
                "firmness": firmness,
            }
            for item, by, quantity, unit in (
                ("label", "end", 1.0, "piece"),
                ("sealant-310", "crew-day", 200.0, "ml"),
            )
        ]

    def flood(self, building: str, aep: float, level_m: float | None, **more: Any) -> None:
        """Water at a building in one river event; no level = dry."""
        wet = level_m is not None
        self.rows["floods"].append(
            {
                "place_kind": "building",
                "place_id": building,
                "source_id": f"river {aep}",
                "mechanism": "river",
                "aep_per_year": aep,
                "event": f"{aep}",
                "climate": "now",
                "defences": "with",
                "answer": "level" if wet else "dry in this event",
                "level_m": level_m,
                "is_nearest": False,
                "is_refused": False,
                **more,
            }
        )

    def tables(self) -> Tables:
        """The tables in their registered form."""
        return {name: _frame(name, rows) for name, rows in self.rows.items()}


@pytest.fixture
def town() -> Town:
    """An empty town."""
    return Town()


@pytest.fixture(scope="session")
def settings() -> Settings:
    """The settings of the clean sample with a wide budget and flat loss of the tests' sites."""
    return settings_file.load(_ROOT / "configs" / "clean.toml")


@pytest.fixture(scope="session")
def materials(settings: Settings) -> Materials:
    """The example materials."""
    return load_materials(settings.design.materials)


@pytest.fixture(scope="session")
def buying(settings: Settings) -> Buying:
    """The example buyer's tables."""
    return load_buying(settings)


@pytest.fixture
def run(materials: Materials, buying: Buying) -> Callable[[Tables, Settings], Tables]:
    """The stage, its tables checked."""
    from pipeline.programme import programme
    from pipeline.tables import hand_over

    def go(tables: Tables, settings: Settings) -> Tables:
        made = programme(tables, settings, materials=materials, buying=buying)
        return hand_over("programme", made)

    return go

"""Laws of the house held on the whole example: links matter, more water never clears."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.progress import silent
from pipeline.core.settings import Settings
from pipeline.exposure.links import make_links
from pipeline.exposure.reach import reach_tables
from pipeline.intake import intake
from pipeline.levels import levels
from pipeline.tables import Tables, hand_over

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def example() -> tuple[Tables, Settings, pd.DataFrame]:
    """Survey, levels and classes of the example."""
    settings = settings_file.load(ROOT / "configs" / "example.toml")
    tables = hand_over("intake", intake(settings))
    new = hand_over("levels", levels(tables, settings))
    tables.update({k: v for k, v in new.items() if k != "findings"})
    return tables, settings, _reach(tables, settings)


def _reach(tables: Tables, settings: Settings, *, with_links: bool = True) -> pd.DataFrame:
    links = make_links(tables, settings) if with_links else []
    reach, _ = reach_tables(tables, links, settings, silent)
    return reach.set_index("opening_id")


def test_deleting_the_links_changes_the_classes(
    example: tuple[Tables, Settings, pd.DataFrame],
) -> None:
    """Entries that are dry at their wall and wet through ducts are so by their links alone."""
    tables, settings, reach = example
    wet = reach[
        (reach["opening_kind"] == "duct end")
        & (reach["level_class"] == "below")
        & (reach["way"] == "through duct")
    ]
    assert wet["entry_id"].nunique() >= 10
    without = _reach(tables, settings, with_links=False)
    river = wet[wet["mechanism"].isin(["river", "sea", "surface water"])]
    left = without.loc[river.index, "level_class"]
    changed = river.loc[left[left != "below"].index, "entry_id"].nunique()
    assert changed >= 10


@pytest.mark.parametrize("change", ["water", "freeboard", "doubt of levels", "doubt of water"])
def test_more_water_freeboard_or_doubt_never_clears(
    example: tuple[Tables, Settings, pd.DataFrame], change: str
) -> None:
    """No class becomes above when a level of water, the freeboard or a doubt is raised."""
    tables, settings, before = example
    changed = dict(tables)
    if change == "water":
        changed["floods"] = tables["floods"].assign(level_m=tables["floods"]["level_m"] + 0.15)
    elif change == "freeboard":
        up = tables["policies"]["freeboard_m"] + 0.3
        changed["policies"] = tables["policies"].assign(freeboard_m=up)
    elif change == "doubt of water":
        changed["floods"] = tables["floods"].assign(u_m=tables["floods"]["u_m"] * 3)
    else:
        wider = tables["levels"]["limit_mm"] + 100
        changed["levels"] = tables["levels"].assign(limit_mm=wider)
    after = _reach(changed, settings).reindex(before.index)
    cleared = (after["level_class"] == "above") & (before["level_class"] != "above")
    assert list(after.index[cleared.to_numpy(bool)]) == []


def test_whole_millimetres_move_nothing(
    example: tuple[Tables, Settings, pd.DataFrame],
) -> None:
    """Moving every level, ground and flood level by 1.234 m changes no class and no margin."""
    tables, settings, before = example
    by = 1.234
    changed = dict(tables)
    changed["levels"] = tables["levels"].assign(level_m=tables["levels"]["level_m"] + by)
    floods = tables["floods"]
    changed["floods"] = floods.assign(
        level_m=floods["level_m"] + by, ground_m=floods["ground_m"] + by
    )
    ground = tables["ground"]
    changed["ground"] = ground.assign(
        ground_m=ground["ground_m"] + by, ring_low_m=ground["ring_low_m"] + by
    )
    after = _reach(changed, settings)
    assert (after["level_class"] == before["level_class"]).all()
    same = np.isclose(after["margin_mm"], before["margin_mm"], equal_nan=True)
    assert same.all()

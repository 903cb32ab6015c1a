"""`stanch trace --if-...`: another water or closed ends, worked out from the run folder alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.ask import what_if
from pipeline.core.errors import UsageError
from pipeline.exposure import exposure
from pipeline.publish.what_if import WhatIf, changed_water, stored_settings, stored_tables


def test_the_stored_tables_give_the_run_again(clean_run: Path) -> None:
    """Following the water through the tables of the folder gives the folder's own classes."""
    tables = stored_tables(clean_run)
    again = exposure(changed_water(tables, WhatIf()), stored_settings(clean_run))["reach"]
    kept = tables["reach"]
    for name in ("opening_id", "level_class", "margin_mm", "way_words", "reason"):
        pd.testing.assert_series_equal(again[name], kept[name], check_exact=True)


def test_raised_water_moves_every_known_margin_by_as_much(
    example_run: Path, table: Callable[[str], Any]
) -> None:
    """One water over one cover: 0.30 m more takes 300 mm of margin (static water, methods: C - P)."""
    reach = table("reach").set_index("opening_id")
    lines = what_if(example_run, "S08-B1-E1-01", WhatIf(raise_water_m=0.3))
    old = int(reach.at["S08-B1-E1-01", "margin_mm"])
    assert f"{old:+d} mm -> below, {old - 300:+d} mm" in "\n".join(lines)


def test_closing_a_package_changes_nothing_but_its_own_ends(
    example_run: Path, table: Callable[[str], Any]
) -> None:
    """Sealing at the wall of one building never opens, and clears, the ends of the package."""
    packages = table("packages")
    step = packages[packages["building_id"] == "S08-B1"].sort_values("step_no").iloc[0]
    lines = what_if(example_run, "S08-B1", WhatIf(closed=(step["package_id"],)))
    said = "\n".join(lines)
    for end in step["end_ids"].split(";"):
        assert f"{end}: below" in said
    assert said.count("taken as closed") == step["ends_count"]


def test_ends_that_do_not_exist_are_told_with_the_nearest(example_run: Path) -> None:
    """A wrong id ends in one message with what may be meant."""
    with pytest.raises(UsageError, match="S08-B1/99") as fault:
        what_if(example_run, "S08-B1", WhatIf(closed=("S08-B1/99",)))
    assert "S08-B1/" in fault.value.mend

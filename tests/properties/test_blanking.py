"""Less knowledge never dries anything: blanking any one cell of the clean sample (law 1 of the house)."""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.buying import load as load_buying
from pipeline.core.materials import load as load_materials
from pipeline.core.settings import Settings
from pipeline.core.survey import of_sheet
from pipeline.design import design
from pipeline.exposure import exposure
from pipeline.intake import delivery, intake
from pipeline.intake.headings import find_head, sheet_of
from pipeline.intake.readers import read_file
from pipeline.intake.sheets import Delivery, RawSheet
from pipeline.levels import levels
from pipeline.programme import programme
from pipeline.tables import Tables, hand_over

ROOT = Path(__file__).parents[2]
SEED = 20260302
# Columns in which a value is itself bad news or policy: a blank falls back on what stands here.
FALLBACKS = {
    "level_u_m": "the floor of the method: a stated doubt only ever adds",
    "u_m": "the floor of the method: a stated doubt only ever adds",
    "position_u_m": "the usual doubt of the method",
    "check_diff_mm": "no bias known",
    "freeboard_m": "the policy of the settings",
    "design_event": "the policy of the site's class",
    "water_state": "not seen: no water was observed",
    "water_below_cover_m": "standing water reaches up to the cover",
    "observed_value": "no mark",
    "what": "no mark",
    "ways_seen_count": "the rows that are listed",
    "drain_to": "the highest of sewer, river and sea",
    "pumped_out": "water state as it stands",
}


@cache
def _settings() -> Settings:
    return settings_file.load(ROOT / "configs" / "clean.toml")


@cache
def _delivered() -> tuple[Delivery, ...]:
    return tuple(read_file(path) for path in _settings().surveys.files)


def _run(deliveries: tuple[Delivery, ...], patch: pytest.MonkeyPatch) -> Tables:
    """All stages up to the packages, on deliveries that are already read."""
    settings = _settings()
    waiting = dict(zip(settings.surveys.files, deliveries, strict=True))

    def reader(path: Path) -> Delivery:
        return copy.deepcopy(waiting[path])

    patch.setattr(delivery, "read_file", reader)
    materials, buying = load_materials(settings.design.materials), load_buying(settings)
    tables = hand_over("intake", intake(settings))
    stages: tuple[tuple[str, Callable[[], Tables]], ...] = (
        ("levels", lambda: levels(tables, settings)),
        ("exposure", lambda: exposure(tables, settings)),
        ("design", lambda: design(tables, settings, materials=materials)),
        ("programme", lambda: programme(tables, settings, materials=materials, buying=buying)),
    )
    for name, stage in stages:
        new = hand_over(name, stage())
        tables.update({k: v for k, v in new.items() if k != "findings"})
    return tables


def _cells() -> list[tuple[int, int, int, int, str]]:
    """Every filled data cell: delivery, sheet, row, column, house name."""
    out = []
    for d, one in enumerate(_delivered()):
        for s, raw in enumerate(one.sheets):
            sheet = sheet_of(raw.name)
            if not sheet or sheet == "about":
                continue
            head = find_head(sheet, raw.cells, {})
            assert head is not None
            for r in range(head.row + 1, len(raw.cells)):
                out += [
                    (d, s, r, c, column.house_name)
                    for c, column in head.columns.items()
                    if c < len(raw.cells[r]) and raw.cells[r][c] not in (None, "")
                ]
    return out


def _blanked(cell: tuple[int, int, int, int, str]) -> tuple[Delivery, ...]:
    d, s, r, c, _ = cell
    out = copy.deepcopy(list(_delivered()))
    raw: RawSheet = out[d].sheets[s]
    raw.cells[r][c] = None
    return tuple(out)


@pytest.fixture(scope="module")
def base() -> Tables:
    """The clean sample as it is."""
    with pytest.MonkeyPatch.context() as patch:
        return _run(_delivered(), patch)


def _number(value: Any) -> float:
    return math.nan if value is None or pd.isna(value) else float(value)


def drier(before: Tables, after: Tables) -> list[str]:
    """What got drier between two runs; empty = nothing."""
    out = []
    old = before["reach"].set_index("opening_id")
    new = after["reach"].set_index("opening_id")
    for opening, row in old.iterrows():
        if opening not in new.index:
            continue
        now = new.loc[opening]
        if now["level_class"] == "above" and row["level_class"] != "above":
            out.append(f"{opening}: {row['level_class']} -> above")
        # another source may decide now: what counts is how far the opening stands over it
        was, is_now = _number(row["margin_mm"]), _number(now["margin_mm"])
        known = now["level_class"] not in ("no level", "no flood level")
        if known and not math.isnan(was) and is_now > was:
            out.append(f"{opening}: margin {was} -> {is_now} mm")
    ways = before["ends"].groupby("place_id").size()
    left = after["ends"].groupby("place_id").size()
    if len(after["ends"]) < len(before["ends"]):
        out.append(f"open ways {ways.sum()} -> {left.sum()}")
    out += _better(before, after)
    return out


def _better(before: Tables, after: Tables) -> list[str]:
    """Onsets that became rarer and benefits that grew, by building."""
    out = []
    first = {t: tables["packages"] for t, tables in ((0, before), (1, after))}
    for building in set(first[0]["building_id"]) & set(first[1]["building_id"]):
        old = first[0][first[0]["building_id"] == building]
        new = first[1][first[1]["building_id"] == building]
        was, now = (_number(f["before_chance_per_year"].max()) for f in (old, new))
        if now < was - 1e-9:
            out.append(f"{building}: chance of water inside {was} -> {now}")
        # 'up to' is no benefit but its upper bound, and says so
        stated = (f[f["gain"] == "benefit"] for f in (old, new))
        gain, more = (f["avoided_minor_per_year"].max() for f in stated)
        if _number(more) > _number(gain) + 1:
            out.append(f"{building}: benefit {gain} -> {more}")
    return out


def _sample(count: int) -> list[tuple[int, int, int, int, str]]:
    """At least one cell of every column, then a seeded draw."""
    cells = [c for c in _cells() if c[4] not in FALLBACKS]
    draw = random.Random(SEED)
    draw.shuffle(cells)
    first: dict[tuple[int, int, str], tuple[int, int, int, int, str]] = {}
    for cell in cells:
        first.setdefault((cell[0], cell[1], cell[4]), cell)
    chosen = list(first.values())
    chosen += [c for c in cells if c not in set(chosen)]
    return chosen[:count]


def _check(cells: list[tuple[int, int, int, int, str]], base: Tables) -> None:
    faults = []
    for cell in cells:
        with pytest.MonkeyPatch.context() as patch:
            after = _run(_blanked(cell), patch)
        name = _delivered()[cell[0]].sheets[cell[1]].name
        faults += [f"{name} row {cell[2] + 1} {cell[4]}: {d}" for d in drier(base, after)]
    assert faults == []


def test_fallbacks_name_real_columns() -> None:
    """The exceptions are columns of the survey, each with what a blank falls back on."""
    sheets = ("visits", "sites", "buildings", "chambers", "entries", "ducts", "level_points",
              "observations", "flood_levels")  # fmt: skip
    names = {c.house_name for sheet in sheets for c in of_sheet(sheet)}
    assert set(FALLBACKS) <= names
    assert all(FALLBACKS.values())


def test_a_sample_of_blanked_cells_dries_nothing(base: Tables) -> None:
    """No class moves to above, no onset level or benefit rises, no open way is lost."""
    _check(_sample(6), base)


@pytest.mark.slow
def test_every_column_blanked_dries_nothing(base: Tables) -> None:
    """The same for a cell of every column of every sheet, and more."""
    _check([c for c in _sample(110) if c not in _sample(6)], base)

"""Random damaged workbooks: every row counted, no exception, every damage told at its cell."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pipeline.intake import check
from tests.properties.damage import KINDS, Bench

CLEAN = Path(__file__).parents[2] / "sample_surveys" / "clean" / "clean.xlsx"
SEED = 20261125
# numbers that make a level, a size or an open way: none may change without a word
CARED_FOR = {
    "ends": ("end_id", ("dip_down_m", "level_m", "invert_level_m", "bore_mm")),
    "chambers": ("chamber_id", ("cover_level_m", "depth_m", "ways_seen_count")),
    "points": ("point_id", ("level_m",)),
    "cables": ("cable_id", ("diameter_mm", "cable_count")),
}


@cache
def base() -> dict[str, Any]:
    """Tables of the clean sample as it is."""
    return check([CLEAN])


def damaged(number: int, folder: Path) -> tuple[Path, Bench, list[str]]:
    """Workbook of a number: one to four kinds of damage, the same each time."""
    rng = random.Random(SEED + number)
    bench = Bench(openpyxl.load_workbook(CLEAN), rng)
    names = rng.sample(sorted(KINDS), rng.randint(1, 4))
    # what moves rows comes first, so that cells keep the address they were damaged at
    names.sort(
        key=lambda n: (
            n not in ("title_above", "blank_rows"),
            n in ("another_sheet_name", "another_heading"),
        )
    )
    for name in names:
        KINDS[name](bench)
    path = folder / f"damaged-{number}.xlsx"
    bench.book.save(path)
    return path, bench, names


def faults_of(path: Path, bench: Bench) -> list[str]:
    """What went wrong in reading a damaged workbook; empty = nothing."""
    tables = check([path])
    counts, findings = tables["counts"], tables["findings"]
    out = []
    rows = int(counts["rows_count"].sum())
    wanted = int(base()["counts"]["rows_count"].sum()) + bench.extra_rows
    states = counts[["used_count", "asked_count", "refused_count"]].to_numpy().sum()
    if rows != wanted or rows != states:
        out.append(f"{rows} rows counted, {states} with a state, {wanted} in the file")
    for code, sheet, cell in bench.expected:
        same = findings[(findings["code"] == code) & (findings["sheet"] == sheet)]
        if cell and not _tells(same, cell):
            out.append(f"{code} not told at {sheet}!{cell}: {same['cell'].tolist()}")
        if same.empty:
            out.append(f"{code} not told on {sheet}")
    return out + _silent(tables, bench)


def _tells(same: pd.DataFrame, cell: str) -> bool:
    """At the cell, or in a line that names its row among others."""
    row = "".join(c for c in cell if c.isdigit())
    return any(
        f["cell"] == cell or row in "".join(x if x.isdigit() else " " for x in f["message"]).split()
        for f in same.to_dict("records")
    )


def _silent(tables: dict[str, Any], bench: Bench) -> list[str]:
    """Numbers that changed and are neither blank, nor in question, nor told."""
    out = []
    told = set(
        zip(tables["findings"]["sheet"], tables["findings"]["row"], tables["findings"]["column"],
            strict=True)
    )  # fmt: skip
    for name, (key, columns) in CARED_FOR.items():
        old, new = base()[name].set_index(key), tables[name].set_index(key)
        for an_id in old.index:
            if an_id not in new.index:
                if an_id not in bench.moved:
                    out.append(f"{name} {an_id} is lost")
                continue
            for column in columns:
                was, now = old.loc[an_id, column], new.loc[an_id, column]
                row = new.loc[an_id]
                if pd.isna(now) or was == now or column in str(row["doubted"]):
                    continue
                if (row["sheet"], row["row"], column) not in told:
                    out.append(f"{name} {an_id} {column}: {was} -> {now} without a word")
    if len(tables["ends"]) < len(base()["ends"]):
        out.append("an open way is lost")
    return out


def _run(numbers: range, folder: Path) -> None:
    faults = []
    for number in numbers:
        path, bench, names = damaged(number, folder)
        faults += [f"{number} {names}: {f}" for f in faults_of(path, bench)]
        path.unlink()
    assert faults == []


def test_there_are_enough_kinds() -> None:
    """At least 25 named kinds, each with a sentence that says what it is."""
    assert len(KINDS) >= 25
    assert all(f.__doc__ for f in KINDS.values())


@pytest.mark.parametrize("name", sorted(KINDS))
def test_each_kind_by_itself(name: str, tmp_path: Path) -> None:
    """One damage: told at its cell, or nothing to tell and nothing changed."""
    bench = Bench(openpyxl.load_workbook(CLEAN), random.Random(SEED))
    KINDS[name](bench)
    path = tmp_path / "one.xlsx"
    bench.book.save(path)
    assert faults_of(path, bench) == []


@pytest.mark.parametrize("part", range(4))
def test_random_workbooks(part: int, tmp_path: Path) -> None:
    """200 workbooks, fixed seed: rows in = used + asked + refused, no exception, nothing silent."""
    _run(range(part * 50, part * 50 + 50), tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(8))
def test_two_thousand_random_workbooks(part: int, tmp_path: Path) -> None:
    """1,800 more."""
    _run(range(200 + part * 225, 200 + part * 225 + 225), tmp_path)

"""The committed example programme: complete, small, and the same whenever it is made again."""

from __future__ import annotations

import csv
import hashlib
import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import rasterio

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "sample_surveys" / "example"
CLEAN = ROOT / "sample_surveys" / "clean"
SURVEYS = EXAMPLE / "surveys"
MOST_FILE_BYTES = 1_000_000
MOST_ALL_BYTES = 5_000_000
# how many of each the example must hold (the programme's definition of its example)
LEAST_ROWS = {
    "sites": 30, "buildings": 46, "chambers": 145, "entries": 125, "ducts": 720, "cables": 950,
}  # fmt: skip
HOUSE_BORES_MM = {"90", "103", "118", "125", "138", "144"}


def _files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.rglob("*") if p.is_file())


def _rows_of_workbook(path: Path) -> dict[str, list[dict[str, object]]]:
    """Rows per sheet, read with openpyxl alone: the header is the first row with three names."""
    out: dict[str, list[dict[str, object]]] = {}
    for sheet in openpyxl.load_workbook(path):
        rows = [[c.value for c in row] for row in sheet.iter_rows()]
        head = next((i for i, r in enumerate(rows) if len([v for v in r if v]) >= 3), None)
        if head is None:
            continue
        names = [str(v) for v in rows[head]]
        out[sheet.title] = [
            dict(zip(names, r, strict=True)) for r in rows[head + 1 :] if any(v for v in r)
        ]
    return out


def _all_rows() -> dict[str, list[dict[str, object]]]:
    out: dict[str, list[dict[str, object]]] = {}
    for path in sorted(SURVEYS.glob("*.xlsx")):
        if path.stem == "third_isles_later":  # a web page under a workbook's name
            continue
        for sheet, rows in _rows_of_workbook(path).items():
            out.setdefault(sheet, []).extend(rows)
    for path in sorted((SURVEYS / "new_approaches").glob("*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as source:
            out.setdefault(path.stem, []).extend(dict(r) for r in csv.DictReader(source))
    return out


def _golden(name: str) -> list[dict[str, str]]:
    with (Path(__file__).parent / name).open(encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


def test_files_are_small_enough_to_commit() -> None:
    """No file over 1 MB, all together under 5 MB."""
    sizes = {p.name: p.stat().st_size for p in _files(EXAMPLE) + _files(CLEAN)}
    assert max(sizes.values()) < MOST_FILE_BYTES
    assert sum(sizes.values()) < MOST_ALL_BYTES


def test_the_example_is_as_large_as_asked_for() -> None:
    """Counts of rows, counted by another reader than ours."""
    rows = _all_rows()
    for sheet, least in LEAST_ROWS.items():
        assert len(rows[sheet]) >= least, sheet


def test_the_clean_sample_is_small_and_complete() -> None:
    """Three sites, five buildings, twelve chambers and entries, forty ends."""
    rows = _rows_of_workbook(CLEAN / "clean.xlsx")
    counts = {s: len(rows[s]) for s in ("sites", "buildings", "chambers", "entries", "ducts")}
    assert counts == {"sites": 3, "buildings": 5, "chambers": 12, "entries": 12, "ducts": 40}


def test_sizes_of_the_clean_sample_are_its_own() -> None:
    """The samples use other sizes than the reference case that everybody knows."""
    rows = _rows_of_workbook(CLEAN / "clean.xlsx")
    assert {str(r["bore_mm"]) for r in rows["ducts"]} <= HOUSE_BORES_MM
    assert "37" not in {str(r["diameter_mm"]) for r in rows["cables"]}


def test_every_typed_fault_is_spread_over_files_and_codes() -> None:
    """At least 40 faults of at least 30 codes, some in every kind of file and from every firm."""
    faults = _golden("expected_faults.csv")
    assert len(faults) >= 40
    assert len({f["code"] for f in faults}) >= 30
    assert len({(f["code"], f["file"], f["sheet"], f["cell"]) for f in faults}) == len(faults)
    per_file = Counter(f["file"].split("/")[0] for f in faults)
    assert set(per_file) == {
        "first_north.xlsx", "second_south.xlsx", "third_isles_indoors.xlsx",
        "third_isles_street.xlsx", "third_isles_later.xlsx", "new_approaches",
        "new_approaches_chambers.gpx", "rover_points.gpkg", "small_start.xlsx",
    }  # fmt: skip


def test_every_fault_names_a_file_that_is_there() -> None:
    """The typed list and the files do not drift apart."""
    for fault in _golden("expected_faults.csv"):
        assert (SURVEYS / fault["file"]).is_file(), fault


def test_pools_hold_the_typed_levels() -> None:
    """The 1 % grid holds the levels that the hand calculations start from, and no others there."""
    # pool by pool: an easting in its middle, and its 1 % level as typed in the land's table
    typed = {491_900.0: 21.40, 494_200.0: 17.90, 496_900.0: 14.60, 499_300.0: 11.20}
    with rasterio.open(EXAMPLE / "flood" / "level_1pc.tif") as grid:
        values = grid.read(1)
        for east, level in typed.items():
            column = int((east - grid.bounds.left) // 20)
            wet = values[:, column][values[:, column] != grid.nodata]
            assert wet.size > 20
            assert np.allclose(wet, level, atol=1e-5)


def test_a_rarer_flood_is_never_lower_or_smaller() -> None:
    """Levels rise with rarity in every cell, and no wet cell dries."""
    folder = EXAMPLE / "flood"
    before = None
    for name in ("10pc", "3p33pc", "1pc", "0p5pc", "0p1pc"):
        with rasterio.open(folder / f"level_{name}.tif") as grid:
            level = np.where(grid.read(1) == grid.nodata, -np.inf, grid.read(1))
        if before is not None:
            assert (level >= before).all()
        before = level


def test_hand_levels_add_up() -> None:
    """In the typed table margin = let-in level - policy level; a slip of the pen would show."""
    rows = _golden("hand_levels.csv")
    assert sum(r["kind"] == "end" for r in rows) >= 20
    assert sum(r["kind"] == "building" for r in rows) == 5
    for row in rows:
        if row["margin_mm"]:
            gap = float(row["let_in_level_m"]) - float(row["policy_level_m"])
            assert round(gap * 1000) == int(row["margin_mm"]), row["id"]


@pytest.mark.slow
def test_making_it_again_gives_the_same_bytes(tmp_path: Path) -> None:
    """The committed files are what the script writes, byte for byte."""
    subprocess.run(
        [sys.executable, "-m", "sample_surveys.make_example", "--to", str(tmp_path)],
        check=True, cwd=ROOT, capture_output=True,
    )  # fmt: skip
    for folder in (EXAMPLE, CLEAN):
        made = tmp_path / folder.name
        names = [p.relative_to(folder) for p in _files(folder)]
        assert names == [p.relative_to(made) for p in _files(made)]
        for name in names:
            old, new = (folder / name).read_bytes(), (made / name).read_bytes()
            assert hashlib.sha256(old).digest() == hashlib.sha256(new).digest(), name

"""`stanch trace` on a run of the example: what it says is what the tables and the survey hold."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

STANCH = str(Path(sys.executable).with_name("stanch"))
SURVEYS = Path(__file__).parents[2] / "sample_surveys" / "example" / "surveys"


def call(*words: str) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    return subprocess.run([STANCH, "trace", *words], capture_output=True, text=True, check=False,
                          timeout=60)  # fmt: skip


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """A table of the run, read with the csv module alone."""
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    "wanted",
    ["below", "too close to call", "above", "no level", "no flood level"],
)
def test_an_end_of_every_class_is_explained(example_run: Path, wanted: str) -> None:
    """Class, margin, reason and every step of the way stand in the lines; code 0."""
    row = next(r for r in rows(example_run, "reach")
               if r["level_class"] == wanted and r["opening_kind"] == "duct end")  # fmt: skip
    done = call(str(example_run), row["opening_id"])
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[1].strip().startswith(f"{wanted}, ")
    assert row["reason"] in done.stdout
    for step in filter(None, row["way_words"].split(" -> ")):
        assert step in done.stdout
    assert "What would change it" in done.stdout


def test_a_level_leads_to_the_cell_of_the_survey(example_run: Path) -> None:
    """The cell that is named holds the number of the path, read with openpyxl from the survey."""
    checked = 0
    for level in rows(example_run, "levels"):
        cells = re.findall(r"(\w+)!([A-Z]+\d+) in (\S+\.xlsx)", level["cells"])
        if level["thing_kind"] != "duct end" or len(cells) != 1 or "level " not in level["path"]:
            continue
        done = call(str(example_run), level["thing_id"])
        sheet, cell, file = cells[0]
        assert f"{sheet}!{cell} in {file}" in done.stdout
        value = openpyxl.load_workbook(SURVEYS / file, read_only=True)[sheet][cell].value
        assert f"{float(value):.3f} m" in done.stdout
        checked += 1
        if checked == 3:
            return
    assert checked


def test_building_and_site_show_ladder_and_rank(example_run: Path) -> None:
    """The first building of the programme: its packages with their costs, and its reason."""
    choice = next(r for r in rows(example_run, "choices") if r["rank"] == "1")
    done = call(str(example_run), choice["building_id"])
    assert choice["reason"] in done.stdout
    for package in rows(example_run, "packages"):
        if package["building_id"] == choice["building_id"]:
            assert package["package_id"] in done.stdout
    site = call(str(example_run), choice["site_id"])
    assert choice["reason"] in site.stdout


def test_the_run_folder_is_enough(example_run: Path, tmp_path: Path) -> None:
    """A copy of the folder elsewhere explains the same, without surveys or settings."""
    copy = tmp_path / "copy"
    shutil.copytree(example_run, copy)
    an_id = rows(example_run, "reach")[0]["opening_id"]
    assert call(str(copy), an_id).stdout == call(str(example_run), an_id).stdout


def test_a_wrong_id_or_folder_is_a_clear_message(example_run: Path, tmp_path: Path) -> None:
    """Code 4, the nearest ids, no traceback."""
    an_id = rows(example_run, "reach")[0]["opening_id"]
    done = call(str(example_run), f"{an_id}x")
    assert (done.returncode, an_id in done.stderr) == (4, True)
    done = call(str(tmp_path), an_id)
    assert done.returncode == 4
    assert "is no run folder" in done.stderr

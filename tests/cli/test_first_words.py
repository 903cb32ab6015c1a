"""What a new user types first, and what the terminal says to it."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.spoiled import CLEAN, Book, Programme

STANCH = str(Path(sys.executable).with_name("stanch"))
MOST_LINES = 6  # of what was not made


def call(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    return subprocess.run([STANCH, *(str(w) for w in words)], capture_output=True, text=True,
                          check=False, timeout=300)  # fmt: skip


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """A table of a run, read with the csv module alone."""
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A survey with a question, and its question list."""
    folder = tmp_path_factory.mktemp("asked")
    book = Book("every_word.xlsx")
    book.type("entries", "W02-B1-E1", "front_space_mm", 9000)
    survey, questions = book.save(folder / "survey.xlsx"), folder / "questions.xlsx"
    assert call("check", survey, "--questions", questions).returncode == 1
    return survey, questions


# --- check: question lists, counts of what was not made, what is read besides ---------------------


def test_a_question_list_alone_is_told_what_it_is(asked: tuple[Path, Path]) -> None:
    """It is no survey: the message names the list and both ways to give it; beside it, it is read."""
    survey, questions = asked
    alone = call("check", questions)
    assert alone.returncode == 4
    assert "questions.xlsx is a list of questions of ours, not a survey." in alone.stderr
    assert "stanch check SURVEY.xlsx questions.xlsx" in alone.stderr
    assert "answers in [surveys]" in alone.stderr
    assert "sites, chambers" not in alone.stdout + alone.stderr
    beside = call("check", questions, survey)
    assert beside.returncode == 1
    assert "file-01" not in beside.stdout


def test_a_list_beside_an_incomplete_survey_is_not_blamed(
    asked: tuple[Path, Path], tmp_path: Path
) -> None:
    """A sheet that is absent is said of the survey, also where the list is named first."""
    book = Book("every_word.xlsx")
    book.book.remove(book.page("entries"))
    survey = book.save(tmp_path / "part.xlsx")
    done = json.loads(call("check", asked[1], survey, "--format", "json").stdout)
    files = [f["file"] for f in done["findings"] if f["code"] == "file-01"]
    assert files == ["part.xlsx"]


def test_a_refused_file_alone_is_one_line(tmp_path: Path) -> None:
    """What could not be opened is not asked for its sheets as well."""
    (tmp_path / "notes.md").write_text("ducts\n", "utf-8")
    done = json.loads(call("check", tmp_path / "notes.md", "--format", "json").stdout)
    assert [f["code"] for f in done["findings"]] == ["file-26"]


def test_checks_not_made_are_counted_in_few_lines_and_listed_on_demand() -> None:
    """The counts by need add up to the list of --not-made and to that of the JSON."""
    survey = CLEAN / "every_word.xlsx"
    short = call("check", survey).stdout
    said = short[short.index("checks were not made") - 4 :]
    assert len(said.strip().splitlines()) <= MOST_LINES
    counts = [int(n) for n in re.findall(r"(?:places|levels|floods|settings) (\d+)", said)]
    first, seals = (int(n) for n in re.findall(r"(\d+) checks", said))
    assert (len(counts), sum(counts)) == (4, first)
    long = call("check", survey, "--not-made").stdout
    listed = re.findall(r"^  ([a-z]+-\d\d)  ", long, re.MULTILINE)
    data = json.loads(call("check", survey, "--format", "json").stdout)["not_made"]
    assert sorted(listed) == sorted(d["code"] for d in data)
    assert len(set(listed)) == len(listed) == first + seals
    assert all(d["test"] for d in data)


def test_check_with_settings_says_what_it_reads_of_them(tmp_path: Path) -> None:
    """Of two survey files in the settings one is named: the other is told as not read."""
    programme = Programme(tmp_path)
    programme.change('survey.xlsx"', 'survey.xlsx", "other.xlsx"')
    config = programme.config()
    shutil.copy(CLEAN / "every_word.xlsx", tmp_path / "other.xlsx")
    part = call("check", tmp_path / "survey.xlsx", "--config", config)
    assert "Not read: 1 survey file of the settings (other.xlsx)" in part.stdout.replace("\n", " ")
    assert "Read besides, as the settings name them" in part.stdout
    assert "2 checks need designed seals; a run makes them." in part.stdout
    both = (tmp_path / "survey.xlsx", tmp_path / "other.xlsx", "--config", config)
    assert "Not read" not in call("check", *both).stdout


# --- ids in another case --------------------------------------------------------------------------


def test_trace_takes_an_id_in_another_case_and_says_so(example_run: Path) -> None:
    """Small letters give the same lines below one that names the id; alike for closed ends."""
    end = rows(example_run, "reach")[0]["opening_id"]
    assert end != end.lower()
    plain, small = call("trace", example_run, end), call("trace", example_run, end.lower())
    first, _, rest = small.stdout.partition("\n")
    assert f'"{end.lower()}" is read as {end}' in first
    assert rest == plain.stdout
    package = rows(example_run, "packages")[0]
    closed = package["package_id"]
    asked = call("trace", example_run, package["building_id"], "--if-closed", closed.lower())
    assert asked.returncode == 0, asked.stderr
    assert f"is read as {closed}" in asked.stdout
    assert f"{closed} were closed" in asked.stdout
    drawn = next(d["end_id"] for d in rows(example_run, "designs") if d["is_designed"] == "True")
    later = call("trace", example_run, drawn.lower(), "--add-cable-mm", "9").stdout.splitlines()
    assert f"is read as {drawn}" in later[0]
    assert later[1].startswith(f"{drawn}: one more cable")


def test_only_takes_a_region_in_another_case_and_says_what_is_counted(
    root: Path, tmp_path: Path
) -> None:
    """`--only isles`: rows are of all regions and said to be; things are those of the region."""
    out = tmp_path / "isles"
    config = root / "configs" / "clean.toml"
    region = next(r["region"] for r in rows_of_sites(root))
    done = call("run", config, "--only", region.upper(), "--out", out)
    assert done.returncode == 0, done.stderr
    assert f'"{region.upper()}" is read as {region}' in done.stdout
    assert "Surveys of all regions: " in done.stdout
    sites = {r["site_id"] for r in rows_of_sites(root) if r["region"] == region}
    chambers = {r["chamber_id"] for r in rows(out, "chambers") if r["site_id"] in sites}
    said = re.search(rf"Only {region}: (\d+) sites, \d+ buildings, (\d+) chambers", done.stdout)
    assert said is not None, done.stdout
    assert (int(said[1]), int(said[2])) == (len(sites), len(chambers))
    none = call("run", config, "--only", "nowhere", "--out", tmp_path / "none")
    assert none.returncode == 4
    assert "Its regions are: " in none.stderr


def rows_of_sites(root: Path) -> list[dict[str, str]]:
    """Sites of the clean workbook, read with openpyxl."""
    book = Book("clean.xlsx")
    names = [str(c.value) for c in book.page("sites")[1]]
    return [dict(zip(names, map(str, r), strict=True))
            for r in book.page("sites").iter_rows(min_row=2, values_only=True) if r[0]]  # fmt: skip

"""The check behind the intake page: its limits, its result, its question list."""

from __future__ import annotations

import asyncio
import csv
import zipfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.cli.app import app
from pipeline.core.findings import Cell, make, table
from pipeline.serve.checker import DONE, FAILED, IDLE, Checker
from pipeline.serve.desk import Desk, Given
from pipeline.serve.limits import Limits
from pipeline.serve.receive import Part
from pipeline.serve.work import result_of, write_answers
from tests.serving import ROOT

HEAD = b"chamber_id,site_id,depth_m\n"


def desk_with(tmp_path: Path, limits: Limits, **files: bytes) -> Desk:
    """A desk on which CSV files of one drop lie."""
    desk = Desk.open(tmp_path / "desk", limits)
    parts = []
    for number, (name, data) in enumerate(files.items()):
        path = desk.incoming / f"in-{number:04d}"
        path.write_bytes(data)
        parts.append(Part(f"{name}.csv", path, len(data)))
    told = desk.take(parts, takes_place=True)
    assert all(t.is_taken for t in told), told
    return desk


def checked(desk: Desk, config: Path | None = None) -> Checker:
    """The state after one check."""

    async def go() -> Checker:
        checker = Checker(desk, config)
        checker.changed()
        await checker.wait(60)
        await checker.close()
        return checker

    return asyncio.run(go())


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Checker:
    """Two sheets that came together, checked once without settings."""
    desk = desk_with(
        tmp_path_factory.mktemp("plain"), Limits(), sites=b"site_id,region\nS1,North\n",
        chambers=HEAD + b"C1,S1,1.2\nC2,S1,deep\n\n",
    )  # fmt: skip
    return checked(desk)


def test_csv_files_of_one_drop_are_one_delivery(plain: Checker) -> None:
    """They are read as a folder, so that `about` speaks for the others; counts are the rows."""
    assert [p.name for p in plain.desk.paths()] == ["drop-1"]
    assert plain.state == DONE
    assert plain.result is not None
    counts = {c["sheet"]: c["rows_count"] for c in plain.result["counts"]}
    assert counts == {"sites": 1, "chambers": 2}
    assert {c["file"] for c in plain.result["counts"]} == {
        "drop-1/sites.csv", "drop-1/chambers.csv",
    }  # fmt: skip
    assert any("deep" in line["as_read"] for line in plain.result["lines"])


def test_the_question_list_is_that_of_check(plain: Checker, tmp_path: Path) -> None:
    """The same files through `stanch check --questions` give the same sheets, byte by byte."""
    own = tmp_path / "own.xlsx"
    app(["check", *map(str, plain.desk.paths()), "--questions", str(own)], standalone_mode=False)
    with zipfile.ZipFile(own) as one, zipfile.ZipFile(plain.desk.out / "questions.xlsx") as other:
        assert one.namelist() == other.namelist()
        for name in one.namelist():
            assert one.read(name) == other.read(name), name


def test_a_check_that_takes_too_long_is_ended_and_told(tmp_path: Path) -> None:
    """The state is a fault with its remedy, and the next check can be made."""
    desk = desk_with(tmp_path, Limits(check_s=0.05), chambers=HEAD + b"C1,S1,1.2\n")
    checker = checked(desk)
    assert checker.state == FAILED
    assert "took longer than" in checker.fault["what"]
    assert checker.fault["mend"]
    assert desk.remove(1, "chambers.csv")
    assert checked(desk).state == IDLE


def test_a_process_that_dies_is_told_and_started_anew(tmp_path: Path) -> None:
    """As a system does to one that takes all memory: one line, and the next check is made."""
    desk = desk_with(tmp_path, Limits(), chambers=HEAD + b"C1,S1,1.2\n")

    async def go() -> tuple[str, str, str]:
        checker = Checker(desk, None)
        await checker.warm()
        assert checker._process is not None
        checker.changed()
        checker._process.kill()
        await checker.wait(60)
        first, what = checker.state, checker.fault["what"]
        checker.changed()
        await checker.wait(60)
        await checker.close()
        return first, what, checker.state

    assert asyncio.run(go()) == (FAILED, "The check ended before it was done.", DONE)


def test_a_fault_of_the_settings_is_told(tmp_path: Path) -> None:
    """What is wrong with the settings file comes in the words of `check`."""
    config = tmp_path / "broken.toml"
    config.write_text("[programme\n")
    checker = checked(desk_with(tmp_path, Limits(), chambers=HEAD + b"C1,S1,1.2\n"), config)
    assert checker.state == FAILED
    assert "broken.toml" in " ".join(checker.fault.values())


def _given(**more: str) -> dict[str, str]:
    before = dict.fromkeys(
        ("line_id", "key", "column", "code", "as_read", "text", "by_whom", "on", "place",
         "question"), "",
    )  # fmt: skip
    return before | more


def test_answers_are_written_as_text_and_the_same_each_time(tmp_path: Path) -> None:
    """No formula comes of an answer; very many keys are cut between two of them."""
    keys = " ; ".join(f"chambers/C{n}" for n in range(5_000))
    answers = [_given(key="chambers/C1", text="=1+1"), _given(key=keys, text="http://x")]
    one = write_answers(tmp_path / "one.xlsx", answers).read_bytes()
    assert one == write_answers(tmp_path / "two.xlsx", answers).read_bytes()
    with zipfile.ZipFile(tmp_path / "one.xlsx") as packed:
        page = packed.read("xl/worksheets/sheet1.xml")
        assert b"<f>" not in page
        assert b"hyperlink" not in page
    cells = pd.read_excel(tmp_path / "one.xlsx", dtype=str, engine="openpyxl")
    assert cells["Answer"].tolist() == ["=1+1", "http://x"]
    last = cells["Key"][1].split(" ; ")[-1]
    assert last in keys.split(" ; ")
    assert len(cells["Key"][1]) <= 32_767  # the most that a cell holds (Excel's specification)


def test_a_blank_answer_takes_the_earlier_one_back(tmp_path: Path) -> None:
    """Answers are kept by their line, over a new start too."""
    desk = desk_with(tmp_path, Limits())
    given = Given(**_given(line_id="x", key="chambers/C1", text="yes"))
    desk.answer([given])
    assert Desk.open(desk.folder, Limits()).answers == {"x": given}
    desk.answer([Given(**_given(line_id="x", key="chambers/C1"))])
    assert Desk.open(desk.folder, Limits()).answers == {}


def test_lines_stand_in_walking_order_and_rows_without_id_have_no_box(
    clean_run_tables: dict[str, Any],
) -> None:
    """From place to nearest place; what belongs to no place comes first; id-01 takes no answer."""
    tables = clean_run_tables
    sites = tables["sites"].sort_values("x_m")
    spots = sites[sites["x_m"].notna()]["site_id"].tolist()
    findings = [
        make("file-08", Cell(file="a.xlsx", sheet="sites", row=n, column="name"),
             key=f"sites/{an_id}", place_id=an_id, site_id=an_id)
        for n, an_id in enumerate(spots[::-1])
    ]  # fmt: skip
    findings.append(make("id-01", Cell(file="a.xlsx", sheet="sites", row=99), key="sites/a!s!99"))
    findings.append(make("file-18", Cell(file="b.xlsx"), key="file/b.xlsx"))
    result = result_of({**tables, "findings": table(findings)}, has_settings=True)
    lines = result["lines"]
    places = [line["place_id"] for line in lines if line["code"] == "file-08"]
    assert places == sorted(spots)  # sites are walked by name, places within one by distance
    assert lines[0]["place_id"] == ""
    assert {c["code"]: c["is_answerable"] for c in lines}["id-01"] is False
    assert len({line["line_id"] for line in lines}) == len(lines) == len(findings)
    assert result["not_made"] == []


@pytest.fixture
def clean_run_tables() -> dict[str, Any]:
    """Survey tables of the clean sample, by the intake alone."""
    from pipeline.run import check

    tables, _ = check([], config=ROOT / "configs" / "clean.toml")
    return tables


def test_checks_that_were_not_made_are_named(plain: Checker) -> None:
    """Without settings the page names the checks that it lacks, in the register's words."""
    assert plain.result is not None
    with (ROOT / "pipeline/core/data/rules.csv").open(encoding="utf-8", newline="") as file:
        register = {row["test"] for row in csv.DictReader(file)}
    assert plain.result["not_made"]
    assert set(plain.result["not_made"]) <= register

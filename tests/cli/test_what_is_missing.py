"""What is not there is named: folders to write in, sheets of a workbook, sites of a region."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from pipeline.core.errors import UsageError
from pipeline.core.new_files import check_new_book
from pipeline.run import check, exit_code
from tests.spoiled import CLEAN, Book, Programme

STANCH = str(Path(sys.executable).with_name("stanch"))


def call(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    return subprocess.run([STANCH, *(str(w) for w in words)], capture_output=True, text=True,
                          check=False, timeout=300)  # fmt: skip


def test_a_question_list_that_cannot_be_written_is_told_before_anything_is_read(
    tmp_path: Path,
) -> None:
    """No folder, another ending, a folder of that name: code 4 and the words of `template`."""
    survey = CLEAN / "clean.xlsx"
    (tmp_path / "folder.xlsx").mkdir()
    for name, words in (("nodir/q.xlsx", f"There is no folder {tmp_path / 'nodir'}."),
                        ("q.txt", "q.txt must end in .xlsx."),
                        ("folder.xlsx", "folder.xlsx exists already.")):  # fmt: skip
        done = call("check", survey, "--questions", tmp_path / name)
        assert (done.returncode, words in done.stderr) == (4, True), done.stderr
        assert "Rows" not in done.stdout
    done = call("check", survey, "--questions", tmp_path / "folder.xlsx", "--replace")
    assert done.returncode == 4
    assert "folder.xlsx cannot be written." in done.stderr
    said = call("template", tmp_path / "nodir" / "t.xlsx").stderr
    assert f"There is no folder {tmp_path / 'nodir'}." in said


def test_a_file_that_is_closed_to_writing_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the system says that writing is not allowed, or fails at the end: no fault of ours."""
    from pipeline.publish.book import Book as OwnBook

    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(UsageError, match=r"q\.xlsx cannot be written"):
        check_new_book(tmp_path / "q.xlsx", replace=False)
    book = OwnBook(tmp_path / "gone" / "q.xlsx", title="t", run_label="")
    with pytest.raises(UsageError, match=r"q\.xlsx cannot be written"):
        book.close()


def test_the_sheets_that_were_found_are_named(tmp_path: Path) -> None:
    """A workbook of other sheets: each is named, so that the reader sees which file he sent."""
    book = openpyxl.Workbook()
    book.active.title = "Summary"  # type: ignore[union-attr]
    book.create_sheet("Order by date").append(["a", "b"])
    book.save(tmp_path / "schedule.xlsx")
    tables, _ = check([tmp_path / "schedule.xlsx"])
    (found,) = tables["findings"].query("code == 'file-01'").to_dict("records")
    assert "Sheets found: Order by date, Summary." in found["message"]


@pytest.mark.parametrize("other", ["", "notes.pdf"])
def test_a_folder_without_anything_to_read_is_told_so(tmp_path: Path, other: str) -> None:
    """An empty folder is no workbook without sheets."""
    folder = tmp_path / "surveys"
    folder.mkdir()
    if other:
        (folder / other).write_bytes(b"%PDF-1.4")
    tables, _ = check([folder])
    (found,) = tables["findings"].to_dict("records")
    assert found["code"] == "file-26"
    assert "a folder that holds no file that can be read" in found["message"]
    assert exit_code(tables) == 2


def test_a_region_without_a_site_is_told_before_the_work(tmp_path: Path) -> None:
    """`--only` a region of the settings in which no site stands: code 4, and where sites are."""
    config = Programme(tmp_path).config()
    known = {str(r[0].value) for r in Book("clean.xlsx").page("sites")["C2":"C99"]}
    empty = next(r for r in ("South", "Isles", "North") if r not in known)
    done = call("run", config, "--only", empty.lower(), "--out", tmp_path / "out")
    assert done.returncode == 4, done.stdout
    assert f"There is no site in {empty}." in done.stderr
    assert "hold sites in: " in done.stderr
    assert not (tmp_path / "out").exists()

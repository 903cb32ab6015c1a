"""Run folders that are damaged: one message and code 4, never an answer without the table."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.core.errors import UsageError
from pipeline.publish.compare_folder import Run
from pipeline.publish.stored_run import read_record, read_table
from pipeline.publish.trace_folder import _TABLES, RunFolder
from pipeline.tables import REGISTRY


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A run folder of heads alone."""
    home = tmp_path / "run-001"
    (home / "tables").mkdir(parents=True)
    (home / "run.json").write_text("{}", "utf-8")
    for name in {*_TABLES, "ends", "needs", "order_lines"}:
        head = ",".join(REGISTRY[name].names)
        (home / "tables" / f"{name}.csv").write_text(head + "\n", "utf-8-sig")
    return home


@pytest.mark.parametrize("reader", [RunFolder, Run])
def test_a_whole_folder_is_read(folder: Path, reader: type) -> None:
    """The folder that the other tests damage is one that is read."""
    reader(folder)


@pytest.mark.parametrize("reader", [RunFolder, Run])
@pytest.mark.parametrize("text", ["{", "", "[1, 2]", "null", "\x00\x01", "[" * 100_000])
def test_a_damaged_record_is_named(folder: Path, reader: type, text: str) -> None:
    """A record that is cut off, empty or no record at all."""
    (folder / "run.json").write_text(text, "utf-8")
    with pytest.raises(UsageError, match=r"run\.json cannot be read"):
        reader(folder)


@pytest.mark.parametrize("reader", [RunFolder, Run])
def test_a_missing_table_is_named(folder: Path, reader: type) -> None:
    """Without tables/reach.csv nobody may be told '0 openings: none'."""
    (folder / "tables" / "reach.csv").unlink()
    with pytest.raises(UsageError, match=r"holds no tables/reach\.csv"):
        reader(folder)


@pytest.mark.parametrize(
    "damage", [b"", b"\xff\xfe\x00\x01", b'opening_id,"', b"a,b\n1,2\n", b"<html>"]
)
def test_a_damaged_table_is_named(folder: Path, damage: bytes) -> None:
    """A table that is empty, torn, of other bytes, or another one."""
    (folder / "tables" / "reach.csv").write_bytes(damage)
    with pytest.raises(UsageError, match=r"reach\.csv cannot be read"):
        read_table(folder, "reach")


def test_a_table_of_an_earlier_build_is_read(folder: Path) -> None:
    """`needs` had no column `belongs_to` once; such a run is still compared."""
    names = [n for n in REGISTRY["needs"].names if n != "belongs_to"]
    assert "belongs_to" in REGISTRY["needs"].key
    (folder / "tables" / "needs.csv").write_text(",".join(names) + "\n", "utf-8-sig")
    assert list(read_table(folder, "needs")) == names


def test_no_run_folder_is_still_called_so(tmp_path: Path) -> None:
    """A folder without run.json."""
    with pytest.raises(UsageError, match="is no run folder"):
        read_record(tmp_path)


@pytest.mark.parametrize(
    "words", [("trace", "{}", "B-1"), ("trace", "{}", "B-1", "--if-water-m", "0.3"),
              ("trace", "{}", "D-1", "--add-cable-mm", "12"), ("compare", "{}", "{}")],
)  # fmt: skip
@pytest.mark.parametrize("what", ["record", "table"])
def test_the_command_leaves_with_the_code_of_a_bad_call(
    folder: Path, words: tuple[str, ...], what: str
) -> None:
    """Code 4 and no fault of our own, whatever is asked of the folder."""
    if what == "record":
        (folder / "run.json").write_text("{", "utf-8")
    else:
        shutil.move(folder / "tables" / "reach.csv", folder / "reach.csv")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli.app", *(w.format(folder) for w in words)],
        capture_output=True, text=True, check=False, timeout=120, cwd=Path(__file__).parents[3],
    )  # fmt: skip
    assert done.returncode == 4, done.stderr
    assert ("run.json" if what == "record" else "reach.csv") in done.stderr
    assert "fault of its own" not in done.stderr

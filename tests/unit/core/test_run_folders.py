"""Run folders are written aside and put in place whole; counts close after later findings."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline.core.counting import close_counts, head_line
from pipeline.core.errors import UsageError
from pipeline.core.folders import claim, next_run_folder, put_in_place


def test_numbers_go_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next run folder is one above the highest there is."""
    monkeypatch.chdir(tmp_path)
    assert next_run_folder("demo").name == "run-001"
    (tmp_path / "outputs" / "demo" / "run-007").mkdir(parents=True)
    assert next_run_folder("demo").name == "run-008"


def test_an_existing_folder_is_swapped_as_a_whole(tmp_path: Path) -> None:
    """With replace the new run takes the name; without it the call is refused."""
    folder = tmp_path / "run-001"
    folder.mkdir()
    (folder / "old.txt").write_text("old")
    with pytest.raises(UsageError, match="exists already"):
        claim(folder, replace=False)
    aside = claim(folder, replace=True)
    (aside / "new.txt").write_text("new")
    assert [p.name for p in folder.iterdir()] == ["old.txt"]
    put_in_place(aside, folder, replace=True)
    assert [p.name for p in folder.iterdir()] == ["new.txt"]
    assert [p.name for p in tmp_path.iterdir()] == ["run-001"]


def test_what_a_dead_run_left_is_swept(tmp_path: Path) -> None:
    """A folder left aside by a process that is gone is removed by the next run."""
    dead = tmp_path / ".stanch-aside-run-001-999999999"
    dead.mkdir()
    claim(tmp_path / "run-002", replace=False)
    assert not dead.exists()


def test_later_findings_move_rows_between_states() -> None:
    """A STOP of a later stage moves its row from used to refused; the sum stays."""
    findings = pd.DataFrame(
        {"file": ["a.xlsx"], "sheet": ["ducts"], "row": [3], "weight": ["STOP"]}
    )
    ends = pd.DataFrame(
        {
            "file": ["a.xlsx"] * 2, "sheet": ["ducts"] * 2, "row": [2, 3],
            "row_state": ["used", "used"], "is_unlisted": [False, False],
        }
    )  # fmt: skip
    counts = pd.DataFrame(
        {
            "file": ["a.xlsx"], "sheet": ["ducts"], "rows_count": [2], "used_count": [2],
            "asked_count": [0], "refused_count": [0], "skipped_count": [0],
        }
    )  # fmt: skip
    out = close_counts({"findings": findings, "ends": ends, "counts": counts})
    assert out["ends"]["row_state"].tolist() == ["used", "refused"]
    row = out["counts"].iloc[0]
    assert (row["used_count"], row["refused_count"]) == (1, 1)
    assert head_line(out["counts"]).startswith("2 rows: 1 used")

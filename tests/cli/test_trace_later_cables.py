"""`stanch trace RUN END --add-cable-mm`: the change sheet comes from the run folder alone."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

STANCH = str(Path(sys.executable).with_name("stanch"))


def call(folder: Path, end: str, *cables: str) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    words = [w for d in cables for w in ("--add-cable-mm", d)]
    return subprocess.run([STANCH, "trace", str(folder), end, *words], capture_output=True,
                          text=True, check=False, timeout=60)  # fmt: skip


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """A table of the run, read with the csv module alone."""
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def end(example_run: Path) -> str:
    """A designed end with a 20 mm sleeve."""
    drawn = {p["end_id"] for p in rows(example_run, "placements")
             if p["kind"] == "sleeve" and float(p["outer_mm"]) == 20.0}  # fmt: skip
    return min(drawn)


def test_a_spare_sleeve_takes_a_small_cable(example_run: Path, end: str) -> None:
    """The sleeve that is named is one of the end, its bore (wall rule of the file) takes 12 mm."""
    done = call(example_run, end, "12")
    assert done.returncode == 0, done.stderr
    found = re.search(r"through spare sleeve (\d+) \((\d+) mm, bore ([\d.]+) mm\)", done.stdout)
    assert found is not None, done.stdout
    piece = next(p for p in rows(example_run, "placements")
                 if p["end_id"] == end and p["piece_no"] == found[1])  # fmt: skip
    assert piece["kind"] == "sleeve"
    outer = float(piece["outer_mm"])
    assert outer == float(found[2])
    bore = outer - 2.0 * (0.8 + 0.06 * outer)
    assert float(found[3]) == pytest.approx(bore, abs=0.05)
    assert bore >= 12.0
    design = next(d for d in rows(example_run, "designs") if d["end_id"] == end)
    refill = float(re.search(r"refill ([\d.]+) ml", done.stdout)[1])  # type: ignore[index]
    # pi/4 (outer^2 - 12^2) x layer x (1 + allowances), by hand
    by_hand = (outer**2 - 144.0) * 0.785398 * float(design["layer_mm"]) / 1000.0
    assert refill == pytest.approx(by_hand * (1.0 + float(design["allowance_frac"])), abs=0.06)
    for word in ("design:", "quantity:", "inspection:", "NEC chapter 9, table 1", "no head rating"):
        assert word in done.stdout
    assert " safe" not in done.stdout.lower()


def test_a_seal_that_stands_takes_a_cable_too(example_run: Path) -> None:
    """Later cables come to seals that exist: an accepted one has its drawing, and no quantities."""
    standing = [
        d for d in rows(example_run, "designs")
        if d["is_needed"] == "False" and d["layer_mm"] and "accepted" in d["need_reason"]
    ]  # fmt: skip
    assert standing
    drawn = {p["end_id"] for p in rows(example_run, "placements")}
    assert {d["end_id"] for d in standing} <= drawn
    assert {d["sealant_ml"] for d in standing} == {""}
    assert not {d["end_id"] for d in standing} & {p["end_id"] for p in rows(example_run, "pieces")}
    done = call(example_run, standing[0]["end_id"], "12")
    assert done.returncode == 0, done.stderr
    assert "into the seal that stands there" in done.stdout
    assert "refill" in done.stdout
    assert "as designed" not in done.stdout
    assert "Treat every cable as live" in done.stdout


def test_several_cables_and_a_no(example_run: Path, end: str) -> None:
    """Repeatable; a cable as wide as the bore is a no with its reason, and changes nothing."""
    two = call(example_run, end, "12", "9")
    assert two.returncode == 0
    assert two.stdout.startswith(f"{end}: 2 more cables (12 mm, 9 mm)")
    none = call(example_run, end, "300")
    assert none.returncode == 0
    assert "300 mm: no:" in none.stdout
    assert "or the whole seal out" not in none.stdout


def test_faults_of_the_call(example_run: Path, end: str, tmp_path: Path) -> None:
    """No end, no diameter, a run that does not name its filler: code 4 and a mend, no traceback."""
    for thing, d in ((end, "-3"), (end, "nan"), ("no-such-end", "9")):
        done = call(example_run, thing, d)
        assert done.returncode == 4
        assert "Traceback" not in done.stderr
    old = tmp_path / "run"
    shutil.copytree(example_run, old)
    record = json.loads((old / "run.json").read_text("utf-8"))
    assert "materials" not in record  # the filler is held once, with the rows that compare reads
    del record["catalogue"]
    (old / "run.json").write_text(json.dumps(record), "utf-8")
    done = call(old, end, "9")
    assert done.returncode == 4
    assert "Make the run again" in done.stderr


def test_an_end_without_drawing_says_why(example_run: Path) -> None:
    """An end that is not designed or not needed gives no place, but the reason that is stored."""
    for column, said in (
        ("is_needed", "no seal is to be made"),
        ("is_designed", "no seal is drawn"),
    ):
        row = next(d for d in rows(example_run, "designs")
                   if d[column] == "False" and (column == "is_needed" or d["is_needed"] == "True"))  # fmt: skip
        done = call(example_run, row["end_id"], "9")
        assert done.returncode == 0
        assert said in done.stdout

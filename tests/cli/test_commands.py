"""Each command as a user calls it: exit code, words, and the file it wrote."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from tests.spoiled import Programme

STANCH = str(Path(sys.executable).with_name("stanch"))


def call(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    return subprocess.run(
        [STANCH, *words], cwd=cwd, capture_output=True, text=True, check=False, timeout=300
    )


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["run"], "Missing argument"),
        (["run", "nowhere.toml"], "no settings file"),
        (["walk"], "No such command"),
        (["check", "nowhere.xlsx"], "no file"),
        (["run", "x.toml", "--date", "tomorrow"], "tomorrow"),
        (["rules", "zebra"], "No rule begins"),
    ],
)
def test_bad_calls_end_with_4_and_one_message(words: list[str], says: str, tmp_path: Path) -> None:
    """A fault of the caller gives a message and code 4, never a traceback."""
    done = call(*words, cwd=tmp_path)
    assert done.returncode == 4, done
    assert says.lower() in done.stderr.lower()
    assert "Traceback" not in done.stderr + done.stdout


def test_rules_lists_the_register() -> None:
    """`rules --format json` holds all rules, those of the records too, with the fields a script needs."""
    done = call("rules", "--format", "json")
    rules = json.loads(done.stdout)
    assert len(rules) == 159
    assert {"code", "weight", "message", "answered_by", "mend"} <= set(rules[0])
    assert call("rules", "level").stdout.count("level-") >= 27


def test_settings_without_policy_stop_with_one_message(root: Path, tmp_path: Path) -> None:
    """No default decides a policy: each one left out is named, and the run does not start."""
    text = (root / "configs" / "clean.toml").read_text("utf-8")
    for key in ("design_aep", "climate", "defences", "freeboard_m", "groundwater"):
        lines = text.splitlines()
        start = lines.index("[flood]")
        gone = next(i for i in range(start, len(lines)) if lines[i].startswith(f"{key} "))
        config = root / "configs" / f".tmp-{os.getpid()}-{key}.toml"
        config.write_text("\n".join(lines[:gone] + lines[gone + 1 :]), "utf-8")
        try:
            done = call("run", str(config), "--out", str(tmp_path / key))
        finally:
            config.unlink()
        assert done.returncode == 4
        assert f"flood.{key}" in done.stderr
        assert not (tmp_path / key).exists()


def test_run_does_not_overwrite(clean_run: Path, root: Path) -> None:
    """An existing run folder is refused without --replace and stays as it is."""
    before = sorted((p.name, p.stat().st_mtime_ns) for p in clean_run.rglob("*"))
    done = call("run", str(root / "configs" / "clean.toml"), "--out", str(clean_run))
    assert done.returncode == 4
    assert "--replace" in done.stderr
    assert sorted((p.name, p.stat().st_mtime_ns) for p in clean_run.rglob("*")) == before


def test_paths_with_spaces_and_accents(root: Path, tmp_path: Path) -> None:
    """Folders called as people call them work: settings, surveys and output."""
    home = tmp_path / "Küste süd – Prüfung"
    shutil.copytree(root / "configs", home / "configs")
    shutil.copytree(root / "sample_surveys", home / "sample_surveys")
    done = call("run", str(home / "configs" / "clean.toml"), "--out", str(home / "Lauf eins"))
    assert done.returncode == 0, done.stderr
    assert (home / "Lauf eins" / "map.html").exists()


def test_strict_gives_the_code_of_check_after_writing(tmp_path: Path) -> None:
    """--strict writes everything and then leaves with 2, as one cable is wider than its duct."""
    out = tmp_path / "strict"
    programme = Programme(tmp_path)
    first = programme.book.page("cables")["A2"].value
    programme.book.type("cables", first, "diameter_mm", 149)
    done = call("run", str(programme.config()), "--out", str(out), "--strict")
    assert done.returncode == 2, done.stderr
    assert (out / "run.json").exists()


def test_check_counts_and_writes_questions(root: Path, tmp_path: Path) -> None:
    """`check` without a config counts rows, says which checks it could not make, writes the list."""
    survey = next((root / "sample_surveys" / "clean").glob("*.xlsx"))
    questions = tmp_path / "q.xlsx"
    done = call("check", str(survey), "--questions", str(questions))
    assert done.returncode in (0, 1), done.stderr
    assert "rows:" in done.stdout
    assert "--config" in done.stdout
    assert openpyxl.load_workbook(questions).sheetnames


def test_check_of_a_broken_file_is_2(tmp_path: Path) -> None:
    """A file that cannot be read is a fault of the survey (2), not of the call (4)."""
    broken = tmp_path / "north.xlsx"
    broken.write_bytes(b"PK\x03\x04 this is cut off")
    done = call("check", str(broken))
    assert done.returncode == 2, done.stdout + done.stderr
    assert "north.xlsx" in done.stdout
    assert "Traceback" not in done.stdout + done.stderr


def test_template_writes_both_and_overwrites_nothing(tmp_path: Path) -> None:
    """`template` writes workbook and phone form; a second call needs --replace; suffix is checked."""
    book, form = tmp_path / "blank.xlsx", tmp_path / "form.xlsx"
    config = Path(__file__).parents[2] / "configs" / "clean.toml"
    done = call("template", str(book), "--phone", str(form), "--config", str(config))
    assert done.returncode == 0, done.stderr
    assert "Merrow Datum 2015" in {
        c for row in openpyxl.load_workbook(book)["lists"].values for c in row
    }
    assert form.exists()
    again = call("template", str(book))
    assert again.returncode == 4
    assert "exists already" in again.stderr
    assert call("template", str(tmp_path / "blank.xls")).returncode == 4
    assert call("template", str(tmp_path / "no" / "blank.xlsx")).returncode == 4

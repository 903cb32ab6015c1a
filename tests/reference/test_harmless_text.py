"""Cells that a spreadsheet would run, from the OWASP community page "CSV Injection"."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pytest

from pipeline.core.harmless import harmless_text
from pipeline.publish.tables_csv import write_csv


@pytest.mark.parametrize("trigger", ["=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"])
def test_triggers(trigger: str) -> None:
    """Triggers of OWASP and ASVS 5.0 1.2.10 (full-width forms from memory) get an apostrophe."""
    assert harmless_text(f"{trigger}1+2") == f"'{trigger}1+2"


def test_the_two_worked_escapes_of_owasp() -> None:
    """`=1+2";=1+2` -> `"'=1+2"";=1+2"` and `=1+2'" ;,=1+2` -> `"'=1+2'"" ;,=1+2"`."""
    for raw, written in (
        ('=1+2";=1+2', '"\'=1+2"";=1+2"'),
        ("=1+2'\" ;,=1+2", '"\'=1+2\'"" ;,=1+2"'),
    ):
        buffer = io.StringIO()
        csv.writer(buffer, quoting=csv.QUOTE_ALL, lineterminator="").writerow([harmless_text(raw)])
        assert buffer.getvalue() == written


def test_negative_levels_stay_numbers(tmp_path: Path) -> None:
    """A level of -0.35 is written as a number, a note '-0.35 seen' as text."""
    path = tmp_path / "t.csv"
    write_csv(path, pd.DataFrame({"level_m": [-0.35], "note": ["-0.35 seen"]}))
    rows = list(csv.DictReader(path.open(encoding="utf-8-sig")))
    assert rows == [{"level_m": "-0.35", "note": "'-0.35 seen"}]

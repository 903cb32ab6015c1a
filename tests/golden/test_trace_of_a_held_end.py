"""`trace` and the sheet Holds of an end held outside the tested envelope, in the example."""

from __future__ import annotations

from pathlib import Path

import openpyxl

from pipeline.publish.trace import trace

END = "I03-B1-E1-01"  # no level of its own; the highest head of its site lies over the tested one


def test_trace_shows_the_head_and_what_comes_first(example_run: Path) -> None:
    """The head, what gives it, that it is assumed; a measured level comes first."""
    lines = [x.strip() for x in trace(example_run, END)]
    head = next(x for x in lines if x.startswith("head the seal is designed for: "))
    assert "assumed: its own level is missing" in head
    assert head.split(": ")[1][0].isdigit()
    at = lines.index("What would change it")
    change = lines[at + 1 : lines.index("Seal")]
    assert any(x.startswith("first a measured level of this end") for x in change)
    assert any("the owner's engineer is asked whether a seal outside" in x for x in change)


def test_no_bare_words(example_run: Path) -> None:
    """No way called 'both', no empty brackets after a code."""
    for name in ("N01", "N03", END):
        text = "\n".join(trace(example_run, name))
        assert "way: both" not in text
        assert " ():" not in text


def test_holds_say_who_is_asked_and_what_for(example_run: Path) -> None:
    """The owner's engineer, with the figure and the tested one; every held row names somebody."""
    book = openpyxl.load_workbook(example_run / "programme.xlsx", read_only=True)
    rows = [list(r) for r in book["Holds"].iter_rows(values_only=True)]
    at = next(i for i, r in enumerate(rows) if r and r[0] == "End")
    names = rows[at]
    cells = [[str(c or "") for c in r] for r in rows[at + 1 :] if r and r[0]]
    found = {r[0]: dict(zip(map(str, names), r, strict=False)) for r in cells}
    row = found[END]
    assert "the owner's engineer" in row["Who is asked"]
    assert "head 2.460 m over 2.2 m" in row["What for"]
    assert "measure its level first" in row["What for"]
    assert row["Head the seal is designed for (m)"] == "2.46"
    assert all(r["Who is asked"] and r["What for"] for r in found.values())

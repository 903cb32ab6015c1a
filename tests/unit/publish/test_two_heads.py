"""Two heads of an end, under one pair of names on the map, in `trace` and on the work pack."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from pipeline.publish.heads import AT_EVENT, OF_SEAL, at_event, of_seal
from pipeline.publish.trace import trace
from tests.browser.chromium import chromium, opened

SHORT = {AT_EVENT: "at the design event", OF_SEAL: "the seal is designed for"}


def rows(folder: Path, name: str) -> dict[str, dict[str, str]]:
    """A table of the run by its first column, read with the csv module alone."""
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return {next(iter(r.values())): r for r in csv.DictReader(file)}


@pytest.fixture(scope="module")
def end(example_run: Path) -> tuple[str, float, float, str]:
    """An end of a chosen package whose two heads differ: id, both heads (m), what gave the second."""
    reach, choices = rows(example_run, "reach"), rows(example_run, "choices")
    chosen = {c["package_id"] for c in choices.values() if c["is_chosen"] == "True"}
    ends = {e for p in rows(example_run, "packages").values() if p["package_id"] in chosen
            for e in p["end_ids"].split(";")}  # fmt: skip
    for name, design in sorted(rows(example_run, "designs").items()):
        event, seal = reach.get(name, {}).get("head_m"), design["design_head_m"]
        if name in ends and event and seal and float(seal) - float(event) > 0.1:
            return name, float(event), float(seal), design["head_from"]
    raise AssertionError("no end with two heads")


def test_words_of_a_head_that_is_not_known() -> None:
    """No event reaches it: nothing is said; no head for the seal: it is said, with the reason."""
    assert at_event(math.nan) == ""
    assert of_seal(math.nan, "not known: its own level is missing").startswith("not known (")
    assert at_event(0.654).startswith("0.65 m (")
    assert of_seal(1.0147, "sea") == "1.01 m (sea)"


def test_trace_names_both(example_run: Path, end: tuple[str, float, float, str]) -> None:
    """Both figures of the tables, each under its own name."""
    name, event, seal, source = end
    lines = [line.strip() for line in trace(example_run, name)]
    assert next(x for x in lines if x.startswith(f"{AT_EVENT}: {event:.2f} m"))
    assert f"{OF_SEAL}: {seal:.2f} m ({source})" in lines


def test_the_work_pack_names_both(example_run: Path, end: tuple[str, float, float, str]) -> None:
    """The page of the end holds the same two figures and names."""
    name, event, seal, source = end
    reader = PdfReader(example_run / "work_packs" / f"{name.partition('-')[0]}.pdf")
    texts = [" ".join(p.extract_text().split()) for p in reader.pages]
    page = next(t for t in texts if t.startswith(f"{name} ") and "Level and head" in t)
    assert f"{AT_EVENT}: {event:.2f} m (" in page
    assert f"{OF_SEAL}: {seal:.2f} m ({source})" in page


@pytest.mark.browser
def test_the_card_of_the_map_names_both(
    example_run: Path, end: tuple[str, float, float, str]
) -> None:
    """The card of the opening shows the same two figures in its row Head."""
    name, event, seal, source = end
    with chromium() as running:
        page: Any = opened(running, example_run / "map.html", 1440).page
        page.fill("input[type=search]", name)
        page.press("input[type=search]", "Enter")
        row = page.locator("#card > table tr", has_text=SHORT[OF_SEAL]).inner_text()
        page.context.close()
    assert row.split()[0] == "Head"
    assert f"{SHORT[AT_EVENT]}: {event:.2f} m (" in row
    assert f"{SHORT[OF_SEAL]}: {seal:.2f} m ({source})" in row

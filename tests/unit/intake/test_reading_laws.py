"""Across rows and files: ids, visits, quarrels and corrections; less knowledge never dries."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.intake import check
from pipeline.tables import hand_over

ENTRIES: list[list[str]] = [["entry_id", "building_id"], ["E-1", "B-1"]]
CHAMBERS = ["chamber_id", "site_id", "easting", "northing", "cover_level_m"]


def read(*files: Path) -> dict[str, Any]:
    """Check files as `stanch check` does, and hold the tables to their schema."""
    return hand_over("intake", check(list(files)))


def codes(tables: dict[str, Any]) -> list[str]:
    """Codes of all findings."""
    return list(tables["findings"]["code"])


def test_an_id_that_was_never_calculated_keeps_its_hole(book: Callable[..., Path]) -> None:
    """A formula in place of an id is a STOP; the opening stands under its row."""
    rows = [["end_id", "place_id", "bore_mm"], ['="D-"&1', "E-1", 90]]
    tables = read(book(ducts=rows, entries=ENTRIES))
    assert tables["ends"]["end_id"].tolist() == ["north.xlsx!ducts!2"]
    assert tables["ends"].iloc[0]["row_state"] == "refused"


def test_ids_that_differ_in_case_are_one_thing(book: Callable[..., Path]) -> None:
    """'ch-1' in a later file and in a reference is CH-1, with a note."""
    one = book("one.xlsx", chambers=[CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.5]],
               ducts=[["end_id", "place_id"], ["D-1", "ch-1"]])  # fmt: skip
    two = book("two.xlsx", chambers=[CHAMBERS, ["ch-1", "S1", 490100, 640100, 20.4]])
    tables = read(one, two)
    assert tables["chambers"]["chamber_id"].tolist() == ["CH-1"]
    assert tables["chambers"]["cover_level_m"].tolist() == [20.4]
    assert tables["ends"]["place_id"].tolist() == ["CH-1"]
    assert codes(tables).count("file-20") == 2


def test_the_datum_of_the_first_sheet_is_handed_over(book: Callable[..., Path]) -> None:
    """A small survey without visits keeps the height datum that its first sheet declares."""
    about = [["name", "value"], ["vertical_datum", "Test Datum"]]
    tables = read(book(about=about, chambers=[CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.5]]))
    stated = tables["abouts"].set_index(["file", "house_name"])["value"]
    assert stated["north.xlsx", "vertical_datum"] == "Test Datum"


def test_a_row_takes_the_latest_visit_of_its_site(tmp_path: Path) -> None:
    """Blank visit_id = latest visit of the site, also where each sheet is a file of its own."""
    folder = tmp_path / "east"
    folder.mkdir()
    (folder / "visits.csv").write_text(
        "visit_id,site_id,visit_date\nV2,S1,2025-02-01\nV1,S1,2024-02-01\nV3,S2,2025-09-01\n"
    )
    (folder / "chambers.csv").write_text("chamber_id,site_id\nCH-1,S1\n")
    assert read(folder)["chambers"].iloc[0]["visit_id"] == "V2"


def test_a_quarrel_about_the_far_end_proves_nothing(book: Callable[..., Path]) -> None:
    """One id, two far ends: neither link counts as proved, both mouths stay at their entry."""
    ducts = [
        ["end_id", "place_id", "far_place_id", "far_proof", "bore_mm"],
        ["D-1", "E-1", "CH-1", "rodded", 90],
        ["D-1", "E-1", "CH-2", "rodded", 90],
    ]
    rows = [CHAMBERS, *([f"CH-{i}", "S1", 490100 + i, 640100, 20.0] for i in (1, 2))]
    ends = read(book(ducts=ducts, entries=ENTRIES, chambers=rows))["ends"]
    assert ends["end_id"].tolist() == ["D-1", "D-1#2"]
    assert ends["place_id"].tolist() == ["E-1", "E-1"]
    assert ends["far_place_id"].isna().all()
    assert ends["bore_mm"].tolist() == [90, 90]  # what both rows say alike stays


def test_a_correction_without_visits_wins_by_its_order(book: Callable[..., Path]) -> None:
    """Without a day of its own a later file wins over an earlier one that has one."""
    visits = [["visit_id", "site_id", "visit_date"], ["V1", "S1", "2025-06-01"]]
    first = book("first.xlsx", visits=visits,
                 chambers=[CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.9]])  # fmt: skip
    later = book("later.xlsx", chambers=[CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.1]])
    assert read(first, later)["chambers"]["cover_level_m"].tolist() == [20.1]


def test_a_mark_in_place_of_an_id_is_no_id(book: Callable[..., Path]) -> None:
    """Two rows with '?' for an id are two holes, and not one thing called '?'."""
    rows = [["end_id", "place_id"], ["?", "E-1"], ["?", "E-1"]]
    tables = read(book(ducts=rows, entries=ENTRIES))
    assert tables["ends"]["end_id"].tolist() == ["north.xlsx!ducts!2", "north.xlsx!ducts!3"]
    assert codes(tables).count("id-01") == 2

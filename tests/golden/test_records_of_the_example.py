"""The example's records: thirteen states, a certificate where it is earned, onset as built."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pandas as pd
import pypdf
import pytest

from pipeline.core.record_sheets import STATES
from sample_surveys.example_records import _CABLES

Read = Callable[[str], pd.DataFrame]
ROOT = Path(__file__).parents[2]


def test_every_state_is_reached_by_an_end(table: Read) -> None:
    """All thirteen states of a duct end's life stand in the example; each with day and reason."""
    states = table("states")
    assert set(states["state"]) == set(STATES)
    assert set(states["end_id"]) == set(table("designs")["end_id"])
    assert states["stuck_reason"].notna().all()
    late = states[states["state_no"] >= 8]
    assert late[["moved_on", "moved_by", "move_reason"]].notna().all().all()


@pytest.mark.parametrize(
    ("end", "state", "day", "name"),
    [
        ("S02-B1-E2-03", "ordered", "2025-09-29", "E. Stone"),
        ("S02-B1-E2-02", "packed", "2026-02-20", "depot, F. Dale"),
        ("S02-B1-E2-01", "sealed", "2026-02-24", "C. Reed"),
        ("S02-B1-E1-03", "inspected", "2025-11-18", "D. Marsh"),
        ("S02-B1-E1-01", "accepted", "2025-11-18", "D. Marsh"),
        ("S02-B1-E1-02", "changed", "2026-01-19", "P. Lund"),
    ],
)
def test_ends_stand_where_their_typed_records_put_them(
    table: Read, end: str, state: str, day: str, name: str
) -> None:
    """State, day and name as typed in sample_surveys/example_records.py."""
    row = table("states").set_index("end_id").loc[end]
    assert (row["state"], row["moved_on"], row["moved_by"]) == (state, day, name)


def test_an_accepted_seal_with_a_later_cable_is_open_again(table: Read) -> None:
    """It was accepted in November, a cable came in January: asked, open, needed, not bought as firm."""
    sealed = table("sealed_ends").set_index("end_id").loc["S02-B1-E1-02"]
    assert (sealed["is_accepted"], sealed["is_changed"], sealed["is_closed"]) == (True, True, False)
    assert sealed["cables_now_count"] == _CABLES["S02-B1-E1-02"] + 1
    assert "record-16" in set(table("findings")["code"])
    design = table("designs").set_index("end_id").loc["S02-B1-E1-02"]
    assert design["is_needed"]
    blocked = table("links")["blocked_by"].dropna()
    assert not blocked.str.contains(str(sealed["install_id"])).any()


def test_accepted_seals_block_and_the_next_gate_is_what_was_forecast(table: Read) -> None:
    """NA03-B1 as built: the onset rises from the lowest mouths to the second entry.

    By hand from the survey. As found: cover of NA03-C1 20.900, mouth E1-03 22.600 - 1.710 = 20.890
    behind it: 20.900 decides. As built the mouths of entry E1 are closed; those of E2 lie at
    22.600 - 1.550 = 21.050, behind the cover of NA03-C2 at 21.450, or reached over the lowest
    ground at the wall, whichever is lower.
    """
    row = table("as_built").set_index("building_id").loc["NA03-B1"]
    assert row["found_level_m"] == pytest.approx(20.900, abs=5e-5)
    ground = table("ground").set_index("place_id").loc["NA03-B1", "ring_low_m"]
    assert row["built_level_m"] == pytest.approx(min(21.450, max(ground, 21.050)), abs=5e-5)
    reach = table("reach").set_index("opening_id")
    own = reach.loc["NA03-B1-E2-01", "onset_chance_per_year"]
    assert row["built_chance_per_year"] == pytest.approx(own)
    assert row["found_chance_per_year"] > row["built_chance_per_year"]
    assert {"NA03-B1-E1-01", "NA03-B1-E1-02", "NA03-B1-E1-03"} == set(
        str(row["accepted_ids"]).split(";")
    )
    designs = table("designs").set_index("end_id")
    assert not designs.loc["NA03-B1-E1-01", "is_needed"]


def test_a_certificate_only_where_the_whole_package_is_accepted(example_run: Path) -> None:
    """One building has earned it; its text holds every end, record, lot and what it does not say."""
    papers = sorted(p.name for p in (example_run / "certificates").iterdir())
    assert papers == ["NA03-B1.pdf"]
    reader = pypdf.PdfReader(example_run / "certificates" / "NA03-B1.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    for words in ("NA03-B1-E1-01", "NA03-B1-E1-02", "NA03-B1-E1-03", "IN-001", "LOT-5107",
                  "2025-10-28", "21.330 m", "NA03-B1-E2-01",
                  "does not say that the building stays dry", "not for work"):  # fmt: skip
        assert words in text, words


def test_the_workbook_of_the_records_ties_to_the_tables(example_run: Path, table: Read) -> None:
    """Sheets by name; States and Lots row by row; the counts add up to all ends."""
    book = openpyxl.load_workbook(example_run / "records.xlsx", data_only=True)
    assert book.sheetnames == [
        "Counts", "States", "Snags", "Lots", "As built", "Inspection sample", "Re-inspection",
    ]  # fmt: skip
    states = table("states")
    assert book["States"].max_row - 4 == len(states)
    assert book["Lots"].max_row - 4 == len(table("lot_uses"))
    last = [c.value for c in book["Counts"][book["Counts"].max_row]]
    assert last[-1] == len(states)
    assert sum(int(str(v)) for v in last[1:-1]) == len(states)
    snags = [[c.value for c in row] for row in book["Snags"].iter_rows(min_row=5)]
    assert {row[0] for row in snags} == {"S02-B1-E1-02", "S02-B1-E1-03"}


def test_holds_of_the_example_are_lifted_by_its_releases_alone(table: Read) -> None:
    """Without a release a hold stands: lifted holds are the two of the list, by their ids."""
    path = ROOT / "sample_surveys" / "example" / "records" / "releases.csv"
    with path.open(encoding="utf-8-sig", newline="") as lines:
        typed = {(r["end_id"], r["hold"]) for r in csv.DictReader(lines)}
    designs = table("designs")
    lifted = designs[designs["lifted_codes"].notna()]
    found = set(zip(lifted["end_id"], lifted["lifted_codes"], strict=True))
    assert found == {("N02-B1-E3-01", "fluid-filled")}
    # the other was lifted for a seal that is accepted by now: no hold stands there
    assert typed - found == {("NA03-B1-E1-03", "draw cord")}
    assert designs["standing_codes"].dropna().isin(["contents unknown"]).all()
    assert "record-20" not in set(table("findings")["code"])


def test_made_ends_are_neither_bought_nor_planned_again(table: Read) -> None:
    """Sealed ends that wait for a look stand in no crew day and have no pieces."""
    designs = table("designs")
    made = set(designs.loc[designs["is_made"].fillna(value=False).astype(bool), "end_id"])
    assert made == {"S02-B1-E1-03", "S02-B1-E1-04", "S02-B1-E2-01"}
    planned = {e for ends in table("crew_days")["end_ids"].dropna() for e in ends.split(";")}
    assert not planned & made
    assert not set(table("pieces")["end_id"]) & made

"""Ends that are sealed by record are no work of a pack; one with an open snag is made good."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from pypdf import PdfReader

from pipeline.core.made_ends import sites_without_work
from pipeline.core.settings_file import load
from pipeline.publish.work_packs import write_work_packs
from tests.unit.publish.test_work_packs import _tables

Tables = dict[str, pd.DataFrame]
Read = Callable[[Tables], list[str]]
SNAG = "a cable lies bare of sealant"


@pytest.fixture
def pages(root: Path, tmp_path: Path) -> Read:
    """Write the packs of some tables and read the pages of the only one, if any."""
    settings = load(root / "configs" / "clean.toml")

    def read(tables: Tables) -> list[str]:
        paths = write_work_packs(tmp_path / "packs", tables, settings, run_id="0000abcd")
        assert len(paths) <= 1
        found = [p for path in paths for p in PdfReader(path).pages]
        return [" ".join(p.extract_text().split()) for p in found]

    return read


def sealed(tables: Tables, **ends: dict[str, Any]) -> Tables:
    """Records of some ends, which are sealed and wait for a look unless said otherwise."""
    plain = {"sealed_on": "2026-02-24", "next_due_on": "2026-03-24", "is_made": True,
             "is_closed": False, "is_snag_open": False, "snag": None, "accepted_on": None,
             "why_open": "no look yet"}  # fmt: skip
    ids = {f"E1-{k.removeprefix('e')}": v for k, v in ends.items()}
    tables["sealed_ends"] = pd.DataFrame([{"end_id": e, **plain, **v} for e, v in ids.items()])
    gone = [e for e, v in ids.items() if v.get("is_made", True)]
    tables["pieces"] = tables["pieces"][~tables["pieces"]["end_id"].isin(gone)]
    return tables


def test_a_sealed_end_is_no_work(pages: Read) -> None:
    """It has no page and no line of the day; the cover names it with its day and what it waits for."""
    found = pages(sealed(_tables(), e01={}))
    assert "; 3 ends to seal;" in found[0]
    assert (
        "Sealed by record, no work of this pack: E1-01 (2026-02-24, no look yet, due by" in found[0]
    )
    assert not any(t.startswith("E1-01") for t in found)
    assert "E1-01" not in found[1]
    assert "No hold on any end" in found[0]
    wall = next(t for t in found if t.startswith("Wall A"))
    assert "leave: sealed by record 2026-02-24" in wall


def test_a_sealed_end_that_was_not_chosen_is_not_open(pages: Read) -> None:
    """'Still open after it' does not list what is sealed."""
    tables = sealed(_tables(), e01={})
    tables["packages"]["end_ids"] = "E1-02;E1-03"
    cover = pages(tables)[0]
    assert "still open after it (1 end): E1-04: not chosen for this pack" in cover


def test_an_open_snag_is_made_good(pages: Read) -> None:
    """Its words stand on the list of the day, on the wall and among the steps; nothing is bought."""
    found = pages(sealed(_tables(), e02={"is_snag_open": True, "snag": SNAG, "why_open": "snag"}))
    assert "; 3 ends to seal, 1 seal to make good (open snag);" in found[0]
    assert "Sealed by record, no work" not in found[0]
    assert f"made good: {SNAG}; dry" in found[1]
    assert "3 Filler sleeve, outer 40 mm" in found[1]  # one each of the other three
    page = next(t for t in found if t.startswith("E1-02"))
    assert f"To be made good: {SNAG}." in page
    assert f"nothing is counted for it; open snag: {SNAG}." in page
    assert "Sealant 20 mm deep" not in page
    assert "Label with end, date" in page
    assert "Local codes, permits and the owner" in page


def test_a_pack_of_snags_alone_counts_no_cartridge(pages: Read) -> None:
    """No '0 + 1': the spare of the van is named as such."""
    tables = sealed(_tables(), e02={"is_snag_open": True, "snag": SNAG})
    tables["packages"]["end_ids"] = "E1-02"
    found = pages(tables)
    assert "; 1 seal to make good (open snag);" in found[0]
    assert "0 + 1" not in found[1]
    assert "1 spare Sealant" in found[1]
    assert "Seals to make good only" in found[1]


def test_an_end_that_was_opened_again_is_sealed_anew(pages: Read) -> None:
    """A cable pulled after the seal makes it work like any other."""
    found = pages(sealed(_tables(), e01={"is_made": False, "is_changed": True}))
    assert "; 4 ends to seal;" in found[0]
    page = next(t for t in found if t.startswith("E1-01"))
    assert "Sealant 20 mm deep" in page


def test_no_pack_where_nothing_is_left(pages: Read) -> None:
    """All ends of the package sealed: no file, and the summary's list names the site."""
    tables = sealed(_tables(), e01={}, e02={}, e03={}, e04={})
    assert pages(tables) == []
    assert sites_without_work(tables) == ["S1"]
    tables["sealed_ends"].loc[0, "is_snag_open"] = True
    assert sites_without_work(tables) == []

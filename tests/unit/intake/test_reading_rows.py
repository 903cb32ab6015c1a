"""Reading sheets: every row counted once, no hole lost, cells read as they were typed."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.intake import check
from pipeline.tables import hand_over

CHAMBERS = ["chamber_id", "site_id", "easting", "northing", "cover_level_m"]


def read(*files: Path) -> dict[str, Any]:
    """Check files as `stanch check` does, and hold the tables to their schema."""
    return hand_over("intake", check(list(files)))


def codes(tables: dict[str, Any]) -> list[str]:
    """Codes of all findings."""
    return list(tables["findings"]["code"])


def found(tables: dict[str, Any], code: str) -> pd.Series:
    """The one finding of a code."""
    hits = tables["findings"][tables["findings"]["code"] == code]
    assert len(hits) == 1, f"{code}: {len(hits)} findings of {sorted(codes(tables))}"
    return hits.iloc[0]


@pytest.mark.parametrize("key", ["EG-01", "Total Street 4", "TOTALS-07", "Example Road 2", "0012"])
def test_an_id_that_looks_like_a_word_is_a_row(book: Callable[..., Path], key: str) -> None:
    """Ids that begin like a total or an example are things: a hole must not vanish (law 1)."""
    rows = [CHAMBERS, [key, "S1", 490100, 640100, 20.5], ["CH-2", "S1", 490200, 640100, 20.6]]
    tables = read(book(chambers=rows))
    assert key in set(tables["chambers"]["chamber_id"])


def test_total_and_example_rows_are_skipped_beside(book: Callable[..., Path]) -> None:
    """Blank, total, example and repeated-header rows are no data rows; the sum closes."""
    rows = [
        CHAMBERS,
        ["Example", "S1", 490000, 640000, 20.0],
        ["CH-1", "S1", 490100, 640100, 20.5],
        CHAMBERS,
        ["CH-2", "S1", 490200, 640100, 20.6],
        ["Total", 2, None, None, None],
    ]
    tables = read(book(chambers=rows))
    count = tables["counts"].iloc[0]
    assert sorted(tables["chambers"]["chamber_id"]) == ["CH-1", "CH-2"]
    assert (count["rows_count"], count["skipped_count"]) == (2, 3)
    assert count["rows_count"] == count[["used_count", "asked_count", "refused_count"]].sum()
    assert found(tables, "file-16")["weight"] == "NOTE"


def test_ids_stay_text(book: Callable[..., Path]) -> None:
    """'0012', 'NA' and 'None' are ids; a numeric 7 is '7' and is asked among text ids."""
    ids: list[Any] = ["0012", "NA", "None", "CH-9", 7]
    rows = [CHAMBERS, *([i, "S1", 490100 + 10 * n, 640100, 20.5] for n, i in enumerate(ids))]
    tables = read(book(chambers=rows))
    assert set(tables["chambers"]["chamber_id"]) == {"0012", "NA", "None", "CH-9", "7"}
    assert "id-03" in codes(tables)


def test_a_row_without_id_keeps_its_hole(book: Callable[..., Path]) -> None:
    """A duct row without id is refused, named by file, sheet and row, and stays open."""
    rows = [["end_id", "place_id", "bore_mm"], ["D-1", "E-1", 90], [None, "E-1", 90]]
    tables = read(book(ducts=rows))
    ends = tables["ends"].set_index("end_id")
    assert ends.loc["north.xlsx!ducts!3", "row_state"] == "refused"
    assert ends.loc["north.xlsx!ducts!3", "place_id"] == "E-1"
    assert found(tables, "id-01")["weight"] == "STOP"


def test_two_rows_that_quarrel_lend_nobody_a_value(book: Callable[..., Path]) -> None:
    """Same id, two covers: both rows stay, and the higher cover clears nothing (law 1).

    21.50 and 19.00 m: a chamber read at 21.50 alone would stand dry at 20 m of water.
    """
    rows = [CHAMBERS, ["CH-1", "S1", 490100, 640100, 21.5], ["CH-1", "S1", 490100, 640100, 19.0]]
    chambers = read(book(chambers=rows))["chambers"].set_index("chamber_id")
    assert len(chambers) == 2
    assert (chambers["row_state"] == "refused").all()
    cover = chambers.loc["CH-1", "cover_level_m"]
    assert pd.isna(cover) or cover == 19.0


def test_a_copied_row_is_counted(book: Callable[..., Path]) -> None:
    """An exact copy of a row is one thing, and still a data row of the sheet."""
    rows = [CHAMBERS, *([["CH-1", "S1", 490100, 640100, 21.5]] * 2)]
    tables = read(book(chambers=rows))
    assert len(tables["chambers"]) == 1
    assert tables["counts"].iloc[0]["rows_count"] == 2


def test_header_under_a_title_and_aliases(book: Callable[..., Path]) -> None:
    """Names may stand under a title, and may be the ones people write."""
    rows = [
        ["Survey of the north"], [],
        ["Manhole ID", "Site No", "East", "North", "CL"],
        ["CH-1", "S1", 490100, 640100, 20.5],
    ]  # fmt: skip
    tables = read(book(Manholes=rows))
    row = tables["chambers"].iloc[0]
    assert (row["chamber_id"], row["cover_level_m"], row["row"]) == ("CH-1", 20.5, 4)
    assert found(tables, "file-02")["weight"] == "NOTE"
    letters = tables["columns"].set_index("house_name")["letter"]
    assert (letters["chamber_id"], letters["cover_level_m"]) == ("A", "E")


def test_an_unknown_column_is_asked_with_the_nearest_name(book: Callable[..., Path]) -> None:
    """A column that nobody knows is a question, with the nearest of our names."""
    rows = [[*CHAMBERS, "depht_m"], ["CH-1", "S1", 490100, 640100, 20.5, 1.2]]
    finding = found(read(book(chambers=rows)), "file-04")
    assert "depth_m" in finding["message"]
    assert finding["cell"] == "F1"


def test_two_columns_of_one_name_are_not_used(book: Callable[..., Path]) -> None:
    """Neither of two columns of one name is read, and the rows say that a value was stopped."""
    rows = [[*CHAMBERS, "CL"], ["CH-1", "S1", 490100, 640100, 20.5, 19.5]]
    tables = read(book(chambers=rows))
    assert found(tables, "file-05")["weight"] == "STOP"
    assert pd.isna(tables["chambers"].iloc[0]["cover_level_m"])
    assert tables["chambers"].iloc[0]["row_state"] == "refused"


def test_units_in_a_heading_are_obeyed(book: Callable[..., Path]) -> None:
    """'bore (in)' holds inches: 4 in are 101.6 mm (international inch, exact)."""
    rows = [["end_id", "place_id", "bore (in)"], ["D-1", "E-1", 4]]
    assert read(book(ducts=rows))["ends"].iloc[0]["bore_mm"] == pytest.approx(101.6)


def test_declared_units_do_not_touch_eastings(book: Callable[..., Path]) -> None:
    """level_unit ft: 20.5 ft are 6.2484 m (exact by definition); the easting stays in metres."""
    about = [["name", "value"], ["level_unit", "ft"], ["horizontal_ref", "EPSG:27700"]]
    rows = [CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.5]]
    row = read(book(about=about, chambers=rows))["chambers"].iloc[0]
    assert row["cover_level_m"] == pytest.approx(6.2484)
    assert row["easting_m"] == 490100


def test_a_merged_block_gives_its_value_to_each_row(tmp_path: Path) -> None:
    """The second row of a merged id cell is not a row without id, and the block is asked."""
    import openpyxl

    workbook = openpyxl.Workbook()
    page = workbook.worksheets[0]
    page.title = "ducts"
    rows: list[list[Any]] = [
        ["end_id", "place_id", "bore_mm"],
        ["D-1", "E-1", 90],
        ["D-2", None, 90],
    ]
    for row in rows:
        page.append(row)
    page.merge_cells("B2:B3")
    entries = workbook.create_sheet("entries")
    for row in [["entry_id", "face"], ["E-1", "A"]]:
        entries.append(row)
    workbook.save(tmp_path / "m.xlsx")
    tables = read(tmp_path / "m.xlsx")
    assert tables["ends"]["place_id"].tolist() == ["E-1", "E-1"]
    assert found(tables, "file-06")["weight"] == "ASK"
    assert (tables["ends"]["row_state"] == "asked").all()


def test_hidden_rows_are_used_and_asked(tmp_path: Path) -> None:
    """What a filter hid is read, and asked about."""
    import openpyxl

    workbook = openpyxl.Workbook()
    page = workbook.worksheets[0]
    page.title = "ducts"
    for row in [["end_id", "place_id"], ["D-1", "E-1"], ["D-2", "E-1"]]:
        page.append(row)
    page.row_dimensions[3].hidden = True
    workbook.save(tmp_path / "h.xlsx")
    tables = read(tmp_path / "h.xlsx")
    assert tables["ends"]["end_id"].tolist() == ["D-1", "D-2"]
    assert found(tables, "file-09")["row"] == 3


def test_formulas_without_result_stop_the_value_only(book: Callable[..., Path]) -> None:
    """A formula that was never calculated gives no value; the opening stays in the table."""
    rows = [["end_id", "place_id", "invert_level_m"], ["D-1", "E-1", "=20.5-1.2"]]
    tables = read(book(ducts=rows, entries=[["entry_id", "face"], ["E-1", "A"]]))
    finding, end = found(tables, "file-07"), tables["ends"].iloc[0]
    assert (finding["weight"], finding["cell"]) == ("STOP", "C2")
    assert pd.isna(end["invert_level_m"])
    assert (end["row_state"], end["stopped"]) == ("refused", "invert_level_m")


def test_counted_ways_without_rows_stay_open(book: Callable[..., Path]) -> None:
    """Four ways counted and one listed leave three openings of their own."""
    ducts = [["end_id", "place_id"], ["D-1", "E-1"]]
    entries = [["entry_id", "building_id", "ways_seen"], ["E-1", "B-1", 4]]
    ends = read(book(ducts=ducts, entries=entries))["ends"]
    extra = ends[ends["is_unlisted"]]
    assert len(extra) == 3
    assert set(extra["seen"]) == {"counted only"}
    assert set(extra["building_id"]) == {"B-1"}
    assert (extra["row_state"] == "used").all()


def test_later_visit_wins_whatever_the_order_of_files(book: Callable[..., Path]) -> None:
    """Key = sheet + id; the later visit date wins, also when its file comes first."""

    def survey(name: str, day: str, cover: float) -> Path:
        visits = [["visit_id", "site_id", "visit_date"], [f"V-{day}", "S1", day]]
        rows = [[*CHAMBERS, "visit_id"], ["CH-1", "S1", 490100, 640100, cover, f"V-{day}"]]
        return book(name, visits=visits, chambers=rows)

    new = survey("new.xlsx", "2025-06-01", 20.1)
    old = survey("old.xlsx", "2021-06-01", 20.9)
    for order in ((new, old), (old, new)):
        tables = read(*order)
        assert tables["chambers"]["cover_level_m"].tolist() == [20.1]
        assert "file-17" in codes(tables)


def test_files_of_one_name_are_kept_apart(book: Callable[..., Path]) -> None:
    """Two firms may both send 'survey.xlsx'; the counts of both close."""
    one = book("a/survey.xlsx", chambers=[CHAMBERS, ["CH-1", "S1", 490100, 640100, 20.5]])
    two = book("b/survey.xlsx", chambers=[CHAMBERS, ["CH-2", "S2", 490300, 640100, 20.5]])
    tables = read(one, two)
    assert len(tables["counts"]) == 2
    assert len(tables["chambers"]) == 2


def test_a_tape_gives_the_way_round(book: Callable[..., Path]) -> None:
    """Survey definition: 'tape round' is the way round; 80 pi mm is 80 mm across, and in range.

    50 pi = 157 mm would be out of range as a diameter (3 to 150 mm); the way round is not.
    """
    rows = [
        ["cable_id", "end_id", "count", "diameter_mm", "size_method"],
        ["K1", "D-1", 1, 50.0 * math.pi, "tape round"],
        ["K2", "D-1", 1, 50.0, "gauge card"],
        ["K3", "D-1", 1, 160.0, "gauge card"],
    ]
    ducts = [["end_id", "place_id", "bore_mm"], ["D-1", "E-1", 200]]
    tables = read(book(ducts=ducts, cables=rows))
    sizes = tables["cables"].set_index("cable_id")["diameter_mm"]
    assert sizes["K1"] == pytest.approx(50.0, abs=1e-6)
    assert sizes["K2"] == 50.0
    assert found(tables, "file-23")["as_read"] == "160"
    assert tables["cables"].set_index("cable_id").loc["K3", "doubted"] == "diameter_mm"

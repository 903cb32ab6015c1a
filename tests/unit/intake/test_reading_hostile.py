"""Files that are broken, dressed up or hostile: one finding each, and the others are read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.chart import BarChart, Reference

from pipeline.core.settings import Gps, Settings
from pipeline.intake import check, intake
from pipeline.tables import hand_over

Book = Callable[..., Path]

CHAMBERS = [["chamber_id", "site_id"], ["CH-1", "S1"]]


def read(*files: Path) -> dict[str, Any]:
    """Check files, and hold the tables to their schema."""
    return hand_over("intake", check(list(files)))


def codes(tables: dict[str, Any]) -> list[str]:
    """Codes of all findings."""
    return list(tables["findings"]["code"])


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("web.xlsx", b"<html><body>sign in</body></html>", "file-26"),
        ("cut.xlsx", b"PK\x03\x04 and nothing behind", "file-18"),
        ("old.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "file-18"),
        ("empty.xlsx", b"", "file-26"),
        ("packed.csv", b"PK\x03\x04" + b"\x00" * 60, "file-26"),
        ("binary.csv", b"a,b\x00c\n", "file-26"),
        ("report.pdf", b"%PDF-1.7", "file-26"),
    ],
)
def test_a_broken_file_stops_none_of_the_others(
    book: Book, tmp_path: Path, name: str, content: bytes, code: str
) -> None:
    """The broken file is one STOP that names it; the good file is read."""
    (tmp_path / name).write_bytes(content)
    tables = read(tmp_path / name, book(chambers=CHAMBERS))
    hit = tables["findings"].set_index("code").loc[code]
    assert (hit["file"], hit["weight"]) == (name, "STOP")
    assert tables["chambers"]["chamber_id"].tolist() == ["CH-1"]


def test_a_quotation_mark_swallows_no_rows(tmp_path: Path) -> None:
    """A mark that is opened and never closed leaves the rows below it in the survey."""
    text = 'chamber_id,site_id,gas_note\nCH-1,S1,"as found\nCH-2,S1,\nCH-3,S1,\n'
    (tmp_path / "chambers.csv").write_text(text, encoding="utf-8")
    tables = read(tmp_path / "chambers.csv")
    assert tables["chambers"]["chamber_id"].tolist() == ["CH-1", "CH-2", "CH-3"]


def test_a_very_long_note_is_read(tmp_path: Path) -> None:
    """Two hundred thousand letters in one cell are no fault."""
    text = f"chamber_id,site_id,gas_note\nCH-1,S1,{'x' * 200_000}\n"
    (tmp_path / "chambers.csv").write_text(text, encoding="utf-8")
    assert len(read(tmp_path / "chambers.csv")["chambers"].iloc[0]["gas_note"]) == 200_000


@pytest.mark.parametrize(
    ("encoding", "separator"), [("utf-8", ","), ("utf-8-sig", ";"), ("cp1252", "\t")]
)
def test_csv_as_people_save_it(tmp_path: Path, encoding: str, separator: str) -> None:
    """Separator and encoding are found out; accents come through."""
    lines = [["chamber_id", "site_id", "other_numbers"], ["CH-1", "S1", "Café é"]]
    text = "\n".join(separator.join(row) for row in lines)
    (tmp_path / "chambers.csv").write_bytes(text.encode(encoding))
    row = read(tmp_path / "chambers.csv")["chambers"].iloc[0]
    assert (row["chamber_id"], row["other_numbers"]) == ("CH-1", "Café é")


def test_a_folder_of_csv_files_is_one_delivery(tmp_path: Path) -> None:
    """The file's stem is the sheet; the first sheet holds for all of them."""
    folder = tmp_path / "east"
    folder.mkdir()
    (folder / "about.csv").write_text("name,value\nlevel_unit,ft\n")
    (folder / "chambers.csv").write_text("chamber_id,site_id,cover_level_m\nCH-1,S1,10\n")
    # 10 ft are 3.048 m by definition
    assert read(folder)["chambers"].iloc[0]["cover_level_m"] == pytest.approx(3.048)


def test_a_sheet_that_is_a_chart(tmp_path: Path) -> None:
    """A chart sheet beside the data is no fault."""
    workbook = openpyxl.Workbook()
    page = workbook.worksheets[0]
    page.title = "chambers"
    for row in CHAMBERS:
        page.append(row)
    chart = BarChart()
    chart.add_data(Reference(page, min_col=1, min_row=1, max_row=2))
    workbook.create_chartsheet("picture").add_chart(chart)
    workbook.save(tmp_path / "c.xlsx")
    assert read(tmp_path / "c.xlsx")["chambers"]["chamber_id"].tolist() == ["CH-1"]


def test_a_stray_cell_far_away_does_not_fill_the_memory(tmp_path: Path) -> None:
    """A cell at the far corner of a sheet would make a table of 17 thousand million cells."""
    workbook = openpyxl.Workbook()
    page = workbook.worksheets[0]
    page.title = "chambers"
    page.append(CHAMBERS[0])
    page.cell(1_048_576, 16_384, "x")
    workbook.save(tmp_path / "far.xlsx")
    assert "file-18" in codes(read(tmp_path / "far.xlsx"))


def test_script_and_formulas_stay_text(book: Book) -> None:
    """What looks like a script is an id like any other."""
    rows = [["chamber_id", "site_id"], ["<script>alert(1)</script>", "S1"]]
    assert read(book(chambers=rows))["chambers"]["chamber_id"].tolist() == [
        "<script>alert(1)</script>"
    ]


def test_no_sheet_of_ours(book: Book) -> None:
    """A workbook without any of the four core sheets is one STOP."""
    tables = read(book(prices=[["item", "price"], ["a", 1]]))
    assert tables["findings"].set_index("code").loc["file-01", "weight"] == "STOP"


def test_a_point_file_that_is_something_else_inside(
    book: Book, settings: Callable[..., Settings], tmp_path: Path
) -> None:
    """A virtual layer dressed as GPX does not read another file of this machine."""
    secret = tmp_path / "secret.csv"
    secret.write_text("name,lon,lat\nCH-1,-0.6,55.6\n")
    layer = (
        f'<OGRVRTDataSource><OGRVRTLayer name="waypoints"><SrcDataSource>{secret}'
        "</SrcDataSource><SrcLayer>secret</SrcLayer><GeometryType>wkbPoint</GeometryType>"
        '<LayerSRS>EPSG:4326</LayerSRS><GeometryField encoding="PointFromColumns" x="lon" y="lat"/>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )
    for name, text in (("a.gpx", layer), ("b.gpx", f"<?xml version='1.0'?><!-- <gpx -->{layer}")):
        (tmp_path / name).write_text(text)
        tables = hand_over(
            "intake",
            intake(settings([book(chambers=CHAMBERS)], gps=(Gps(files=(tmp_path / name,)),))),
        )
        assert tables["gps_points"].empty
        assert {"file-26", "file-18"} & set(codes(tables))

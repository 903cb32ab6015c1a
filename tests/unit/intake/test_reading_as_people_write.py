"""Surveys as people send them: marks by colour, pasted pictures, versions, archives of points."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pytest
import shapely
from openpyxl.drawing.image import Image
from openpyxl.styles import Font, PatternFill
from PIL import Image as Picture

from pipeline.core.settings import Gps, Settings
from pipeline.intake import check, intake
from pipeline.tables import hand_over

Book = Callable[..., Path]
EAST, NORTH = 490_000.0, 640_000.0
CHAMBERS = ["chamber_id", "site_id", "easting", "northing", "cover_level_m"]


def read(*files: Path) -> dict[str, Any]:
    """Check files, and hold the tables to their schema."""
    return hand_over("intake", check(list(files)))


def rows_of(count: int) -> list[list[Any]]:
    """Chambers in a row, ten metres apart."""
    return [[f"CH-{i}", "S1", EAST + 10 * i, NORTH, 20.0 + i / 10] for i in range(1, count + 1)]


def of_code(tables: dict[str, Any], code: str) -> list[dict[str, Any]]:
    """Findings of a code."""
    found: list[dict[str, Any]] = tables["findings"].query(f"code == '{code}'").to_dict("records")
    return found


@pytest.mark.parametrize(
    ("style", "says"),
    [
        ({"fill": PatternFill("solid", fgColor="FFF2C200")}, "filled with colour F2C200"),
        ({"font": Font(strike=True)}, "struck through"),
    ],
)
def test_a_meaning_by_colour_is_asked(book: Book, style: dict[str, Any], says: str) -> None:
    """Two rows of six stand out by a colour or a line: one question that names both."""
    path = book(sites=[["site_id"], ["S1"]], chambers=[CHAMBERS, *rows_of(6)])
    workbook: Any = openpyxl.load_workbook(path)
    for r in (3, 5):
        for cell in workbook["chambers"][r]:
            for name, value in style.items():
                setattr(cell, name, value)
    workbook.save(path)
    tables = read(path)
    (found,) = of_code(tables, "file-13")
    assert found["cell"] == "A3"
    assert f"Rows 3, 5 are {says}" in found["message"]
    assert (found["key"], found["also_keys"]) == ("chambers/CH-2", "chambers/CH-4")
    assert set(tables["chambers"]["row_state"]) <= {"asked", "refused"}


@pytest.mark.parametrize("rows", [range(2, 8), range(2, 8, 2)])
def test_the_look_of_a_table_is_no_meaning(book: Book, rows: range) -> None:
    """Every row or every second row shaded is a style."""
    path = book(chambers=[CHAMBERS, *rows_of(6)])
    workbook: Any = openpyxl.load_workbook(path)
    for r in rows:
        for cell in workbook["chambers"][r]:
            cell.fill = PatternFill("solid", fgColor="FFDDE4F0")
    workbook.save(path)
    assert of_code(read(path), "file-13") == []


def test_pasted_pictures_are_asked_for_as_files(book: Book) -> None:
    """A picture in a sheet belongs to no row: it is asked for once."""
    path = book(chambers=[CHAMBERS, *rows_of(2)])
    workbook: Any = openpyxl.load_workbook(path)
    data = io.BytesIO()
    Picture.new("RGB", (8, 8)).save(data, "PNG")
    workbook["chambers"].add_image(Image(data), "G2")
    workbook.save(path)
    (found,) = of_code(read(path), "file-19")
    assert "1 pictures are pasted" in found["message"]


def test_a_repair_is_told_once_for_a_column(book: Book) -> None:
    """'36mm' in five rows is one NOTE that names the rows."""
    rows = [["end_id", "place_id", "bore_mm"], *([f"D-{i}", "E-1", "36mm"] for i in range(5))]
    (found,) = of_code(read(book(ducts=rows)), "file-10")
    assert found["cell"] == "C2"
    assert "The same in 4 more rows of the column (3, 4, 5, 6)." in found["message"]


def test_rows_sent_again_are_compared(book: Book) -> None:
    """A second file with one cover changed and one row new: the change is listed old to new."""
    first = book("march.xlsx", chambers=[CHAMBERS, *rows_of(3)])
    later = rows_of(4)
    later[1][4] = 20.75
    tables = read(first, book("may.xlsx", chambers=[CHAMBERS, *later]))
    changed = tables["changes"].dropna(subset=["column"]).to_dict("records")
    assert [(c["key"], c["column"], c["old"], c["new"]) for c in changed] == [
        ("chambers/CH-2", "cover_level_m", "20.2", "20.75")
    ]
    assert changed[0]["old_file"] == "march.xlsx"
    assert len(tables["changes"]) == 3
    (found,) = of_code(tables, "file-17")
    assert "2 rows are the same" in found["message"]
    assert "1 rows changed and 1 are new" in found["message"]
    assert tables["chambers"].set_index("chamber_id").loc["CH-2", "cover_level_m"] == 20.75


def test_a_chamber_at_a_new_place_is_asked(book: Book, settings: Callable[..., Settings]) -> None:
    """The same id 250 m away in a later file: is it another chamber? 10 m is the house limit."""
    moved = rows_of(2)
    moved[0][2] += 250.0
    moved[1][2] += 5.0
    files = [book("a.xlsx", chambers=[CHAMBERS, *rows_of(2)]),
             book("b.xlsx", chambers=[CHAMBERS, *moved])]  # fmt: skip
    found = of_code(hand_over("intake", intake(settings(files))), "id-06")
    assert [f["key"] for f in found] == ["chambers/CH-1"]
    assert "in a.xlsx; now it is 250 m away" in found[0]["message"]


def test_csv_in_utf_16(tmp_path: Path) -> None:
    """'Unicode text' of a spreadsheet: UTF-16 with tabs."""
    (tmp_path / "chambers.csv").write_text("chamber_id\tsite_id\nCH-é\tS1\n", encoding="utf-16")
    assert read(tmp_path / "chambers.csv")["chambers"]["chamber_id"].tolist() == ["CH-é"]


def _points() -> Any:
    shape = [shapely.Point(EAST + 40, NORTH + 40)]
    return gpd.GeoDataFrame({"point_name_of_rover": ["CH-1"]}, geometry=shape, crs="EPSG:27700")


def _archive(folder: Path, kind: str) -> Path:
    inside = folder / "inside"
    inside.mkdir()
    if kind == ".zip":
        _points().to_file(inside / "rover.shp")
    else:
        _points().rename(columns={"point_name_of_rover": "Name"}).to_crs(4326).to_file(
            inside / "doc.kml", driver="KML"
        )
    path = folder / f"points{kind}"
    with zipfile.ZipFile(path, "w") as packed:
        for file in inside.iterdir():
            packed.write(file, f"../../{file.name}")  # a name that would lead out of a folder
    return path


@pytest.mark.parametrize(("kind", "field"), [(".zip", "point_name_of_rover"), (".kmz", "name")])
def test_points_in_an_archive(
    book: Book, settings: Callable[..., Settings], tmp_path: Path, kind: str, field: str
) -> None:
    """A zipped shapefile (field names cut to ten letters) and a KMZ give their points."""
    path = _archive(tmp_path, kind)
    chambers = book(chambers=[["chamber_id", "site_id"], ["CH-1", "S1"]])
    gps = Gps(files=(path,), id_field=field)
    tables = hand_over("intake", intake(settings([chambers], gps=(gps,))))
    point = tables["gps_points"].iloc[0]
    assert (point["matched_id"], point["file"]) == ("CH-1", path.name)
    # geopandas makes the KML with the seven-parameter shift, which is good to about 5 m here
    assert point["x_m"] == pytest.approx(EAST + 40, abs=0.2 if kind == ".zip" else 5.0)
    assert not list(tmp_path.parent.glob("rover.*"))


def test_an_archive_of_something_else(
    book: Book, settings: Callable[..., Settings], tmp_path: Path
) -> None:
    """A zip without a shapefile is one line, and the survey is read."""
    path = tmp_path / "points.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("readme.txt", "no points")
    chambers = book(chambers=[["chamber_id", "site_id"], ["CH-1", "S1"]])
    tables = hand_over("intake", intake(settings([chambers], gps=(Gps(files=(path,)),))))
    assert len(of_code(tables, "file-26")) == 1
    assert len(tables["chambers"]) == 1


def test_photo_files_against_the_sheet(book: Book, tmp_path: Path) -> None:
    """Three files sent, two named: one is named and not sent, two are sent and not named."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for name in ("IMG_1.JPG", "IMG_2.jpg", "IMG_3.png"):
        (folder / name).write_bytes(b"\xff\xd8")
    photos = [["photo_id", "file_name", "place_id"], ["P1", "img_1.jpg", "CH-1"],
              ["P2", "IMG_9.jpg", "CH-1"]]  # fmt: skip
    survey = book(chambers=[["chamber_id", "site_id"], ["CH-1", "S1"]], photos=photos)
    tables = read(survey, folder)
    (lost,) = of_code(tables, "visit-02")
    assert (lost["cell"], lost["as_read"]) == ("B3", "IMG_9.jpg")
    (left,) = of_code(tables, "visit-03")
    assert left["message"].startswith("2 photos are not named in any row: IMG_2.jpg, IMG_3.png.")
    assert of_code(read(survey), "visit-02") == []

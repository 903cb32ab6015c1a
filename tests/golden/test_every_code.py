"""Every code of the register through files: one fault in the clean sample, found at its cell.

The codes of the example's typed faults stand in `expected_faults.csv`, those of the checks' own
cases in `test_rules_on_files.py`; here are the others, and the proof that none is left out. Source
of each fault: the register's own words for when a rule speaks (`stanch rules`).
"""

from __future__ import annotations

import csv
import io
import math
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
import openpyxl
import pandas as pd
import pytest
import rasterio
from convertbng.cutil import convert_osgb36_to_ll
from openpyxl.drawing.image import Image as Picture
from PIL import ExifTags, Image

from pipeline.core.photo_files import read_photo
from pipeline.core.rules import rules
from pipeline.publish.questions import write_questions
from pipeline.run import check
from sample_surveys.every_word import ALWAYS_ASKED, OTHER_ABOUTS
from tests.golden.test_rules_on_files import CASES as CASES_OF_CHECKS
from tests.spoiled import CLEAN, ROOT, Book, Programme, Where
from tests.unit.intake.test_record_files import FIRES as FIRES_OF_RECORDS


def sheet_absent(book: Book) -> Where:
    """A delivery without chambers."""
    del book.book["chambers"]
    return "chambers", ""


def titles_above(book: Book) -> Where:
    """Two lines of title above the names."""
    book.page("sites").insert_rows(1, 2)
    book.page("sites")["A1"] = "Survey of the river sites"
    return "sites", ""


def no_names(book: Book) -> Where:
    """The line with the column names was deleted."""
    book.page("buildings").delete_rows(1)
    return "buildings", ""


def two_of_a_name(book: Book) -> Where:
    """A second column under another name of the bore."""
    book.column("ducts", "inside diameter")
    return "ducts", ""


def total_row(book: Book) -> Where:
    """A line of totals under the table."""
    page = book.page("cables")
    page.append(["TOTAL", None, 300])
    return "cables", ""


def picture(book: Book) -> Where:
    """A picture pasted beside a row."""
    drawn = io.BytesIO()
    Image.new("RGB", (8, 8)).save(drawn, "PNG")
    book.page("photos").add_image(Picture(drawn), "H3")
    return "photos", ""


def degrees(book: Book) -> Where:
    """A position in degrees, minutes and seconds in place of metres."""
    book.type("sites", "W02", "easting", None)
    book.type("sites", "W02", "northing", None)
    book.type("sites", "W02", "lon", -1.9)
    return book.type("sites", "W02", "lat", "55°43'12.5\"N")


def a_third(keys: Iterable[Any]) -> list[Any]:
    """All keys as parameters; two of three only in the long run (.ci/run): each reads a workbook."""
    return [
        pytest.param(
            k, id=k if isinstance(k, str) else "-".join(k), marks=[pytest.mark.slow][: i % 3]
        )
        for i, k in enumerate(keys)
    ]


BY_CELL: Final[dict[str, Callable[[Book], Where]]] = {
    "file-01": sheet_absent,
    "file-02": titles_above,
    "file-03": no_names,
    "file-05": two_of_a_name,
    "file-16": total_row,
    "file-19": picture,
    "file-23": lambda b: b.type("entries", "W02-B1-E1", "front_space_mm", 9000),
    "file-24": lambda b: b.type("chambers", "W03-C1", "owner", None),
    "id-03": lambda b: (b.type("chambers", "W01-C1", "chamber_id", 12)[0], "A2"),
    "place-04": degrees,
}  # fmt: skip


def found(tables: dict[str, Any], code: str) -> set[Where]:
    """Sheets and cells of a code, and the bare sheets."""
    rows = tables["findings"]
    rows = rows.loc[rows["code"] == code, ["sheet", "cell"]].fillna("").astype(str)
    cells = set(rows.itertuples(index=False, name=None))
    return cells | {(sheet, "") for sheet, _ in cells}


@pytest.mark.parametrize("code", a_third(BY_CELL))
def test_a_fault_in_a_cell_is_found_there(code: str, tmp_path: Path) -> None:
    """One fault typed into the clean workbook, read without settings."""
    book = Book("every_word.xlsx")
    where = BY_CELL[code](book)
    tables, _ = check([book.save(tmp_path / "one fault.xlsx")])
    assert where in found(tables, code), tables["findings"][["code", "sheet", "cell"]].to_string()


# --- faults of whole files ------------------------------------------------------------------------


def sent_twice(folder: Path) -> list[Path]:
    """The same rows in two files."""
    shutil.copy(CLEAN / "every_word.xlsx", folder / "again.xlsx")
    return [CLEAN / "every_word.xlsx", folder / "again.xlsx"]


def cut_short(folder: Path) -> list[Path]:
    """Half of a workbook."""
    whole = (CLEAN / "every_word.xlsx").read_bytes()
    (folder / "half.xlsx").write_bytes(whole[: len(whole) // 2])
    return [CLEAN / "every_word.xlsx", folder / "half.xlsx"]


def photo_too_many(folder: Path) -> list[Path]:
    """A photo that no row names."""
    Image.new("RGB", (8, 8)).save(folder / "unnamed.jpg")
    return [CLEAN / "every_word.xlsx", folder / "unnamed.jpg"]


def answered(folder: Path) -> list[Path]:
    """A question list with one answer in it."""
    book = Book("every_word.xlsx")
    book.type("entries", "W02-B1-E1", "front_space_mm", 9000)
    survey = book.save(folder / "survey.xlsx")
    tables, _ = check([survey])
    write_questions(folder / "back.xlsx", tables, "test")
    back = openpyxl.load_workbook(folder / "back.xlsx")
    for page in back.worksheets:
        for line in page.iter_rows():
            names = [str(c.value) for c in line]
            if "Answer" in names:
                at = names.index("Answer")
                below = page.cell((line[0].row or 0) + 1, at + 1)
                below.value = 900
    back.save(folder / "back.xlsx")
    return [survey, folder / "back.xlsx"]


BY_FILE: Final[dict[str, Callable[[Path], list[Path]]]] = {
    "file-17": sent_twice,
    "file-18": cut_short,
    "visit-03": photo_too_many,
    "answer-01": answered,
}


@pytest.mark.parametrize("code", BY_FILE)
def test_a_fault_of_a_file_is_found(code: str, tmp_path: Path) -> None:
    """Files that are sent twice, cut, named nowhere, or answered."""
    tables, _ = check(BY_FILE[code](tmp_path))
    assert code in set(tables["findings"]["code"])


# --- with settings: places, levels, floods --------------------------------------------------------


def far_chamber(p: Programme) -> Where:
    """A chamber of the first site at the last one."""
    x, y = p.place("K03-C1")
    p.book.type("chambers", "K01-C1", "northing", y)
    p.book.type("chambers", "K01-C1", "easting", x + 30.0)
    return p.book.type("chambers", "K01-C1", "site_id", "K01")


def zero_place(p: Programme) -> Where:
    """A site at nought, nought."""
    p.book.type("sites", "K03", "northing", 0)
    return p.book.type("sites", "K03", "easting", 0)


def no_system(p: Programme) -> Where:
    """Metres of which nobody says from where they count."""
    p.book.about("horizontal_ref", None)
    return "sites", ""


def no_chain(p: Programme) -> Where:
    """An end whose dip was forgotten."""
    p.book.type("ducts", "K01-C1-01", "above_m", None)
    return p.book.type("ducts", "K01-C1-01", "dip_down_m", None)


def second_chain(p: Programme) -> Where:
    """A second dip that gives another level."""
    dip = float(p.book.value("ducts", "K01-C1-01", "dip_down_m"))
    p.book.type("ducts", "K01-C1-01", "check_point_id", "P-K01-C1")
    return p.book.type("ducts", "K01-C1-01", "check_dip_down_m", dip + 0.4)


def cover_off(p: Programme) -> Where:
    """A cover a metre above the ground round it."""
    level = float(p.book.value("level_points", "P-K01-C1", "level_m"))
    p.book.type("level_points", "P-K01-C1", "level_m", level + 1.0)
    return p.book.type("chambers", "K01-C1", "cover_point_id", "P-K01-C1")


def like_satellite(p: Programme) -> Where:
    """A mark that stands above its neighbours by the separation that another mark states."""
    level = float(p.book.value("level_points", "P-K01", "level_m"))
    p.book.type("level_points", "P-K01-B2", "gnss_h_m", level + 50.2)
    p.book.type("level_points", "P-K01-B2", "geoid_sep_m", 50.2)
    return p.book.type("level_points", "P-K01", "level_m", level + 50.2)


def no_floods(p: Programme) -> Where:
    """No source of water is named but the groundwater."""
    parts = p.text.split("[[flood.source]]")
    kept = [x for x in parts[1:] if "groundwater" in x]
    p.text = parts[0] + "".join(f"[[flood.source]]{x}" for x in kept)
    return "", ""


def no_data_mark(p: Programme) -> Where:
    """Cells hold a huge number that the grid does not declare as its mark."""

    def spoil(cells: Any, index: Any) -> None:
        for chamber in ("K01-C1", "K01-C2"):
            row, column = index(*p.place(chamber))
            cells[row, column] = 1.0e6

    p.grid("level_1pc.tif", spoil)
    return "", ""


def out_of_the_model(p: Programme) -> Where:
    """A chamber outside the modelled area."""
    p.book.type("chambers", "K01-C1", "northing", p.place("K01-C1")[1] + 9000.0)
    return "", ""


def hole_at_a_building(p: Programme) -> Where:
    """The grid is raised inside a footprint."""

    def spoil(cells: Any, index: Any) -> None:
        x, y = (float(p.book.value("buildings", "K01-B1", c)) for c in ("easting", "northing"))
        row, column = index(x, y)
        cells[row - 1 : row + 2, column - 1 : column + 2] = np.nan
        cells[row, column] = 99.0

    p.grid("level_1pc.tif", spoil)
    return "", ""


def without_level(p: Programme) -> Where:
    """An outline of the flood that carries no level."""
    import geopandas as gpd
    from shapely.geometry import Point

    shape = gpd.GeoDataFrame(
        {"name": ["river 1 %"], "level_m": [float("nan")]},
        geometry=[Point(*p.place("K01-C1")).buffer(300)],
        crs="EPSG:27700",
    )
    shape.to_file(p.folder / "outline.gpkg")
    p.change(
        "[ground]",
        f"""[[flood.source]]
id = "outline"
kind = "polygon"
mechanism = "river"
aep = 0.01
path = "{(p.folder / "outline.gpkg").as_posix()}"
datum = "Merrow Datum 2015"
u_m = 0.10
climate = "epoch 2055"
defences = "with"
issued = 2024-05-14

[ground]""",
    )
    return "", ""


def old_model(p: Programme) -> Where:
    """The programme asks for models that are not older than three years."""
    p.change("hole_cells = 3", "hole_cells = 3\nmodel_age_years = 3")
    p.flood(issued="2010-01-01")
    return "flood_levels", "M2"


def states_mixed(p: Programme) -> Where:
    """One of the river's grids is without defences."""
    before, after = p.text.split('id = "river 1 %"')
    p.text = f'{before}id = "river 1 %"' + after.replace('"with"', '"without"', 1)
    return "", ""


def seen_higher(p: Programme) -> Where:
    """Water stood in a chamber above any modelled level."""
    p.book.type("chambers", "K01-C3", "water_state", "standing")
    return p.book.type("chambers", "K01-C3", "water_below_cover_m", 0.1)


def roughly_placed(p: Programme) -> Where:
    """A chamber known to thirty metres on an uneven flood."""

    def spoil(cells: Any, index: Any) -> None:
        row, column = index(*p.place("K01-C1"))
        cells[row - 2 : row + 3, column - 2 : column + 3] = 12.0
        cells[row, column + 1] = 12.4

    p.grid("level_1pc.tif", spoil)
    p.book.type("chambers", "K01-C1", "position_u_m", 30.0)
    return "", ""


def depth_for_level(p: Programme) -> Where:
    """A depth that was typed as a level."""
    p.flood(value_m=1.2)
    return "flood_levels", "I2"


def two_reports(p: Programme) -> Where:
    """Two reports on one flood that are two metres apart."""
    p.flood(value_m=15.0)
    p.flood(flood_id="F-2", value_m=17.0)
    return "", ""


def past_flood(p: Programme) -> Where:
    """A mark of a past flood above the design level of the same survey."""
    p.flood()
    p.flood(flood_id="F-2", event="past: 2012-11-24", source="past flood", kind="mark",
            value_m=30.0)  # fmt: skip
    return "flood_levels", "I3"


def photo_with(folder: Path, lat_deg: float, lon_deg: float, taken: str) -> Path:
    """A photo of the first chamber wall that tells where and when it was taken."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    for tag, side, words, value in (
        (ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLatitudeRef, "NS", lat_deg),
        (ExifTags.GPS.GPSLongitude, ExifTags.GPS.GPSLongitudeRef, "EW", lon_deg),
    ):
        minutes, seconds = divmod(abs(value) * 3600.0, 60.0)
        degrees, minutes = divmod(minutes, 60.0)
        gps[tag] = (degrees, minutes, round(seconds, 4))
        gps[side] = words[0] if value >= 0 else words[1]
    path = folder / "PH-K01-C1-A.jpg"
    Image.new("RGB", (8, 8)).save(path, exif=exif)
    return path


def at_k01_c1(north_m: float) -> tuple[float, float]:
    """Latitude and longitude some metres north of a chamber, by a library that is not ours."""
    x, y = (
        float(Book("clean.xlsx").value("chambers", "K01-C1", c)) for c in ("easting", "northing")
    )
    lon, lat = convert_osgb36_to_ll([x], [y + north_m])
    return float(lat[0]), float(lon[0])


@pytest.mark.parametrize(
    ("north_m", "taken", "codes"),
    [
        (10.0, "2025:08:04 10:20:00", set()),
        (10.0, "2025:08:05 00:10:00", set()),
        (400.0, "2025:08:04 10:20:00", {"visit-09"}),
        (10.0, "2024:08:04 10:20:00", {"visit-10"}),
    ],
)
def test_a_photo_tells_where_and_when(
    north_m: float, taken: str, codes: set[str], tmp_path: Path
) -> None:
    """Place and day inside the file against chamber and visit; Pillow writes, convertbng turns."""
    programme = Programme(tmp_path)
    photo = photo_with(tmp_path, *at_k01_c1(north_m), taken)
    config = programme.config()
    tables, _ = check([tmp_path / "survey.xlsx", photo], config=config)
    found_codes = set(tables["findings"]["code"])
    assert found_codes - {"visit-02"} == codes  # the other photos were not sent
    if codes:
        row = programme.book.row("photos", "PH-K01-C1-A")
        (cell,) = {c for s, c in found(tables, *codes) if c}
        assert cell.endswith(str(row))


def test_a_broken_photo_only_keeps_its_name(tmp_path: Path) -> None:
    """A file that is no picture inside: no place, no day, no traceback."""
    (tmp_path / "torn.jpg").write_bytes(b"\xff\xd8\xff\xe1\xff\xffExif\x00\x00junk")
    photo = read_photo(tmp_path / "torn.jpg")
    assert photo.name == "torn.jpg"
    assert photo.day is None
    assert math.isnan(photo.lat_deg)


WITH_SETTINGS: Final[dict[str, Callable[[Programme], Where]]] = {
    "place-09": lambda p: p.book.type("sites", "K02", "grid_ref", "NT 12345 67890"),
    "place-10": far_chamber,
    "place-12": no_system,
    "place-13": zero_place,
    "level-01": no_chain,
    "level-02": second_chain,
    "level-04": like_satellite,
    "level-14": cover_off,
    "duct-17": lambda p: p.book.type("buildings", "K01-B1", "asbestos_suspect", "yes"),
    "duct-26": lambda p: p.book.type("ducts", "K01-B1-E1-01", "material", "ribbed plastic"),
    "place-14": roughly_placed,
    "water-01": no_floods,
    "water-02": depth_for_level,
    "water-07": no_data_mark,
    "water-08": out_of_the_model,
    "water-10": two_reports,
    "water-13": without_level,
    "water-14": hole_at_a_building,
    "water-15": old_model,
    "water-16": past_flood,
    "water-17": states_mixed,
    "water-18": seen_higher,
    "visit-06": lambda p: p.book.type("visits", "V-K01", "visit_date", pd.Timestamp(2015, 3, 2)),
}  # fmt: skip


@pytest.mark.parametrize("code", a_third(WITH_SETTINGS))
def test_a_fault_that_needs_settings_is_found(code: str, tmp_path: Path) -> None:
    """The clean programme with one fault; the neighbour without it is the test below."""
    programme = Programme(tmp_path)
    where = WITH_SETTINGS[code](programme)
    config = programme.config()
    tables, _ = check([tmp_path / "survey.xlsx"], config=config)
    cells = found(tables, code)
    assert cells, tables["findings"][["code", "sheet", "cell", "message"]].to_string()
    assert where == ("", "") or where in cells, cells


def test_depths_over_their_ground_give_the_levels_of_the_model(tmp_path: Path) -> None:
    """The river's 1 % grid as depths: every wet place has the level that the level grid gives."""
    plain = Programme(tmp_path)
    before, _ = check([tmp_path / "survey.xlsx"], config=plain.config())
    source = ROOT / "sample_surveys" / "example" / "flood" / "level_1pc.tif"
    with rasterio.open(source) as levels:
        cells, profile = levels.read(1), dict(levels.profile)
    bed = np.where(cells == profile["nodata"], 5.0, cells - 0.75).astype(np.float32)
    depth = np.where(cells == profile["nodata"], 0.0, 0.75).astype(np.float32)
    for name, values in (("depth.tif", depth), ("bed.tif", bed)):
        with rasterio.open(tmp_path / name, "w", **profile) as file:
            file.write(values, 1)
    plain.change(source.as_posix(), (tmp_path / "depth.tif").as_posix())
    head, tail = plain.text.split('id = "river 1 %"')
    tail = tail.replace(
        '"level grid"', f'"depth grid"\nground = "{(tmp_path / "bed.tif").as_posix()}"', 1
    )
    plain.text = f'{head}id = "river 1 %"{tail}'
    after, _ = check([tmp_path / "survey.xlsx"], config=plain.config())
    one, two = (
        t["floods"].query("source_id == 'river 1 %'").set_index("place_id") for t in (before, after)
    )
    assert (one["answer"] == two["answer"]).all()
    assert one["level_m"].notna().any()
    np.testing.assert_allclose(
        one["level_m"].astype(float), two["level_m"].astype(float), atol=2e-4
    )


# --- the clean sample, and what is left ----------------------------------------------------------


def test_nothing_is_asked_about_the_clean_programme() -> None:
    """The clean workbook with its settings: no finding of any weight."""
    tables, _ = check([CLEAN / "clean.xlsx"], config=ROOT / "configs" / "clean.toml")
    assert tables["findings"].empty


@pytest.mark.parametrize("name", ["every_word", *OTHER_ABOUTS])
def test_nothing_is_asked_where_every_word_is_used(name: str) -> None:
    """Workbooks with every word of every list: no finding, and at least ten rows a sheet."""
    tables, _ = check([CLEAN / f"{name}.xlsx"])
    assert tables["findings"][["code", "sheet", "cell"]].to_dict("records") == []
    if name == "every_word":
        assert (tables["counts"]["rows_count"] >= 10).all()


def test_every_word_of_every_list_is_written_once() -> None:
    """The words of the definition are in the cells; the rest is named with the code it leads to."""
    from pipeline.core.survey import columns

    held: dict[tuple[str, str], set[str]] = {}
    for file in sorted(CLEAN.glob("every_word*.xlsx")):
        book = openpyxl.load_workbook(file, read_only=True)
        for page in book:
            lines = list(page.iter_rows(values_only=True))
            if page.title == "about":
                for name, value, *_ in lines:
                    held.setdefault(("about", str(name)), set()).add(str(value))
                continue
            for line in lines[1:]:
                for name, value in zip(lines[0], line, strict=True):
                    held.setdefault((page.title, str(name)), set()).add(str(value))
    for column in columns():
        for word in column.words:
            if (
                not word.startswith("@")
                and (column.sheet, column.heading, word) not in ALWAYS_ASKED
            ):
                assert word in held[column.sheet, column.heading], (column.sheet, column.heading)


@pytest.mark.parametrize("at", a_third(ALWAYS_ASKED))
def test_a_word_that_is_left_out_is_asked_about(at: tuple[str, str, str], tmp_path: Path) -> None:
    """The list of exceptions is not lazy: each of its words leads to the code it names."""
    sheet, heading, word = at
    book = Book("every_word.xlsx")
    row = {"ducts": book.page("ducts").max_row}.get(sheet, 2)  # the last end: in a chamber
    book.page(sheet).cell(row, book.column(sheet, heading)).value = word
    tables, _ = check([book.save(tmp_path / "asked.xlsx")])
    assert sheet in {s for s, _ in found(tables, ALWAYS_ASKED[at])}


@pytest.mark.parametrize("name", ["feet", "survey_feet", "draft"])
def test_other_units_are_the_same_levels(name: str) -> None:
    """One site in feet, US survey feet, millimetres and inches reads as the same site in metres.

    The file holds four decimals of its unit. Factors: NIST Handbook 44, appendix C (from memory).
    """
    plain, _ = check([CLEAN / "every_word.xlsx"])
    other, _ = check([CLEAN / f"every_word_{name}.xlsx"])
    for table, key, column, step in (
        ("points", "point_id", "level_m", 1e-4), ("ends", "end_id", "bore_mm", 3e-3)
    ):  # fmt: skip
        one, two = (t[table].set_index(key)[column].astype(float) for t in (plain, other))
        assert len(two) >= 4
        np.testing.assert_allclose(two, one.loc[two.index], atol=step)


NOT_HERE: Final = {
    "water-09": "node tables: tests/reference/test_node_tables.py",
    "level-19": "needs a world geoid grid on the machine: tests/unit/intake",
    "duct-19": "known only when seals are designed: the example run",
    "duct-20": "known only when the water was followed: the example run",
    "record-13": "known only when holds are laid beside releases: tests/unit/records",
    "record-19": "a file of its own: tests/unit/intake/test_record_files.py",
    "record-20": "known only when holds are laid beside seals: tests/unit/records",
}


def test_no_code_is_left_to_faith() -> None:
    """Every code of the register is fired on files by one of the tests, or named here with why."""
    with (Path(__file__).parent / "expected_faults.csv").open(encoding="utf-8") as lines:
        typed = {row["code"] for row in csv.DictReader(lines)}
    fired = (
        typed
        | {"visit-09", "visit-10"}
        | {c["code"] for c in CASES_OF_CHECKS}
        | {*BY_CELL, *BY_FILE, *WITH_SETTINGS}
        | {*FIRES_OF_RECORDS}
    )
    assert set(rules()) - fired == set(NOT_HERE)

"""Three invented firms and their habits: from careful rows to the files that they send."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any, Final

import openpyxl
from convertbng.cutil import convert_osgb36_to_ll
from openpyxl.comments import Comment
from openpyxl.worksheet.worksheet import Worksheet

from sample_surveys.example_columns import ALIASES, COLUMNS, SMALL_COLUMNS
from sample_surveys.example_files import save_csv, save_gpx, save_workbook
from sample_surveys.example_land import DATUM
from sample_surveys.example_survey import Book, Row

ABOUT: Final = {
    "template_version": "1",
    "programme": "example",
    "contact_email": "desk@survey.example",
    "vertical_datum": DATUM,
    "level_unit": "m",
    "size_unit": "mm",
    "date_style": "day-month-year",
    "workbook_state": "complete",
}
_DATES: Final = frozenset({"visit_date", "issued", "inspected_on", "works_since"})


def _date(value: Any) -> Any:
    return dt.date.fromisoformat(value) if isinstance(value, str) else value


def about_sheet(book: openpyxl.Workbook, about: Mapping[str, str]) -> None:
    """The first sheet of a workbook: names and values."""
    sheet = book.active
    assert sheet is not None
    sheet.title = "about"
    for row in (("name", "value"), *about.items()):
        sheet.append(row)


def _about(book: openpyxl.Workbook, company: str, horizontal_ref: str) -> None:
    about_sheet(book, ABOUT | {"survey_company": company, "horizontal_ref": horizontal_ref})


def data_sheet(
    book: openpyxl.Workbook,
    name: str,
    headings: tuple[str, ...],
    rows: list[Row],
    titles: tuple[str, ...] = (),
) -> Worksheet:
    """A sheet with its column names, under titles where there are some."""
    sheet: Worksheet = book.create_sheet(name)
    for title in titles:
        sheet.append([title])
    sheet.append(list(headings))
    for row in rows:
        sheet.append([_date(row.get(h)) if h in _DATES else row.get(h) for h in headings])
    return sheet


def first_firm(path: Path, rows: Book) -> None:
    """A workbook with a title above each table, merged ids, and `TBC` where a figure is missing."""
    book = openpyxl.Workbook()
    _about(book, "First Invented Surveys", "EPSG:27700")
    for name, headings in COLUMNS.items():
        titles = (
            f"Duct survey, region North: {name}",
            "all levels in m above Merrow Datum 2015",
            "",
        )
        data_sheet(book, name, headings, rows.sheets[name], titles)
    save_workbook(path, book)


def second_firm(path: Path, rows: Book) -> None:
    """A workbook with its own column names, numbers with their unit, and lat and lon."""
    rows = _short_cuts(rows)
    book = openpyxl.Workbook()
    _about(book, "Second Invented Surveys", "EPSG:4326")
    for name, headings in COLUMNS.items():
        if not rows.sheets[name]:
            continue
        swap = {"easting": "lat", "northing": "lon"} if name in ("sites", "chambers") else {}
        dropped = ("easting", "northing") if name == "buildings" else ()
        own = tuple(swap.get(h, h) for h in headings if h not in dropped)
        for row in rows.sheets[name]:
            if name == "ducts" and row.get("bore_mm") and row["row_no"] == 1:
                row["bore_mm"] = f"{row['bore_mm']} mm"
            if name == "cables" and row["cable_id"].endswith("K2"):
                row["diameter_mm"] = f"{row['diameter_mm']}mm"
        sheet = data_sheet(book, name, own, rows.sheets[name])
        for cell in sheet[1]:
            cell.value = ALIASES.get((name, str(cell.value)), cell.value)
    save_workbook(path, book)


def lat_lon(x: float, y: float) -> tuple[float, float]:
    """Latitude and longitude (degrees, seven decimals) of a place of the national grid."""
    lon, lat = convert_osgb36_to_ll([x], [y])
    return round(float(lat[0]), 7), round(float(lon[0]), 7)


def _short_cuts(rows: Book) -> Book:
    """Levels as the second firm gives them: computed levels instead of points and steps."""
    rows = deepcopy(rows)
    levels = {p["point_id"]: p["level_m"] for p in rows.sheets["level_points"]}
    poor = {p["point_id"] for p in rows.sheets["level_points"] if p["method"] != "levelled"}
    for sheet in ("sites", "chambers"):
        for row in rows.sheets[sheet]:
            row["lat"], row["lon"] = lat_lon(row["easting"], row["northing"])
    for row in rows.sheets["chambers"]:
        if row["cover_point_id"] not in poor:
            row["cover_level_m"] = levels[row["cover_point_id"]]
            row["cover_point_id"] = None
    for row in rows.sheets["buildings"]:
        row["floor_level_m"] = levels[row["floor_point_id"]]
        row["floor_point_id"] = None
    for row in (*rows.sheets["entries"], *rows.sheets["ducts"]):
        point = row.get("ref_point_id")
        if not point or point in poor:
            continue
        step = row["above_m"] if row.get("above_m") is not None else -row["dip_down_m"]
        row["invert_level_m"] = round(levels[point] + step, 3)
        row.update(ref_point_id=None, above_m=None, dip_down_m=None, level_method="direct")
    rows.sheets["level_points"] = [p for p in rows.sheets["level_points"] if p["point_id"] in poor]
    return rows


def third_firm(buildings_path: Path, chambers_path: Path, rows: Book) -> None:
    """Two workbooks, one from indoors and one from the street, with grid references."""
    rows = deepcopy(rows)
    for point in rows.sheets["level_points"]:
        point.update(
            method="GNSS network", u_m=0.02, from_point_id=None, closure_mm=None, run_km=None
        )
    for visit in rows.sheets["visits"]:
        visit.update(instrument="GNSS network", geoid_model="Merrow model 2015", occupations=2)
    for sheet in ("sites", "chambers"):
        for row in rows.sheets[sheet]:
            row["grid_ref"] = grid_reference(row["easting"], row["northing"])
            row["easting"] = row["northing"] = None
    for row in rows.sheets["buildings"]:  # left to the footprints and the sites
        row["easting"] = row["northing"] = None
    indoors = openpyxl.Workbook()
    _about(indoors, "Third Invented Surveys", "national grid letters")
    for name in (
        "visits",
        "sites",
        "buildings",
        "entries",
        "ducts",
        "cables",
        "seals_now",
        "level_points",
        "flood_levels",
        "observations",
        "photos",
    ):
        data_sheet(indoors, name, COLUMNS[name], _part(name, rows.sheets[name], is_street=False))
    hidden = indoors["cables"]
    for number in (11, 12, 13):
        hidden.row_dimensions[number].hidden = True
    indoors["entries"]["C4"].comment = Comment("second visit?", "team 1")
    save_workbook(buildings_path, indoors)
    street = openpyxl.Workbook()
    _about(street, "Third Invented Surveys", "national grid letters")
    for name in ("chambers", "ducts", "cables", "level_points", "photos"):
        data_sheet(street, name, COLUMNS[name], _part(name, rows.sheets[name], is_street=True))
    street["chambers"]["N3"].comment = Comment("cover would not lift fully", "team 1")
    save_workbook(chambers_path, street)


def _part(sheet: str, rows: list[Row], *, is_street: bool) -> list[Row]:
    """The rows of a sheet that were taken in the street, or the others."""
    key = {
        "ducts": "end_id",
        "cables": "end_id",
        "level_points": "point_id",
        "photos": "place_id",
    }.get(sheet)
    if key is None:
        return rows
    return [r for r in rows if ("-C" in str(r[key])) == is_street]


def grid_reference(x: float, y: float) -> str:
    """A reference of two letters and two times five figures (whole metres)."""
    letters = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
    column, row = int((x + 1_000_000) // 500_000), int((y + 500_000) // 500_000)
    first = letters[(4 - row) * 5 + column]
    column, row = int(x % 500_000 // 100_000), int(y % 500_000 // 100_000)
    second = letters[(4 - row) * 5 + column]
    return f"{first}{second} {int(x % 100_000):05d} {int(y % 100_000):05d}"


def csv_folder(folder: Path, rows: Book) -> None:
    """A folder with one file per sheet."""
    save_csv(
        folder / "about.csv",
        ("name", "value"),
        [
            {"name": k, "value": v}
            for k, v in (
                ABOUT
                | {
                    "survey_company": "First Invented Surveys",
                    "horizontal_ref": "EPSG:27700",
                }
            ).items()
        ],
    )
    for name, headings in COLUMNS.items():
        if rows.sheets[name]:
            save_csv(folder / f"{name}.csv", headings, rows.sheets[name])


def gps_file(path: Path, chambers: list[Row]) -> None:
    """Waypoints of chambers; heights as a handheld shows them, some 47 m over the datum."""
    points = []
    for row in chambers:
        lat, lon = lat_lon(row["easting"], row["northing"])
        points.append((str(row["chamber_id"]), lat, lon, 68.0))
    save_gpx(path, points)


def small_survey(path: Path, rows: Book) -> None:
    """The least that a survey can hold: ids, positions, levels and bores as known."""
    rows = _short_cuts(rows)
    book = openpyxl.Workbook()
    _about(book, "Second Invented Surveys", "EPSG:27700")
    for name, headings in SMALL_COLUMNS.items():
        data_sheet(book, name, headings, rows.sheets[name])
    save_workbook(path, book)


def plain_workbook(path: Path, rows: Book) -> None:
    """A workbook as the template asks for it."""
    book = openpyxl.Workbook()
    _about(book, "First Invented Surveys", "EPSG:27700")
    for name, headings in COLUMNS.items():
        if rows.sheets[name]:
            data_sheet(book, name, headings, rows.sheets[name])
    save_workbook(path, book)

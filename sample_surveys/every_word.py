"""The clean sample that holds every word of every list, at least ten rows a sheet, and no fault.

A careful survey of twelve small sites is written first; then each word of each list is put into
one row of its sheet, with what a careful surveyor writes beside it (`BESIDE`). Some words are a
question by themselves (a gap beside a duct always is): they cannot stand in a survey that asks
nothing, and `ALWAYS_ASKED` names each with the code that it leads to.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import openpyxl

from pipeline.core.survey import Column, of_sheet
from sample_surveys import example_firms
from sample_surveys.example_files import save_workbook
from sample_surveys.example_land import DATUM
from sample_surveys.example_plan import WORDS
from sample_surveys.example_survey import Row, write_sites

ABOUT: Final = example_firms.ABOUT | {
    "programme": "clean",
    "survey_company": "First Invented Surveys",
    "horizontal_ref": "EPSG:27700",
}
OTHER_ABOUTS: Final[dict[str, dict[str, str]]] = {
    "every_word_feet": {"level_unit": "ft", "size_unit": "in", "date_style": "year-month-day"},
    "every_word_survey_feet": {"level_unit": "US survey ft", "date_style": "month-day-year"},
    "every_word_draft": {"level_unit": "mm", "workbook_state": "draft"},
    "every_word_part": {"workbook_state": "part"},
}
"""The words of `about` that one workbook cannot hold beside the others: small workbooks."""

_LEVEL: Final = {"m": 1.0, "ft": 0.3048, "US survey ft": 1200 / 3937, "mm": 0.001}
"""Metres of one unit: exact by definition (NIST Handbook 44, appendix C; from memory)."""
_INCH_MM: Final = 25.4
_SHORT_SITE: Final = "W10"
_PLAN: Final = frozenset({"easting", "northing", "position_u_m", "length_m"})  # always metres

ALWAYS_ASKED: Final[dict[tuple[str, str, str], str]] = {
    ("buildings", "other_openings", "not checked"): "visit-07",
    ("buildings", "fire_wall", "yes"): "duct-25",
    ("buildings", "fire_wall", "unknown"): "duct-25",
    ("entries", "gap_around_duct", "crack"): "duct-30",
    ("entries", "gap_around_duct", "weeping"): "duct-30",
    ("entries", "gap_around_duct", "open"): "duct-30",
    ("entries", "fire_wall", "yes"): "duct-25",
    ("entries", "fire_wall", "unknown"): "duct-25",
    ("ducts", "face", "floor"): "duct-29",
    ("ducts", "face", "roof"): "duct-29",
    ("ducts", "use", "water or gas pipe"): "duct-31",
    ("ducts", "contents", "draw cord only"): "duct-11",
    ("ducts", "measured_to", "silt surface"): "level-11",
    ("ducts", "far_proof", "drawing"): "duct-22",
    ("ducts", "far_proof", "assumed"): "duct-22",
    ("ducts", "far_proof", "unknown"): "duct-22",
    ("ducts", "lie", "floor (up)"): "duct-29",
    ("ducts", "lie", "roof (down)"): "duct-29",
    ("ducts", "seen", "counted only"): "duct-28",
    ("ducts", "seen", "not reached"): "duct-28",
    ("cables", "filling", "oil or gas pressure"): "duct-18",
    ("seals_now", "fire_label", "yes"): "duct-25",
    ("flood_levels", "climate", "unknown"): "water-05",
    ("flood_levels", "freeboard_in", "yes"): "water-11",
}

BESIDE: Final[dict[tuple[str, str, str], Row]] = {
    ("level_points", "kind", "national mark"): {"year": 2014, "checked_year": 2024},
    ("chambers", "water_state", "standing"): {"water_below_cover_m": 2.1},
    ("chambers", "water_state", "running"): {"water_below_cover_m": 2.2},
    ("chambers", "water_state", "full"): {"water_below_cover_m": 0.0},
    ("visits", "scope", "part"): {"reason": "parked on"},
    ("visits", "scope", "no access"): {"reason": "locked"},
    ("chambers", "depth_from", "frame"): {"dip_from": "frame"},
    ("chambers", "depth_from", "slab top"): {"dip_from": "slab top"},
    ("chambers", "pumped_out", "yes"): {"refill_minutes": 40},
    ("ducts", "shape", "square"): {"bore_b_mm": 90},
    ("ducts", "shape", "rectangular"): {"bore_b_mm": 144},
    ("ducts", "shape", "oval"): {"bore_b_mm": 144},
    ("ducts", "water_now", "run"): {"water_l_min": 0.8},
    ("ducts", "water_now", "full bore"): {"water_l_min": 30},
    ("ducts", "mouth", "bell"): {"sound_from_mm": 60},
    ("ducts", "mouth", "broken"): {"sound_from_mm": 45},
    ("ducts", "bore_method", "records"): {"bore_mm": 117},
    ("ducts", "bore_method", "judged"): {"bore_mm": 121},
    ("cables", "filling", "unknown"): {"class": "LV"},
    ("cables", "size_method", "tape round"): {"diameter_mm": 104},
}


def word_sheets() -> dict[str, list[Row]]:
    """Rows of the main workbook, by sheet and survey heading."""
    sheets = write_sites(WORDS, "North", dt.date(2025, 9, 1)).sheets
    _seals(sheets)
    _floods(sheets)
    _observations(sheets)
    for end in sheets["ducts"]:  # a draw cord is a question to the engineer
        if end["contents"] == "draw cord only":
            end.update(contents="empty", draw_cord="no")
    for sheet, rows in sheets.items():
        place = 0
        for column in of_sheet(sheet):
            for word in column.words:
                place += _put(sheets, rows, column, word, place)
    return sheets


def _put(
    sheets: dict[str, list[Row]], rows: list[Row], column: Column, word: str, place: int
) -> int:
    """Write a word into one row, unless some row holds it or it is always asked about."""
    at = (column.sheet, column.heading, word)
    if word.startswith("@") or at in ALWAYS_ASKED:
        return 0
    if any(str(row.get(column.heading)) == word for row in rows):
        return 0
    row = _row(sheets, rows, column, word, place)
    row[column.heading] = word
    for heading, value in BESIDE.get(at, {}).items():
        if heading == "dip_from":
            _dip_from(sheets, row, value)
        else:
            row[heading] = value
    if column.heading == "level_method":
        _one_chain(sheets, row, word)
    if word == "ground floor":
        _ground_floor(sheets, row)
    if at == ("sites", "flood_history", "yes"):
        _wet_here(sheets, row)
    return 1


def _row(
    sheets: dict[str, list[Row]], rows: list[Row], column: Column, word: str, place: int
) -> Row:
    """The row that takes a word: the next one, where it does not quarrel with another."""
    if column.sheet == "ducts" and column.heading == "face":
        return _whole_wall(sheets, word)
    if column.sheet == "ducts" and word == "sub-duct":
        return _sub_duct(sheets)
    if column.sheet == "ducts" and word in ("run", "full bore"):
        return next(e for e in rows if e["place_kind"] == "entry" and e.get("water_now") == "dry")
    if column.sheet == "ducts" and column.heading == "dip_from":
        return next(
            e for e in rows if e["place_kind"] == "chamber" and e.get("dip_from") == "cover top"
        )
    return rows[place % len(rows)]


def _whole_wall(sheets: dict[str, list[Row]], face: str) -> Row:
    """All ends and the photo of one chamber wall move to a face; gives the last of them."""
    place = next(
        e["place_id"]
        for e in sheets["ducts"]
        if e["place_kind"] == "chamber" and e["face"] == "A" and e["place_id"].endswith("C1")
    )
    wall = [e for e in sheets["ducts"] if e["place_id"] == place]
    for end in wall:
        end["face"] = face
    return wall[-1]


def _sub_duct(sheets: dict[str, list[Row]]) -> Row:
    """A new row: an inner duct in an empty outer duct."""
    outer = next(e for e in sheets["ducts"] if e["contents"] == "empty" and e["bore_mm"] > 100)
    outer["contents"] = "sub-ducts"
    inner = dict(outer) | {
        "end_id": f"{outer['end_id']}-A",
        "parent_end_id": outer["end_id"],
        "far_end_id": None,
        "bore_mm": 34,
        "contents": "empty",
        "col_no": outer["col_no"] + 10,
    }
    sheets["ducts"].insert(sheets["ducts"].index(outer) + 1, inner)
    return inner


def _dip_from(sheets: dict[str, list[Row]], chamber: Row, value: str) -> None:
    for end in sheets["ducts"]:
        if end["place_id"] == chamber["chamber_id"]:
            end["dip_from"] = value


def _one_chain(sheets: dict[str, list[Row]], row: Row, method: str) -> None:
    """Write the level of an opening by the chain that its method names."""
    mark = next(p for p in sheets["level_points"] if p["point_id"] == row["ref_point_id"])
    up_m = row.pop("above_m") if row.get("above_m") is not None else -row.pop("dip_down_m")
    if method in ("direct", "drawing", "judged"):
        row.update(ref_point_id=None, level_m=round(mark["level_m"] + up_m, 3))
    elif method == "dip":
        row["dip_down_m"] = round(-up_m, 3)
    else:
        row["above_m"] = up_m


def _ground_floor(sheets: dict[str, list[Row]], building: Row) -> None:
    """Put the floor mark of a building under its openings, as where there is no basement."""
    down_m = 3.2
    building["lowest_floor_below_m"] = 0.0
    mark = next(p for p in sheets["level_points"] if p["point_id"] == building["floor_point_id"])
    mark["level_m"] = round(mark["level_m"] - down_m, 3)
    for row in (*sheets["entries"], *sheets["ducts"]):
        if row.get("ref_point_id") == mark["point_id"]:
            row["above_m"] = round(row["above_m"] + down_m, 3)
    for heading in ("door_sill_above_floor_m", "lowest_vent_above_floor_m"):
        building[heading] = 0.4


def _wet_here(sheets: dict[str, list[Row]], site: Row) -> None:
    """The reported flood of a site that was flooded stands over its ground."""
    for row in sheets["flood_levels"]:
        if row["applies_to"] == site["site_id"]:
            row["value_m"] = round(row["value_m"] + 2.6, 2)


def _seals(sheets: dict[str, list[Row]]) -> None:
    """A found seal at the first end of each building, sound or with how it comes out."""
    for i, site in enumerate(sheets["sites"]):
        end_id = f"{site['site_id']}-B1-E1-01"
        sheets["seals_now"].append(
            {
                "seal_id": f"Z-{i + 1:02d}",
                "end_id": end_id,
                "kind": "foam",
                "condition": "loose",
                "water_passing": "none",
                "fire_label": "no",
                "asbestos_suspect": "no",
                "year": 2004 + i,
                "proposal": "take out",
                "removal": "by hand",
            }
        )


def _floods(sheets: dict[str, list[Row]]) -> None:
    """A level from a report for each site, well under its floors."""
    marks = {p["site_id"]: p["level_m"] for p in sheets["level_points"] if p["kind"] == "site mark"}
    for i, (site_id, mark_m) in enumerate(marks.items()):
        sheets["flood_levels"].append(
            {
                "flood_id": f"F-{i + 1:02d}",
                "applies_to": site_id,
                "source": "river",
                "kind": "report",
                "event": "1 %",
                "climate": "included",
                "defences": "with",
                "value_is": "level",
                "value_m": round(mark_m - 1.37, 2),
                "datum": DATUM,
                "freeboard_in": "no",
                "u_m": 0.12,
                "issued": dt.date(2024, 5, 14),
            }
        )


def _observations(sheets: dict[str, list[Row]]) -> None:
    """One thing seen at the first chamber of each site."""
    for i, site in enumerate(sheets["sites"]):
        sheets["observations"].append(
            {
                "obs_id": f"O-{i + 1:02d}",
                "place_id": f"{site['site_id']}-C1",
                "visit_id": f"V-{site['site_id']}",
                "what": "other",
                "unit": "none",
                "note": "seen from the street, nothing more to tell",
                "needs_reply_from": "nobody",
            }
        )


def _short_sheets(sheets: dict[str, list[Row]], about: Mapping[str, str]) -> dict[str, list[Row]]:
    """The rows of one site, with levels and sizes in the units of `about`."""
    metres = _LEVEL[about["level_unit"]]
    mm = _INCH_MM if about["size_unit"] == "in" else 1.0
    out: dict[str, list[Row]] = {}
    for sheet, rows in sheets.items():
        kept = [r for r in rows if _SHORT_SITE in str(r.get("site_id") or "") or _is_of_it(r)]
        out[sheet] = [_in_units(sheet, row, metres, mm) for row in kept]
    return out


def _is_of_it(row: Row) -> bool:
    first = next(iter(row.values()))
    return str(first).startswith((_SHORT_SITE, f"P-{_SHORT_SITE}", f"PH-{_SHORT_SITE}"))


def _in_units(sheet: str, row: Row, metres: float, mm: float) -> Row:
    units = {c.heading: c.unit for c in of_sheet(sheet)}
    out: Row = {}
    for heading, value in row.items():
        is_number = isinstance(value, int | float)
        if is_number and units.get(heading) == "m" and heading not in _PLAN:
            out[heading] = round(value / metres, 4)
        elif is_number and units.get(heading) == "mm":
            out[heading] = round(value / mm, 4)
        else:
            out[heading] = value
    return out


def write_every_word(folder: Path) -> list[Path]:
    """Write the main workbook and the small ones for the words of `about`."""
    sheets = word_sheets()
    out = [_write(folder / "every_word.xlsx", ABOUT, sheets)]
    for name, words in OTHER_ABOUTS.items():
        about = ABOUT | words
        out.append(_write(folder / f"{name}.xlsx", about, _short_sheets(sheets, about)))
    return out


def _write(path: Path, about: Mapping[str, str], sheets: dict[str, list[Row]]) -> Path:
    book = openpyxl.Workbook()
    example_firms.about_sheet(book, about)
    for sheet, rows in sheets.items():
        if rows:
            names = (c.heading for c in of_sheet(sheet))
            used = tuple(n for n in names if any(row.get(n) is not None for row in rows))
            example_firms.data_sheet(book, sheet, used, rows)
    save_workbook(path, book)
    return path

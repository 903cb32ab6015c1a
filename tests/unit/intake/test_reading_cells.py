"""One cell at a time: numbers, units, dates, words and placeholders as people type them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from pipeline.core.survey import Column, of_sheet
from pipeline.intake.assemble import _event
from pipeline.intake.parse import Habits, parse
from pipeline.intake.rows import Row


def column(sheet: str, name: str) -> Column:
    """A column of the definition by house name."""
    return next(c for c in of_sheet(sheet) if c.house_name == name)


def read(sheet: str, name: str, raw: Any, **habits: Any) -> tuple[Any, list[str]]:
    """Value and codes of one cell."""
    parsed = parse(column(sheet, name), raw, Habits(**habits))
    return parsed.value, [s.code for s in parsed.says]


# conversions by definition: 1 in = 25.4 mm, 1 ft = 0.3048 m, US survey ft = 1200/3937 m
@pytest.mark.parametrize(
    ("name", "raw", "value", "codes"),
    [
        ("dip_down_m", 1.9, 1.9, []),
        ("dip_down_m", "1.9", 1.9, []),
        ("dip_down_m", "1.9 m", 1.9, ["file-10"]),
        ("dip_down_m", "1900 mm", 1.9, ["file-10"]),
        ("dip_down_m", "6 ft", 1.8288, ["file-10"]),
        ("dip_down_m", "1,9", 1.9, ["file-11"]),
        ("bore_mm", "36mm", 36.0, ["file-10"]),
        ("bore_mm", "4 in", 101.6, ["file-10"]),
        ("bore_mm", "9 cm", 90.0, ["file-10"]),
        ("bore_mm", "TBC", None, ["file-12"]),
        ("bore_mm", "?", None, ["file-12"]),
        ("bore_mm", "see photo", None, ["file-12"]),
        ("bore_mm", "NA", None, ["file-12"]),
        ("bore_mm", "about 90", None, ["file-21"]),
        ("bore_mm", "90 kg", None, ["file-21"]),
        ("bore_mm", True, None, ["file-21"]),
        ("bore_mm", dt.date(2024, 1, 9), None, ["file-21"]),
        ("bore_mm", "nan", None, ["file-21"]),
        ("bore_mm", "inf", None, ["file-21"]),
        ("bore_mm", 400.0, 400.0, []),  # rule duct-02 asks for its unit
        ("length_m", 4000.0, 4000.0, ["file-23"]),
        ("row_no", 3.0, 3, []),
        ("row_no", 3.5, None, ["file-21"]),
    ],
)
def test_numbers(name: str, raw: Any, value: float | None, codes: list[str]) -> None:
    """A number keeps its value and unit, or is blank with one finding; nothing is guessed."""
    got, said = read("ducts", name, raw)
    assert said == codes
    assert got == (pytest.approx(value) if value is not None else None)


def test_us_survey_feet() -> None:
    """1000 US survey feet are 304.8006096 m (1200/3937 m each), not 304.8."""
    got, _ = read("level_points", "level_m", 1000.0, level_unit="US survey ft")
    assert got == pytest.approx(304.800610, abs=1e-6)


@pytest.mark.parametrize(
    ("raw", "style", "value", "codes"),
    [
        (dt.datetime(2024, 3, 2), "", "2024-03-02", []),
        ("2024-03-02", "", "2024-03-02", []),
        ("13/02/2024", "", "2024-02-13", []),
        ("02/13/2024", "day-month-year", "2024-02-13", []),
        ("3 Feb 2024", "", "2024-02-03", []),
        ("02/03/2024", "day-month-year", "2024-03-02", ["file-14"]),
        ("02/03/2024", "month-day-year", "2024-02-03", ["file-14"]),
        ("05/05/2024", "", "2024-05-05", []),
        ("31/02/2024", "", None, ["file-21"]),
        (45000.0, "", None, ["file-21"]),
        ("TBC", "", None, ["file-12"]),
        ("12/01/1899", "day-month-year", "1899-01-12", ["file-14", "file-15"]),
    ],
)
def test_dates(raw: Any, style: str, value: str | None, codes: list[str]) -> None:
    """True dates and ISO are plain; a text read in two ways is asked; nonsense is refused."""
    assert read("visits", "visit_date", raw, date_style=style) == (value, codes)


def test_a_two_way_date_without_stated_style_is_the_earlier() -> None:
    """No style stated: 02/03/2024 is read as 3 February, the older and so the stricter survey."""
    assert read("visits", "visit_date", "02/03/2024")[0] == "2024-02-03"


def test_a_date_after_the_planning_date_is_asked() -> None:
    """The planning date decides what is the future; no clock is read."""
    _, said = read("visits", "visit_date", "2026-01-16", planning_date=dt.date(2026, 1, 15))
    assert said == ["file-15"]


@pytest.mark.parametrize(
    ("sheet", "name", "raw", "value"),
    [
        ("ducts", "material", "SMOOTH  Plastic", "smooth plastic"),
        ("ducts", "material", "asbestos cement suspect", "asbestos-cement suspect"),
        ("ducts", "measured_to", "soffit", "soffit (inside top)"),
        ("buildings", "fire_wall", True, "yes"),
        ("chambers", "walls_seen", "A B d", "A;B;D"),
        ("chambers", "walls_seen", "A, floor", "A;floor"),
        ("buildings", "other_openings", "drain; sump outlet", "drain;sump outlet"),
        ("buildings", "other_openings", "none seen", "none seen"),
    ],
)
def test_words(sheet: str, name: str, raw: Any, value: str) -> None:
    """Words of a list are known whatever their case, dashes and separators."""
    assert read(sheet, name, raw) == (value, [])


def test_an_unknown_word_is_blank_and_gathered() -> None:
    """A word outside its list is never taken for another; the caller asks it once."""
    parsed = parse(column("ducts", "material"), "PVC-U", Habits())
    assert (parsed.value, parsed.unknown_word) == (None, "PVC-U")


def test_region_na_is_a_region() -> None:
    """'NA' is a code where the programme says so, not a blank."""
    assert read("sites", "region", "NA", words={"@regions": ("North", "NA")}) == ("NA", [])


@pytest.mark.parametrize("raw", ["300 or more", "not probed"])
def test_free_depth_may_be_a_word(raw: str) -> None:
    """A word in place of a depth is kept as a word; the number stays unknown."""
    parsed = parse(column("ducts", "clear_depth_mm"), raw, Habits())
    assert (parsed.value, parsed.word, parsed.says) == (None, raw, [])


def event(text: Any, **raws: str) -> Row:
    """A flood row with its event read."""
    row = Row("f", "flood_levels", "flood_levels", 2, {"event": text}, {"event": str(text), **raws})
    _event(row)
    return row


# an annual exceedance probability of 1 in 100 is 1 % (contract: "1 in 100 is read as 1 %")
@pytest.mark.parametrize(
    ("text", "aep"),
    [
        ("1 in 100", 0.01),
        ("1 in 100 years", 0.01),
        ("1:200", 0.005),
        ("1 %", 0.01),
        ("0,5 %", 0.005),
        ("0.01", 0.01),
        ("1 in 1,000", 0.001),
        ("1 in 0", None),
        ("1 in .", None),
        ("1 in 1.000.000", None),
        ("1.2.3 %", None),
        ("0.1.2", None),
        ("200 %", None),
        ("often", None),
    ],
)
def test_events(text: str, aep: float | None) -> None:
    """A chance a year is read from the common forms; anything else is unknown, never a crash."""
    got = event(text).values["aep_per_year"]
    assert got == (pytest.approx(aep) if aep is not None else None)


@pytest.mark.parametrize("raw", ["yes .", "yes 1.2.3", "yes ,,"])
def test_hostile_freeboard_is_no_crash(raw: str) -> None:
    """Figures that are none give no freeboard."""
    assert event("1 %", freeboard_in=raw).values.get("freeboard_in_m") is None

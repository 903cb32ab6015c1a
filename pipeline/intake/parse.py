"""One cell at a time: what was typed, what it means, and what has to be said about it."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Final

from pipeline.core.geo import degrees_from_dms
from pipeline.core.survey import Column, form_word
from pipeline.core.units import M_PER_FT, M_PER_US_SURVEY_FT, MM_PER_IN

PLACEHOLDERS: Final = frozenset(
    {
        "tbc", "tba", "?", "??", "-", "--", "–", "—", "n/a", "see photo", "see photos", "as above",
        "ditto", '"', "to be confirmed", "xx", "xxx",
    }
)  # fmt: skip
# no name of anything: the row counts as one without id
_NO_ID: Final = frozenset({"?", "??", "-", "--", "–", "—"})
_NUMBER_PLACEHOLDERS: Final = frozenset({"na", "none", "null", "nil", "unknown", "not known"})
_NUMBER: Final = re.compile(r"^([+-]?\d+(?:[.,]\d+)?|[+-]?[.,]\d+)\s*([^\d\s.,].*)?$")
# unit words -> (dimension, factor to metres, millimetres, or itself)
_LENGTH_M: Final = {
    "m": 1.0, "mm": 0.001, "cm": 0.01, "km": 1000.0, "ft": M_PER_FT, "'": M_PER_FT,
    "in": MM_PER_IN / 1000.0, '"': MM_PER_IN / 1000.0, "inch": MM_PER_IN / 1000.0,
    "us survey ft": M_PER_US_SURVEY_FT, "metres": 1.0, "meters": 1.0, "millimetres": 0.001,
    "millimeters": 0.001, "centimetres": 0.01, "centimeters": 0.01, "feet": M_PER_FT,
    "inches": MM_PER_IN / 1000.0,
}  # fmt: skip
_UNIT_M: Final = {"m": 1.0, "mm": 0.001, "km": 1000.0}
_SAME_UNIT: Final = {
    "days": {"d", "day", "days"},
    "h": {"h", "hour", "hours", "hrs"},
    "min": {"min", "mins", "minutes"},
    "l/min": {"l/min", "lpm"},
    "deg": {"°", "deg"},
    "m2": {"m2", "m²", "sqm"},
}
# lengths in plan: a workbook that declares feet for its levels says nothing of these
_OWN_RANGE: Final = frozenset({("ducts", "bore_mm")})  # rule duct-02 asks for the unit
_NO_LEVELS: Final = frozenset({"easting_m", "northing_m", "position_u_m", "length_m"})
_DATE: Final = re.compile(r"^(\d{1,4})[./\- ](\d{1,2}|[a-z]{3,9})[./\- ](\d{2,4})$", re.IGNORECASE)
_MONTHS: Final = (
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
)
_TIDY: Final = re.compile(r"[!-~]+(?: [!-~]+)*")
_DASHES: Final = str.maketrans({"‐": "-", "‑": "-", "‒": "-", "–": "-", "—": "-", "−": "-"})


@dataclass(frozen=True)
class Say:
    """Something to say about a cell: code, words for the braces, and whether the value is used."""

    code: str
    fill: dict[str, Any]
    weight: str | None = None
    is_stop: bool = False


@dataclass
class Parsed:
    """A typed value (None = blank) and what there is to say."""

    value: Any = None
    says: list[Say] = field(default_factory=list)
    word: str = ""
    unknown_word: str = ""


@dataclass(frozen=True)
class Habits:
    """How a workbook writes: units declared in its about sheet, date style, words of the programme."""

    level_unit: str = "m"
    size_unit: str = "mm"
    date_style: str = ""
    decimal_comma: bool = False
    words: dict[str, tuple[str, ...]] = field(default_factory=dict)
    planning_date: dt.date | None = None
    divide_by: dict[str, float] = field(default_factory=dict)
    """House name -> what a number of that column is divided by: a tape gives the way round."""


def with_unit(habits: Habits, unit: str) -> Habits:
    """Habits of a column whose heading names its own unit, as 'bore (in)'."""
    if unit.casefold() not in _LENGTH_M:
        return habits
    return replace(habits, level_unit=unit, size_unit=unit)


def clean_id(raw: str) -> str:
    """An id without stray spaces and with plain dashes; letter case is kept."""
    if _TIDY.fullmatch(raw):
        return raw
    return re.sub(r"\s+", " ", raw.replace("\u00a0", " ").translate(_DASHES)).strip()


def parse(column: Column, raw: Any, habits: Habits) -> Parsed:
    """Read one cell by the definition of its column.

    Parameters
    ----------
    column : Column
    raw : object
        As the file reader gave it: None, text, number, boolean, date.
    habits : Habits

    Returns
    -------
    Parsed

    """
    if raw is None or (isinstance(raw, str) and not raw.strip()):
        return Parsed()
    if isinstance(raw, str) and "\x00" in raw:
        raw = raw.replace("\x00", "")
    return _KINDS[column.kind](column, raw, habits)


def _plain(raw: Any) -> str:
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    if isinstance(raw, float) and raw.is_integer():
        return str(int(raw))
    if isinstance(raw, (dt.datetime, dt.date)):
        return raw.isoformat()[:10]
    return str(raw).strip()


def _placeholder(text: str, raw: Any) -> Parsed | None:
    if text.casefold() in PLACEHOLDERS:
        return Parsed(None, [Say("file-12", {"raw": raw})])
    return None


def _id(column: Column, raw: Any, habits: Habits) -> Parsed:
    del habits
    text = _plain(raw)
    if not column.is_key:
        found = _placeholder(text, raw)
        if found and text != "-":
            return found
    elif text in _NO_ID:
        return Parsed()
    clean = clean_id(text)
    says = []
    if clean != text or (isinstance(raw, str) and clean != raw):
        says.append(Say("file-20", {"raw": raw, "value": clean}))
    return Parsed(clean or None, says)


def _text(column: Column, raw: Any, habits: Habits) -> Parsed:
    del column, habits
    text = _plain(raw)
    return _placeholder(text, raw) or Parsed(text)


def _unit_factor(column: Column, habits: Habits) -> float:
    """Factor of a bare number to the column's own unit, by the units declared in the workbook."""
    if column.house_name in _NO_LEVELS:
        return 1.0
    if column.unit == "m":
        declared = habits.level_unit.casefold()
    elif column.unit == "mm":
        declared = habits.size_unit.casefold()
    else:
        return 1.0
    return _LENGTH_M.get(declared, 1.0) / _UNIT_M[column.unit] if declared else 1.0


def _number(  # noqa: C901, PLR0912 - one guard for each way a number is written
    column: Column, raw: Any, habits: Habits
) -> Parsed:
    if isinstance(raw, (bool, dt.datetime, dt.date)):
        return _unreadable(column, raw)
    says: list[Say] = []
    if isinstance(raw, (int, float)):
        value = float(raw) * _unit_factor(column, habits)
    else:
        text = str(raw).strip().translate(_DASHES)
        if text.casefold() in PLACEHOLDERS | _NUMBER_PLACEHOLDERS:
            return Parsed(None, [Say("file-12", {"raw": raw})])
        found = _NUMBER.match(text)
        if column.unit == "deg" and (dms := degrees_from_dms(text)) is not None:
            return Parsed(round(dms, 9), [Say("place-04", {"raw": raw, "value": f"{dms:.6f}"})])
        if not found:
            return _unreadable(column, raw)
        digits, unit = found.group(1), (found.group(2) or "").strip().casefold()
        value = float(digits.replace(",", "."))
        if "," in digits and not habits.decimal_comma:
            other = digits.replace(",", "")
            says.append(Say("file-11", {"raw": raw, "value": f"{value:g}", "other": other}))
        factor = _typed_unit(column, unit) if unit else _unit_factor(column, habits)
        if factor is None:
            return _unreadable(column, raw)
        value *= factor
        if unit:
            says.append(Say("file-10", {"raw": raw, "value": f"{value:g}", "unit": column.unit}))
    value /= habits.divide_by.get(column.house_name, 1.0)
    if not math.isfinite(value) or abs(value) > 1e9:
        return _unreadable(column, raw)
    if column.kind == "whole":
        if value != int(value):
            return _unreadable(column, raw)
        value = int(value)
    else:
        # six decimals of a degree are 0.1 m: a survey instrument is better than that
        value = round(value, 9 if column.unit == "deg" else 6)
    return Parsed(value, says + _range(column, value, habits))


def _typed_unit(column: Column, unit: str) -> float | None:
    if column.unit in _UNIT_M and unit in _LENGTH_M:
        return _LENGTH_M[unit] / _UNIT_M[column.unit]
    if unit in _SAME_UNIT.get(column.unit, set()) or unit == column.unit.casefold():
        return 1.0
    return None


def _range(column: Column, value: float, habits: Habits) -> list[Say]:
    lo, hi = column.lo, column.hi
    if (column.sheet, column.house_name) in _OWN_RANGE:
        return []
    if hi == "planning year":
        hi = str(habits.planning_date.year) if habits.planning_date else ""
    if (lo and value < float(lo)) or (hi and value > float(hi)):
        fill = {"value": f"{value:g}", "unit": column.unit, "lo": lo, "hi": hi}
        return [Say("file-23", fill)]
    return []


def _unreadable(column: Column, raw: Any) -> Parsed:
    what = {"number": "a number", "whole": "a whole number", "date": "a date", "yesno": "yes or no"}
    kind = what.get(column.kind, "a number or one of the words")
    return Parsed(None, [Say("file-21", {"raw": raw, "kind": kind})])


def _number_or_word(column: Column, raw: Any, habits: Habits) -> Parsed:
    if isinstance(raw, str):
        word = _match(raw, column.words)
        if word:
            return Parsed(None, [], word=word)
    return _number(column, raw, habits)


def _normal(text: str) -> str:
    return re.sub(r"[\s_\-–—]+", " ", text.casefold().replace(" or ", "/")).strip(" .")


@lru_cache(maxsize=8192)
def _match(raw: str, words: tuple[str, ...]) -> str:
    """The allowed word that was meant: same letters, whatever case, spaces and dashes."""
    wanted = _normal(raw)
    for word in words:
        # a form app exports 'soffit_inside_top' for 'soffit (inside top)'
        if _normal(word) == wanted or (raw and form_word(raw) == raw and form_word(word) == raw):
            return word
    short = [w for w in words if "(" in w and _normal(w.split("(")[0]) == wanted]
    return short[0] if len(short) == 1 else ""


def allowed(column: Column, habits: Habits) -> tuple[str, ...]:
    """Allowed words of a column; words of the programme come from the settings."""
    if len(column.words) == 1 and column.words[0].startswith("@"):
        return habits.words.get(column.words[0], ())
    return column.words


def _list(column: Column, raw: Any, habits: Habits) -> Parsed:
    text = _plain(raw)
    words = allowed(column, habits)
    if column.words == ("@datums",) and words:  # a form app exports a datum as 'ordnance_2015'
        return Parsed(_match(text, words) or text)
    if not words:  # an open list: any text
        found = _placeholder(text, raw)
        return found or Parsed(text)
    # 'included: epoch 2055', 'yes: 0.3 m': the word before the colon, the rest is read beside it
    word = _match(text, words) or _match(text.split(":", maxsplit=1)[0], words)
    if word:
        return Parsed(word)
    found = _placeholder(text, raw)
    if found:
        return found
    # an unknown word is asked once per word and file: the caller gathers them
    return Parsed(None, [], unknown_word=text)


def _many(column: Column, raw: Any, habits: Habits) -> Parsed:
    text = _plain(raw)
    words = allowed(column, habits)
    whole = _match(text, words)
    if whole:
        return Parsed(whole)
    parts = [p for p in re.split(r"[,;/+&]| and ", text) if p.strip()]
    if len(parts) == 1 and all(len(w) == 1 for w in text.split()):
        parts = text.split()
    found = [_match(p, words) for p in parts]
    if parts and all(found):
        return Parsed(";".join(dict.fromkeys(found)))
    spaced = [_match(p, words) for p in text.split()]
    if spaced and all(spaced):
        return Parsed(";".join(dict.fromkeys(spaced)))
    return _placeholder(text, raw) or Parsed(None, [], unknown_word=text)


def _yesno(column: Column, raw: Any, habits: Habits) -> Parsed:
    del habits
    text = _plain(raw).casefold()
    if text in ("yes", "y", "true", "1"):
        return Parsed(True)
    if text in ("no", "n", "false", "0"):
        return Parsed(False)
    return _placeholder(text, raw) or _unreadable(column, raw)


def _date(column: Column, raw: Any, habits: Habits) -> Parsed:
    if isinstance(raw, dt.datetime):
        return _checked_date(column, raw.date(), habits, [])
    if isinstance(raw, dt.date):
        return _checked_date(column, raw, habits, [])
    if not isinstance(raw, str):
        return _unreadable(column, raw)
    text = raw.strip()
    found = _placeholder(text, raw)
    if found:
        return found
    match = _DATE.match(text)
    if not match:
        return _unreadable(column, raw)
    readings = _readings(*match.groups())
    if not readings:
        return _unreadable(column, raw)
    if len(set(readings.values())) == 1:
        return _checked_date(column, next(iter(readings.values())), habits, [])
    # without a stated style the earlier date is taken: an older survey is trusted less
    chosen = readings.get(habits.date_style) or min(readings.values())
    dates = list(dict.fromkeys(readings.values()))
    fill = {"raw": raw, "a": dates[0].isoformat(), "b": dates[1].isoformat(), "chosen": chosen}
    return _checked_date(column, chosen, habits, [Say("file-14", fill)])


def _readings(one: str, two: str, three: str) -> dict[str, dt.date]:
    """The dates that a text can mean, by style."""
    month = _MONTHS.index(two[:3].lower()) + 1 if two[:3].lower() in _MONTHS else 0
    if not month and not two.isdigit():
        return {}
    orders = {
        "year-month-day": (one, two, three),
        "day-month-year": (three, two, one),
        "month-day-year": (three, one, two),
    }
    out = {}
    for style, (year, mon, day) in orders.items():
        if len(year) != 4 or (month and style == "month-day-year"):
            continue
        try:
            out[style] = dt.date(int(year), month or int(mon), int(day))
        except ValueError:
            continue
    return out


def _checked_date(column: Column, date: dt.date, habits: Habits, says: list[Say]) -> Parsed:
    exempt = column.sheet in ("seals_now", "flood_levels") and column.house_name != "issued"
    exempt = exempt or column.condition == "may lie in the future"
    future = habits.planning_date is not None and date > habits.planning_date
    if (future or date.year < 1990) and not exempt:
        says = [*says, Say("file-15", {"date": date.isoformat()})]
    return Parsed(date.isoformat(), says)


_KINDS: Final = {
    "id": _id, "text": _text, "code": _text, "number": _number, "whole": _number,
    "number_or_word": _number_or_word, "list": _list, "many": _many, "yesno": _yesno,
    "date": _date,
}  # fmt: skip

__all__ = ["Habits", "Parsed", "Say", "allowed", "clean_id", "parse"]

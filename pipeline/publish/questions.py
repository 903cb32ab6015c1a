"""questions.xlsx: what has to be answered, per sender and answerer, in walking order."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.answers import is_open
from pipeline.core.counting import head_line
from pipeline.core.findings import KEY_SEPARATOR as SEPARATOR
from pipeline.publish.book import Book, Column
from pipeline.tables import Tables

_COLUMNS: Final = (
    Column("place_id", "Place", "", 16),
    Column("file", "File", "", 18),
    Column("sheet", "Sheet", "", 14),
    Column("cell", "Cell", "", 8),
    Column("weight", "Weight", "", 7),
    Column("as_read", "As read", "", 18),
    Column("message", "Question", "", 60),
    Column("assumed", "Assumed until answered", "", 30),
    Column("answer", "Answer", "", 22),
    Column("by_whom", "By whom", "", 14),
    Column("date", "Date", "", 11),
    Column("mend", "How to mend", "", 34),
    Column("code", "Code", "", 10),
    Column("key", "Key", "", 24),
    Column("column", "Column", "", 18),  # an answer is remembered by key, column and code
)
_NOT_PRINTED: Final = 3
_LONGEST: Final = 32_000  # a cell of a spreadsheet holds 32,767 characters
_ARE_PLACES: Final = ("sites", "buildings", "chambers", "entries")
_RANK: Final = {contract.STOP: 0, contract.ASK: 1}


def lines_to_answer(tables: Tables) -> pd.DataFrame:
    """Every open question, a line each, in walking order per sender and answerer.

    Parameters
    ----------
    tables : Tables
        Survey tables, findings and counts.

    Returns
    -------
    DataFrame
        Findings with all keys in `key`, `place_id`, `walk` (rank of the place on the way round,
        -1 for what belongs to no place), `rank` (STOP before ASK) and `sender`.

    """
    findings = tables["findings"]
    asked = findings[is_open(findings)].copy()
    more = asked["also_keys"].fillna("")
    asked["key"] = asked["key"].where(more == "", asked["key"] + SEPARATOR + more)
    # a line that stands for very many rows keeps as many keys as a cell can hold
    for name in ("key", "message", "assumed", "as_read"):
        asked[name] = asked[name].str.slice(0, _LONGEST)
    asked["place_id"] = _places(tables, asked)
    asked["walk"] = _walking_order(tables, asked)
    asked["rank"] = asked["weight"].map(_RANK)
    asked["sender"] = [_sender(f) for f in asked["file"]]
    asked["answered_by"] = asked["answered_by"].fillna("surveyor")
    return asked.sort_values(
        ["sender", "answered_by", "walk", "place_id", "rank", "sheet", "row", "code"], kind="stable"
    )


def write_questions(path: Path, tables: Tables, run_label: str) -> None:
    """Write the question list.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Survey tables, findings and counts.
    run_label : str
        Printed on every sheet.

    """
    asked = lines_to_answer(tables)
    book = Book(path, title="Questions on the survey", run_label=f"Run {run_label}.")
    used: set[str] = set()
    for (sender, who), group in asked.groupby(["sender", "answered_by"], sort=True):
        name = _sheet_name(f"{who} - {sender}", used)
        sheet = book.sheet(
            name,
            f"Questions for the {who}: {sender}",
            head_line(_counts_of(tables["counts"], sender))
            + ". One answer a line; one word will do.",
            _COLUMNS,
            is_a4=True,
        )
        last = book.table(sheet, group.assign(answer=None, by_whom=None, date=None), _COLUMNS)
        # code, key and column are for reading the answers back, not for paper
        sheet.print_area(0, 0, last, len(_COLUMNS) - 1 - _NOT_PRINTED)
    if asked.empty:
        sheet = book.sheet("Questions", "Nothing to ask", head_line(tables["counts"]), _COLUMNS)
        book.table(sheet, asked, _COLUMNS)
    book.close()


def _places(tables: Tables, asked: pd.DataFrame) -> list[Any]:
    """Place of each line; a finding of the reading knows its row alone, which names its place."""
    end_at = dict(zip(tables["ends"]["end_id"], tables["ends"]["place_id"], strict=True))
    cable_of = dict(zip(tables["cables"]["cable_id"], tables["cables"]["end_id"], strict=True))
    out: list[Any] = []
    for place, key in zip(asked["place_id"], asked["key"], strict=True):
        sheet, _, an_id = str(key).split(SEPARATOR)[0].partition("/")
        if isinstance(place, str) and place:
            out.append(place)
        elif sheet == "ducts":
            out.append(end_at.get(an_id))
        elif sheet == "cables":
            out.append(end_at.get(cable_of.get(an_id)))
        else:
            out.append(an_id if sheet in _ARE_PLACES else None)
    return out


def _sender(file: Any) -> str:
    """A file, or the folder that a CSV file came in; what is of no file is of the programme."""
    name = "" if file is None or pd.isna(file) else str(file)
    return name.split("/", maxsplit=1)[0] or "programme"


def _counts_of(counts: pd.DataFrame, sender: str) -> pd.DataFrame:
    own = counts[[_sender(f) == sender for f in counts["file"]]]
    return own if len(own) else counts


def _sheet_name(wanted: str, used: set[str]) -> str:
    """A sheet name of at most 31 letters that is not taken yet."""
    plain = "".join("_" if c in "[]:*?/\\'" else c for c in wanted)[:28]
    name, number = plain, 2
    while name.casefold() in used:
        name = f"{plain}~{number}"
        number += 1
    used.add(name.casefold())
    return name


def _walking_order(tables: Tables, asked: pd.DataFrame) -> list[int]:
    """Rank of each finding's place: site by site, within a site from place to nearest place."""
    spots: dict[str, tuple[float, float]] = {}
    site_of: dict[str, str] = {}
    for name, key in (
        ("sites", "site_id"),
        ("buildings", "building_id"),
        ("chambers", "chamber_id"),
    ):
        for row in tables[name].to_dict("records"):
            place = str(row[key])
            site_of[place] = str(row.get("site_id") or "")
            if not (pd.isna(row["x_m"]) or pd.isna(row["y_m"])):
                spots[place] = (float(row["x_m"]), float(row["y_m"]))
    for entry, building in zip(
        tables["entries"]["entry_id"], tables["entries"]["building_id"], strict=True
    ):
        site_of[str(entry)] = site_of.get(str(building), "")
        if str(building) in spots:
            spots[str(entry)] = spots[str(building)]
    rank = _ranks(sorted({str(p) for p in asked["place_id"].dropna()}), spots, site_of)
    # what belongs to no place is of the whole file, and comes first
    return [rank.get(str(p), -1) for p in asked["place_id"]]


def _ranks(
    places: list[str], spots: dict[str, tuple[float, float]], site_of: dict[str, str]
) -> dict[str, int]:
    order: list[str] = []
    by_site: dict[str, list[str]] = {}
    for place in places:
        by_site.setdefault(site_of.get(place, place), []).append(place)
    for site in sorted(by_site):
        left = by_site[site]
        here = spots.get(site)
        while left:
            near = min(left, key=lambda p: (_away(here, spots.get(p)), p))
            left.remove(near)
            order.append(near)
            here = spots.get(near, here)
    return {place: i for i, place in enumerate(order)}


def _away(one: tuple[float, float] | None, other: tuple[float, float] | None) -> float:
    if one is None or other is None:
        return 0.0 if one is None else math.inf
    return math.hypot(one[0] - other[0], one[1] - other[1])

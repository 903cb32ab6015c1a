"""Named kinds of damage that happen to survey workbooks, and what must be said of each."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill

Expected = tuple[str, str, str]
"""Code, sheet, cell ('' where the whole sheet or a column is meant)."""


@dataclass
class Bench:
    """A workbook on the bench: each damage takes rows of its own, so that none hides another."""

    book: Any
    rng: random.Random
    taken: set[tuple[str, int]] = field(default_factory=set)
    extra_rows: int = 0
    expected: list[Expected] = field(default_factory=list)
    moved: set[str] = field(default_factory=set)

    def heads(self, sheet: str) -> dict[str, int]:
        """Headings of a sheet by name."""
        for row in self.book[sheet].iter_rows(max_row=12):
            names = {c.value: c.column for c in row if isinstance(c.value, str)}
            if len(names) > 3:
                return names
        raise AssertionError(sheet)

    def top(self, sheet: str) -> int:
        """Row of the headings."""
        for row in self.book[sheet].iter_rows(max_row=12):
            if len([c for c in row if isinstance(c.value, str)]) > 3:
                return int(row[0].row)
        raise AssertionError(sheet)

    def pick(self, sheet: str, heading: str) -> Any:
        """A filled cell of a column in a row that nothing else has damaged."""
        page, at = self.book[sheet], self.heads(sheet)[heading]
        rows = [
            r for r in range(self.top(sheet) + 1, page.max_row + 1)
            if page.cell(r, at).value not in (None, "") and (sheet, r) not in self.taken
            and page.cell(r, 1).value not in (None, "")
        ]  # fmt: skip
        row = self.rng.choice(rows)
        self.taken.add((sheet, row))
        return page.cell(row, at)

    def say(self, code: str, sheet: str, cell: Any = None) -> None:
        """What must be found."""
        self.expected.append((code, sheet, cell.coordinate if cell is not None else ""))


Damage = Callable[[Bench], None]
KINDS: dict[str, Damage] = {}


def kind(function: Damage) -> Damage:
    """Register a kind of damage."""
    KINDS[function.__name__] = function
    return function


@kind
def number_as_text(b: Bench) -> None:
    """'1.24' instead of 1.24: the same number, nothing to say."""
    cell = b.pick("ducts", "dip_down_m")
    cell.value = str(cell.value)


@kind
def unit_in_the_cell(b: Bench) -> None:
    """'90 mm' in a column of millimetres."""
    cell = b.pick("ducts", "bore_mm")
    cell.value = f"{cell.value:g}mm"
    b.say("file-10", "ducts", cell)


@kind
def metres_as_millimetres_with_unit(b: Bench) -> None:
    """'1240 mm' in a column of metres."""
    cell = b.pick("chambers", "depth_m")
    cell.value = f"{cell.value * 1000:g} mm"
    b.say("file-10", "chambers", cell)


@kind
def decimal_comma(b: Bench) -> None:
    """'1,24' among points: 1.24, or 124 with a thousands mark?"""
    cell = b.pick("ducts", "dip_down_m")
    cell.value = f"{cell.value:.3f}".replace(".", ",")
    b.say("file-11", "ducts", cell)


@kind
def placeholder(b: Bench) -> None:
    """'TBC', '?', 'see photo'."""
    cell = b.pick("ducts", "bore_mm")
    cell.value = b.rng.choice(["TBC", "?", "see photo", "tba", "n/a", "-"])
    b.say("file-12", "ducts", cell)


@kind
def words_for_a_number(b: Bench) -> None:
    """'about ninety'."""
    cell = b.pick("cables", "diameter_mm")
    cell.value = "about ninety"
    b.say("file-21", "cables", cell)


@kind
def unknown_word(b: Bench) -> None:
    """A word that is not on the list."""
    cell = b.pick("chambers", "cover_kind")
    cell.value = "wooden"
    b.say("file-22", "chambers", cell)


@kind
def another_case(b: Bench) -> None:
    """A word of the list in capitals with a space behind: the same word."""
    cell = b.pick("ducts", "material")
    cell.value = f"{cell.value.upper()} "


@kind
def out_of_range(b: Bench) -> None:
    """A bore of 900 mm."""
    cell = b.pick("ducts", "bore_mm")
    cell.value = 900
    b.say("duct-02", "ducts", cell)


@kind
def impossible_number(b: Bench) -> None:
    """1e308."""
    cell = b.pick("level_points", "level_m")
    cell.value = 1e308
    b.say("file-21", "level_points", cell)


@kind
def no_id(b: Bench) -> None:
    """The id of an end is gone: the row stays, refused."""
    cell = b.pick("ducts", "end_id")
    b.moved.add(cell.value)
    cell.value = None
    b.say("id-01", "ducts", cell)


@kind
def spaces_in_an_id(b: Bench) -> None:
    """A space behind an id."""
    cell = b.pick("cables", "end_id")
    cell.value = f" {cell.value} "
    b.say("file-20", "cables", cell)


@kind
def another_dash(b: Bench) -> None:
    """A long dash in an id that is named on another row."""
    cell = b.pick("cables", "end_id")
    cell.value = cell.value.replace("-", "\u2013")
    b.say("file-20", "cables", cell)


@kind
def twice_the_same_row(b: Bench) -> None:
    """A row copied down, letter by letter: counted, used once."""
    page = b.book["cables"]
    row = b.pick("cables", "cable_id").row
    page.append([c.value for c in page[row]])
    b.taken.add(("cables", page.max_row))
    b.extra_rows += 1


@kind
def one_id_for_two(b: Bench) -> None:
    """An id given again with another size."""
    page = b.book["ducts"]
    cell = b.pick("ducts", "end_id")
    values = [c.value for c in page[cell.row]]
    values[b.heads("ducts")["bore_mm"] - 1] = 77
    page.append(values)
    b.taken.add(("ducts", page.max_row))
    b.extra_rows += 1
    b.moved.add(cell.value)
    b.say("id-02", "ducts", page.cell(page.max_row, cell.column))


@kind
def no_such_parent(b: Bench) -> None:
    """An end at a chamber that is not in the survey."""
    cell = b.pick("ducts", "place_id")
    cell.value = "ZZ-404"
    b.say("id-05", "ducts", cell)


@kind
def formula_without_result(b: Bench) -> None:
    """A formula that was never calculated."""
    cell = b.pick("ducts", "dip_down_m")
    cell.value = "=1+0.2"
    b.say("file-07", "ducts", cell)


@kind
def error_value(b: Bench) -> None:
    """#REF! in a cell."""
    cell = b.pick("cables", "diameter_mm")
    cell.value = "#REF!"
    cell.data_type = "e"
    b.say("file-08", "cables", cell)


@kind
def comment(b: Bench) -> None:
    """A note that stands only in a comment."""
    cell = b.pick("chambers", "depth_m")
    cell.comment = Comment("not sure", "surveyor")
    b.say("file-13", "chambers", cell)


@kind
def colour(b: Bench) -> None:
    """A row in yellow."""
    cell = b.pick("entries", "entry_id")
    for one in b.book["entries"][cell.row]:
        one.fill = PatternFill("solid", fgColor="FFFFEE00")
    b.say("file-13", "entries", cell)


@kind
def struck_through(b: Bench) -> None:
    """A line through a row."""
    cell = b.pick("ducts", "end_id")
    for one in b.book["ducts"][cell.row]:
        one.font = Font(strike=True)
    b.say("file-13", "ducts", cell)


@kind
def hidden_row(b: Bench) -> None:
    """A row that nobody sees."""
    cell = b.pick("ducts", "end_id")
    b.book["ducts"].row_dimensions[cell.row].hidden = True
    b.say("file-09", "ducts", cell)


@kind
def total_row(b: Bench) -> None:
    """A sum under the table."""
    b.book["buildings"].append(["Total", 3])
    b.taken.add(("buildings", b.book["buildings"].max_row))
    b.say("file-16", "buildings")


@kind
def headings_again(b: Bench) -> None:
    """The headings once more at the end."""
    page = b.book["chambers"]
    page.append([c.value for c in page[b.top("chambers")]])
    b.taken.add(("chambers", page.max_row))
    b.say("file-16", "chambers")


@kind
def blank_rows(b: Bench) -> None:
    """Two empty rows between the rows: nothing to say."""
    page = b.book["photos"]
    page.insert_rows(page.max_row, 2)


@kind
def stranger_column(b: Bench) -> None:
    """A column that we do not know."""
    page = b.book["visits"]
    column = page.max_column + 1
    page.cell(b.top("visits"), column).value = "weather"
    page.cell(b.top("visits") + 1, column).value = "rain"
    b.say("file-04", "visits", page.cell(b.top("visits"), column))


@kind
def heading_twice(b: Bench) -> None:
    """Two columns of one name: neither is read."""
    page = b.book["visits"]
    column = page.max_column + 1
    page.cell(b.top("visits"), column).value = "scope"
    page.cell(b.top("visits") + 1, column).value = "full"
    b.say("file-05", "visits")


@kind
def title_above(b: Bench) -> None:
    """Two rows of title over the headings."""
    b.book["sites"].insert_rows(1, 2)
    b.book["sites"].cell(1, 1).value = "Survey of March"
    b.taken |= {("sites", r) for r in range(1, 12)}
    b.say("file-02", "sites")


@kind
def another_heading(b: Bench) -> None:
    """'bore' for 'bore_mm': an alias, nothing to say."""
    page, at = b.book["ducts"], b.heads("ducts")["place_id"]
    page.cell(b.top("ducts"), at).value = "Place"


@kind
def another_sheet_name(b: Bench) -> None:
    """'Pictures' for 'photos': the same sheet."""
    b.book["photos"].title = "Pictures"


@kind
def dip_with_a_minus(b: Bench) -> None:
    """A dip of -1.2."""
    cell = b.pick("ducts", "dip_down_m")
    cell.value = -abs(cell.value)
    b.say("level-06", "ducts", cell)


@kind
def level_in_millimetres(b: Bench) -> None:
    """A level a thousand times too big."""
    cell = b.pick("level_points", "level_m")
    cell.value = cell.value * 1000
    b.say("file-23" if abs(cell.value) > 5000 else "level-05", "level_points", cell)


@kind
def cable_wider_than_its_duct(b: Bench) -> None:
    """A cable of 149 mm in a duct that is narrower."""
    cell = b.pick("cables", "diameter_mm")
    cell.value = 149
    b.say("duct-04", "cables", cell)


@kind
def writing_turned_round(b: Bench) -> None:
    """Marks that turn the writing round, and an emoji, in a text: kept as they are."""
    cell = b.pick("visits", "surveyor")
    cell.value = "\u202eK. Brandt \U0001f9f0"

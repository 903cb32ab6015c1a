"""The picture of a wall: its holes in rows and columns as they are seen, contents as the key."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

from pipeline.publish.work_packs.facts import Hole, Wall, contents_words, number, said
from pipeline.publish.work_packs.seen import has_floor, held_reach
from pipeline.publish.work_packs.sheet import Sheet, broken, cut, line_mm, shown, words_mm

FLOOR_MM: Final = 4.0  # for the line of the floor below the picture
_EDGE_MM: Final = 5.0  # for the numbers of rows and columns
_MOST_CELL_MM: Final = 40.0
_EASY_MM: Final = 12.0  # cells below this are too small for their words
_LEAST_WORDS_MM: Final = 9.0  # cells below this bear no words
_LEAST_HELD_MM: Final = 6.0  # holes below this have HELD with their words
_SLANT: Final = 0.7071


Window = tuple[int, int, int, int]


@dataclass(frozen=True)
class Frame:
    """A part of the page: upper left corner and size (mm)."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Spot:
    """Where a hole is drawn: centre of its cell and size of the cell (mm)."""

    hole: Hole
    x: float
    y: float
    width: float
    height: float


def short_id(hole: Hole, wall: Wall) -> str:
    """The part of an id that tells it from its neighbours."""
    stem = f"{wall.place_id}-"
    return hole.end_id.removeprefix(stem)


def placed(wall: Wall) -> dict[tuple[int, int], list[Hole]]:
    """Holes by row from the top and column from the left, looking at the wall."""
    out: dict[tuple[int, int], list[Hole]] = defaultdict(list)
    for hole in wall.holes:
        row, col = number(hole.end, "row_no"), number(hole.end, "col_no")
        if row >= 1 and col >= 1:
            out[int(row), int(col)].append(hole)
    return dict(out)


def not_placed(wall: Wall) -> list[Hole]:
    """Holes whose row or column nobody gave."""
    inside = {h.end_id for holes in placed(wall).values() for h in holes}
    return [h for h in wall.holes if h.end_id not in inside]


def spots(wall: Wall, frame: Frame, window: Window | None = None) -> list[Spot]:
    """Where each hole of a wall is drawn: row 1 at the top, column 1 at the left.

    Parameters
    ----------
    wall : Wall
    frame : Frame
    window : tuple of int, optional
        First and last row, first and last column that are drawn; without it the whole wall.

    Returns
    -------
    list of Spot
    """
    cells = placed(wall)
    if not cells:
        return []
    first_row, last_row, first_col, last_col = window or _whole(cells)
    rows, cols = last_row - first_row + 1, last_col - first_col + 1
    wide = min((frame.width - _EDGE_MM) / cols, _MOST_CELL_MM)
    high = min((frame.height - _EDGE_MM - FLOOR_MM) / rows, _MOST_CELL_MM, wide * 1.25)
    left = frame.x + _EDGE_MM + (frame.width - _EDGE_MM - wide * cols) / 2.0
    out = []
    for (row, col), holes in sorted(cells.items()):
        if not (first_row <= row <= last_row and first_col <= col <= last_col):
            continue
        part = wide / len(holes)  # two in one cell stand side by side
        for i, hole in enumerate(holes):
            x = left + (col - first_col) * wide + (i + 0.5) * part
            y = frame.y + _EDGE_MM + (row - first_row + 0.5) * high
            out.append(Spot(hole, x, y, part, high))
    return out


def _whole(cells: dict[tuple[int, int], list[Hole]]) -> Window:
    return 1, max(r for r, _ in cells), 1, max(c for _, c in cells)


def draw_wall(sheet: Sheet, wall: Wall, frame: Frame, *, this_id: str = "") -> float:
    """Draw a wall; the hole `this_id` is filled in. Returns the y below it.

    Notes
    -----
    Other holes of the pack have a thick ring; below each hole stands what is in it. Where the
    wall has too many holes for words and one of them is meant, the wall is drawn small, and below
    it the hole with its neighbours.
    """
    cells = placed(wall)
    if not cells:
        y = sheet.lines(
            frame.x, frame.y,
            "No row and column were given for this wall: find the hole by its contents.",
            frame.width, size=8.0,
        )  # fmt: skip
        return _rest(sheet, wall, frame, y, this_id)
    at = next((key for key, holes in cells.items() if this_id in {h.end_id for h in holes}), None)
    smallest = min(min(s.width, s.height) for s in spots(wall, frame))
    if at is not None and smallest < _EASY_MM:
        small = Frame(frame.x, frame.y, frame.width, frame.height * 0.4)
        low = _picture(sheet, wall, small, this_id=this_id, window=_whole(cells))
        part = Frame(frame.x, low + 1.0, frame.width, frame.y + frame.height - low - 1.0)
        near = _near(at, _whole(cells))
        low = _picture(sheet, wall, part, this_id=this_id, window=near)
    else:
        low = _picture(sheet, wall, frame, this_id=this_id, window=_whole(cells))
    return _rest(sheet, wall, frame, low, this_id)


def _near(at: tuple[int, int], whole: Window) -> Window:
    """Three rows and columns about a hole, moved in from the edges of the wall."""
    _, rows, _, cols = whole
    row, col = max(1, min(at[0] - 1, rows - 2)), max(1, min(at[1] - 1, cols - 2))
    return row, min(row + 2, rows), col, min(col + 2, cols)


def _picture(sheet: Sheet, wall: Wall, frame: Frame, *, this_id: str, window: Window) -> float:
    places = spots(wall, frame, window)
    _numbers(sheet, wall, places, window)
    largest = max((b for s in places if (b := number(s.hole.end, "bore_mm")) > 0), default=100.0)
    for spot in places:
        _hole(sheet, wall, spot, largest=largest, this_id=this_id)
    low = frame.y + _EDGE_MM + (window[1] - window[0] + 1) * places[0].height
    if window[1] < _whole(placed(wall))[1] or not has_floor(wall):
        return low
    _floor(sheet, low + 1.4, frame)
    return low + FLOOR_MM


def _floor(sheet: Sheet, y: float, frame: Frame) -> None:
    """The floor below the holes; its distance is not to scale."""
    middle, half = frame.x + frame.width / 2.0, min(frame.width / 2.0, 40.0)
    words = "floor (distance not to scale)"
    wide = words_mm(words, 6.0) + 2.0
    sheet.rule(middle - half, y, middle + half, y, pen_mm=0.6)
    x = middle - half
    while x + 2.0 <= middle + half - wide:
        sheet.rule(x, y + 1.8, x + 1.6, y, pen_mm=0.15)
        x += 2.0
    sheet.text(middle + half - wide + 2.0, y + 2.4, words, 6.0)


def _numbers(sheet: Sheet, wall: Wall, places: list[Spot], window: Window) -> None:
    """The outline of what is drawn, with the numbers of rows and columns."""
    first_row, last_row, first_col, last_col = window
    cells = placed(wall)
    (row, col), holes = next(
        (key, holes) for key, holes in sorted(cells.items())
        if holes[0].end_id == places[0].hole.end_id
    )  # fmt: skip
    wide, high = places[0].width * len(holes), places[0].height
    left = places[0].x - places[0].width / 2.0 - (col - first_col) * wide
    top = places[0].y - high / 2.0 - (row - first_row) * high
    rows, cols = last_row - first_row + 1, last_col - first_col + 1
    sheet.box(left, top, wide * cols, high * rows, pen_mm=0.1)
    step_col, step_row = max(1, round(5.0 / wide)), max(1, round(4.0 / high))
    for c in range(first_col, last_col + 1, step_col):
        sheet.middle(left + (c - first_col + 0.5) * wide, top - 1.2, str(c), 6.5)
    for r in range(first_row, last_row + 1, step_row):
        sheet.text(left - 3.6, top + (r - first_row + 0.5) * high + 0.8, str(r), 6.5)


def _hole(sheet: Sheet, wall: Wall, spot: Spot, *, largest: float, this_id: str) -> None:
    hole = spot.hole
    is_this = hole.end_id == this_id
    bore = number(hole.end, "bore_mm")
    side = min(spot.width, spot.height * 0.72)
    share = bore / largest if bore > 0 else 0.7
    radius = max(0.2, 0.44 * share) * side
    y = spot.y - spot.height * 0.5 + 0.48 * side + 0.4
    pen = 0.9 if hole.is_in_pack else 0.25
    grey = 0.0 if is_this else 1.0
    if said(hole.end, "shape") in ("square", "rectangular"):
        sheet.box(spot.x - radius, y - radius, 2 * radius, 2 * radius, pen_mm=pen, grey=grey)
    else:
        sheet.ring(spot.x, y, radius, pen_mm=pen, grey=grey)
    is_held = bool(held_reach(hole))
    if is_held:
        _cross(sheet, spot.x, y, radius)
    if min(spot.width, spot.height) < _LEAST_WORDS_MM:
        return
    name = shown(short_id(hole, wall), 40)
    size = 11.0
    while size > 5.0 and len(broken(name, size, 1.8 * radius)) > 1:
        size -= 0.5
    name = cut(name, size, spot.width - 0.5)
    with sheet.ink(1.0 if is_this else 0.0):
        sheet.middle(spot.x, y + 0.13 * size, name, size, is_bold=True)
        if is_held and radius >= _LEAST_HELD_MM:
            mark = min(7.0, radius)
            sheet.middle(spot.x, y + 0.13 * size + 0.4 * mark, "HELD", mark, is_bold=True)
    words = shown(contents_words(hole, is_short=spot.width < 22.0), 90)
    if is_held and radius < _LEAST_HELD_MM:
        words = f"HELD {words}"
    small = 7.0 if spot.width > 20.0 else 5.8
    under = y + max(radius, 0.44 * side) + 0.6
    room = int((spot.y + spot.height * 0.5 - under + 0.5) / line_mm(small))
    rows = broken(words, small, spot.width - 1.0)
    if len(rows) > room > 0:
        rows = [*rows[: room - 1], cut(f"{rows[room - 1]} {rows[room]}", small, spot.width - 1.0)]
    for i, row in enumerate(rows[: max(room, 0)]):
        sheet.middle(
            spot.x, under + (i + 0.8) * line_mm(small), row, small, is_bold=is_this or is_held
        )


def _cross(sheet: Sheet, x: float, y: float, radius: float) -> None:
    """Four strokes over the edge of a hole that is held: told apart without colour."""
    near, far = 0.78 * radius * _SLANT, (radius + min(1.8, 0.5 * radius)) * _SLANT
    for dx, dy in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        sheet.rule(x + dx * near, y + dy * near, x + dx * far, y + dy * far, pen_mm=0.8)


def _rest(sheet: Sheet, wall: Wall, frame: Frame, y: float, this_id: str) -> float:
    """Holes that have no place in the picture."""
    words = rest_words(wall, this_id)
    if not words:
        return y
    return sheet.few_lines(frame.x, y + 1.0, words, frame.width, size=7.0, most=8)


def rest_words(wall: Wall, this_id: str = "") -> str:
    """Names and contents of the holes without row and column, the one meant first; '' for none."""
    rest = sorted(not_placed(wall), key=lambda h: (h.end_id != this_id, h.end_id))
    names = [f"{shown(h.end_id, 60)} ({contents_words(h)})" for h in rest]
    if not names:
        return ""
    return "Not in the picture, no row and column given: " + shown("; ".join(names), 700)

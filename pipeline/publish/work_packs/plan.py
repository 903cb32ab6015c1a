"""A sketch of the site: buildings and chambers where the survey puts them, north at the top."""

from __future__ import annotations

import math
from typing import Final

from pipeline.publish.work_packs.facts import Place
from pipeline.publish.work_packs.sheet import Sheet, cut, shown, words_mm
from pipeline.publish.work_packs.wall_picture import Frame

SCALES: Final = (200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000)
_EDGE_MM: Final = 12.0
_LETTERS: Final = 6.5
_HIGH_MM: Final = 2.5  # of a name
_NEAR_MM: Final = 3.0  # a name farther from its mark gets a line to it
Box = tuple[float, float, float, float]


def plan_scale(places: tuple[Place, ...], frame: Frame) -> int:
    """The largest standard scale at which all places lie in the frame."""
    wide_m = max(p.x_m for p in places) - min(p.x_m for p in places)
    high_m = max(p.y_m for p in places) - min(p.y_m for p in places)
    for scale in SCALES:
        paper = 1_000.0 / scale  # mm on paper for a metre
        if (
            wide_m * paper <= frame.width - 2 * _EDGE_MM
            and high_m * paper <= frame.height - 2 * _EDGE_MM
        ):
            break
    return scale


def spot_mm(
    place: Place, places: tuple[Place, ...], frame: Frame, scale: int
) -> tuple[float, float]:
    """Where a place is drawn (mm from the upper left corner of the page)."""
    paper = 1_000.0 / scale
    middle_x = (max(p.x_m for p in places) + min(p.x_m for p in places)) / 2.0
    middle_y = (max(p.y_m for p in places) + min(p.y_m for p in places)) / 2.0
    return (
        frame.x + frame.width / 2.0 + (place.x_m - middle_x) * paper,
        frame.y + frame.height / 2.0 - (place.y_m - middle_y) * paper,
    )


def draw_plan(sheet: Sheet, places: tuple[Place, ...], frame: Frame) -> None:
    """Draw the sketch; nothing where no position is known."""
    if not places:
        sheet.text(frame.x, frame.y + 5.0, "No position is known of any building or chamber.", 8.5)
        return
    sheet.box(frame.x, frame.y, frame.width, frame.height, pen_mm=0.15)
    scale = plan_scale(places, frame)
    spots = [(p, *spot_mm(p, places, frame, scale)) for p in places]
    for place, x, y in spots:
        if place.kind == "building":
            grey = 0.0 if place.is_in_pack else 1.0
            sheet.box(x - 1.6, y - 1.6, 3.2, 3.2, pen_mm=0.4, grey=grey)
        else:
            sheet.ring(x, y, 1.2, pen_mm=0.3, grey=1.0)
    right, high = frame.x + frame.width, frame.y + frame.height
    taken = [(x - 1.8, y - 1.8, x + 1.8, y + 1.8) for _, x, y in spots]
    taken += [(right - 9.0, frame.y, right, frame.y + 14.0), (frame.x, high - 5.5, right, high)]
    for place, x, y in sorted(spots, key=lambda s: (not s[0].is_in_pack, s[0].place_id)):
        name = cut(shown(place.place_id, 40), _LETTERS, 30.0, is_bold=place.is_in_pack)
        wide = words_mm(name, _LETTERS, is_bold=place.is_in_pack)
        at = free_place((x, y), wide, frame, taken)
        if at is None:
            continue
        taken.append(at)
        sheet.text(at[0], at[3] - 0.5, name, _LETTERS, is_bold=place.is_in_pack)
        near_x, near_y = min(max(x, at[0]), at[2]), min(max(y, at[1]), at[3])
        if math.hypot(near_x - x, near_y - y) > _NEAR_MM:
            sheet.rule(x, y, near_x, near_y, pen_mm=0.1)
    right, top = frame.x + frame.width - 6.0, frame.y + 4.0
    sheet.rule(right, top + 9.0, right, top + 2.0, pen_mm=0.4)
    sheet.rule(right - 1.2, top + 4.0, right, top + 2.0, pen_mm=0.4)
    sheet.rule(right + 1.2, top + 4.0, right, top + 2.0, pen_mm=0.4)
    sheet.middle(right, top + 1.0, "N", 8.0, is_bold=True)
    _scale_bar(sheet, frame, scale)


def free_place(
    mark: tuple[float, float], wide: float, frame: Frame, taken: list[Box]
) -> Box | None:
    """A place for a name near its mark that meets no name and no mark; None where there is none.

    Parameters
    ----------
    mark : tuple of float
        Where the mark is (mm).
    wide : float
        Width of the name (mm).
    frame : Frame
    taken : list of tuple of float
        Left, top, right and bottom of what is drawn already (mm).

    Returns
    -------
    tuple of float or None
    """
    x, y = mark
    for off in (0.0, 2.6, 5.2, 8.0, 11.0, 14.0):
        sides = (
            (x + 2.2 + off / 2.0, y - _HIGH_MM / 2.0 - off),
            (x + 2.2 + off / 2.0, y - _HIGH_MM / 2.0 + off),
            (x - 2.2 - off / 2.0 - wide, y - _HIGH_MM / 2.0 - off),
            (x - 2.2 - off / 2.0 - wide, y - _HIGH_MM / 2.0 + off),
            (x - wide / 2.0, y - 2.2 - _HIGH_MM - off),
            (x - wide / 2.0, y + 2.2 + off),
        )
        for left, top in sides:
            box = (left, top, left + wide, top + _HIGH_MM)
            is_inside = (
                frame.x <= box[0]
                and box[2] <= frame.x + frame.width
                and frame.y <= box[1]
                and box[3] <= frame.y + frame.height
            )
            if is_inside and not any(_meet(box, other) for other in taken):
                return box
    return None


def _meet(one: Box, other: Box) -> bool:
    """True where two boxes lie over each other."""
    return (
        one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
    )  # fmt: skip


def _scale_bar(sheet: Sheet, frame: Frame, scale: int) -> None:
    step_m = 10.0 ** math.floor(math.log10(scale * 0.04))
    length_m = next(n * step_m for n in (5.0, 2.0, 1.0) if n * step_m * 1_000.0 / scale <= 40.0)
    length = length_m * 1_000.0 / scale
    x, y = frame.x + 3.0, frame.y + frame.height - 2.5
    sheet.rule(x, y, x + length, y, pen_mm=0.6)
    sheet.text(
        x + length + 1.5, y + 0.7,
        f"{length_m:g} m, 1 : {scale:,}; filled square: building of this pack, square: other "
        "building, ring: chamber", _LETTERS, width=frame.width - length - 6.0,
    )  # fmt: skip

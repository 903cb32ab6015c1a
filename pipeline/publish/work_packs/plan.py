"""A sketch of the site: buildings and chambers where the survey puts them, north at the top."""

from __future__ import annotations

import math
from typing import Final

from pipeline.publish.work_packs.facts import Place
from pipeline.publish.work_packs.sheet import Sheet, cut, shown
from pipeline.publish.work_packs.wall_picture import Frame

SCALES: Final = (200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000)
_EDGE_MM: Final = 12.0
_LETTERS: Final = 6.5


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
    taken: list[tuple[float, float, float]] = []
    for place in places:
        x, y = spot_mm(place, places, frame, scale)
        if place.kind == "building":
            grey = 0.0 if place.is_in_pack else 1.0
            sheet.box(x - 1.6, y - 1.6, 3.2, 3.2, pen_mm=0.4, grey=grey)
        else:
            sheet.ring(x, y, 1.2, pen_mm=0.3, grey=1.0)
    for place in places:
        x, y = spot_mm(place, places, frame, scale)
        name = cut(shown(place.place_id, 40), _LETTERS, 30.0)
        wide = 1.25 * len(name)
        base = _free_line(x, y + 0.8, wide, taken)
        if base is not None and x + 2.4 + wide < frame.x + frame.width:
            sheet.text(x + 2.4, base, name, _LETTERS, is_bold=place.is_in_pack)
            taken.append((x, base, wide))
    right, top = frame.x + frame.width - 6.0, frame.y + 4.0
    sheet.rule(right, top + 9.0, right, top + 2.0, pen_mm=0.4)
    sheet.rule(right - 1.2, top + 4.0, right, top + 2.0, pen_mm=0.4)
    sheet.rule(right + 1.2, top + 4.0, right, top + 2.0, pen_mm=0.4)
    sheet.middle(right, top + 1.0, "N", 8.0, is_bold=True)
    _scale_bar(sheet, frame, scale)


def _free_line(
    x: float, base: float, wide: float, taken: list[tuple[float, float, float]]
) -> float | None:
    """A line for a name that meets no other name: beside its mark, else a little off it."""
    for off in (0.0, 2.6, -2.6, 5.2, -5.2):
        y = base + off
        if all(abs(y - b) >= 2.5 or x > a + w + 1.0 or x + wide + 1.0 < a for a, b, w in taken):
            return y
    return None


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

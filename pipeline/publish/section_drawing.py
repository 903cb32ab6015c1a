"""The section of one sealed end as a list of marks: cross-section, and the layer along the duct.

Marks are in millimetres of the duct (x to the right, y up, origin at the centre of the opening),
so a drawing can be read back. Sizes of pens and letters are millimetres on paper. Nothing is told
by colour: cables by hatch and letters, sleeves by outline and number. The back ends are in
`section_paper`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import pandas as pd

from pipeline.publish.section_marks import Circle, Line, Mark, Oblong, Pen, Words, chord_mm, hatch

Row = dict[str, Any]

SCALES: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0)
_LETTER_MM: Final = 2.2  # height of letters on paper
_LEAST_LETTER_MM: Final = 1.4
_LEAST_NUMBER_MM: Final = 0.75  # in a sleeve
_FULL_PEN_MM: Final = 2.5  # circles of a smaller radius on paper get finer pens
_FINEST_MM: Final = 0.12
_GAP_MM: Final = 9.0  # on paper, between cross-section and the layer along the duct
_WALL_MM: Final = 2.5  # on paper, thickness of the wall that is drawn along the duct
_LONG_MM: Final = 20.0  # on paper: shorter dimensions have their words beside them
_THIN: Final = Pen(0.15)
_PLAIN: Final = Pen(0.25)
_THICK: Final = Pen(0.5)
_SEALANT_GREY: Final = 0.86

# Cables by class: letters, and angles (degrees) with spacing (mm on paper) of the hatch.
CABLE_SIGNS: Final[dict[str, tuple[str, tuple[float, ...], float]]] = {
    "LV": ("LV", (45.0,), 1.3),
    "HV": ("HV", (45.0, 135.0), 1.3),
    "EHV": ("EHV", (45.0, 135.0), 0.8),
    "telecom": ("T", (0.0,), 1.3),
    "fibre": ("F", (90.0,), 1.3),
    "control": ("C", (0.0, 90.0), 1.3),
    "earth": ("E", (135.0,), 0.7),
    "sub-duct": ("SD", (), 1.0),
    "unknown": ("?", (), 1.0),
}
# Sleeves from the largest size down: pen of the outline, and share of the radius of a second ring.
SLEEVE_SIGNS: Final[tuple[tuple[Pen, float], ...]] = (
    (_THICK, 0.0),
    (_PLAIN, 0.86),
    (Pen(0.3, (1.4, 0.7)), 0.0),
    (Pen(0.45, (0.45, 0.55)), 0.0),
    (_THIN, 0.0),
    (Pen(0.3, (1.6, 0.5, 0.4, 0.5)), 0.0),
)


@dataclass(frozen=True)
class Piece:
    """One circle of the cross-section."""

    kind: Literal["cable", "sleeve", "collar"]
    cable_class: str
    outer_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Section:
    """What is drawn of one end: opening, circles, and lengths along the duct (whole mm)."""

    shape: str
    width_mm: float
    height_mm: float
    pieces: tuple[Piece, ...]
    recess_mm: float
    layer_mm: float
    filler_mm: float

    @property
    def corner_mm(self) -> float:
        """Radius of the corners: round and oval openings end in arcs."""
        if self.shape in ("square", "rectangular"):
            return 0.0
        return min(self.width_mm, self.height_mm) / 2.0

    @property
    def depth_mm(self) -> float:
        """From the mouth to the back of the filler."""
        return self.recess_mm + self.layer_mm + self.filler_mm


@dataclass(frozen=True)
class Drawing:
    """Marks with the paper they need: x0, y0, x1, y1 in mm of the duct; 1 : scale."""

    marks: tuple[Mark, ...]
    box_mm: tuple[float, float, float, float]
    scale: float


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def section_of(design: Row, placements: Sequence[Row]) -> Section | None:
    """What is drawn of an end.

    Parameters
    ----------
    design : dict
        Its row of `designs`.
    placements : sequence of dict
        Its rows of `placements`.

    Returns
    -------
    Section or None
        None where no seal is designed.
    """
    if not bool(design["is_designed"]):
        return None
    width = float(design["bore_mm"])
    height = width if pd.isna(design["bore_b_mm"]) else float(design["bore_b_mm"])
    shape = _text(design["shape"])
    if shape in ("round", "sub-duct"):
        height = width
    filler = float(design["filler_length_mm"])
    layer = float(design["layer_mm"])
    recess = float(design["depth_needed_mm"]) - layer - filler
    pieces = tuple(
        Piece(
            p["kind"],
            _text(p["cable_class"]) or "unknown",
            float(p["outer_mm"]),
            float(p["x_mm"]),
            float(p["y_mm"]),
        )
        for p in sorted(placements, key=lambda p: int(p["piece_no"]))
    )
    # the crew works in whole millimetres: up, so that the layer is never thinner than designed
    whole = math.ceil(round(layer, 6))
    front = math.ceil(round(recess + whole, 6))
    return Section(shape, width, height, pieces, float(front - whole), float(whole), filler)


def sleeve_sizes(section: Section) -> list[float]:
    """Outer sizes of the sleeves in a section, largest first (mm)."""
    return sorted({p.outer_mm for p in section.pieces if p.kind == "sleeve"}, reverse=True)


def drawing(section: Section, *, scale: float) -> Drawing:
    """The drawing of a section at 1 : scale.

    Parameters
    ----------
    section : Section
    scale : float
        Millimetres of the duct for one millimetre of paper.

    Returns
    -------
    Drawing
    """
    paper = scale  # one millimetre on paper, in mm of the duct
    marks = [*_across(section, paper)]
    left = section.width_mm / 2.0 + _GAP_MM * paper
    marks += _along(section, left, paper)
    half = section.height_mm / 2.0
    box = (
        _left_of(section, paper),
        -half - 15.4 * paper,
        left + _right_of_mouth(section, paper),
        half + 7.0 * paper,
    )
    return Drawing(tuple(marks), box, scale)


def across(section: Section, *, scale: float) -> Drawing:
    """The cross-section alone, for paper that is narrow."""
    half = section.height_mm / 2.0
    right = max(section.width_mm / 2.0, _left_of(section, scale) + 24.0 * scale) + scale
    box = (_left_of(section, scale), -half - 8.0 * scale, right, half + 7.0 * scale)
    return Drawing(tuple(_across(section, scale)), box, scale)


def along(section: Section, *, scale: float) -> Drawing:
    """The layer along the duct alone."""
    half = section.height_mm / 2.0
    right = max(_right_of_mouth(section, scale), 34.0 * scale)
    box = (-3.5 * scale, -half - 15.4 * scale, right, half + 7.0 * scale)
    return Drawing(tuple(_along(section, 0.0, scale)), box, scale)


def _left_of(section: Section, paper: float) -> float:
    """Left edge of the cross-section with its dimensions."""
    sides = 11.0 if section.height_mm != section.width_mm else 1.0
    return -section.width_mm / 2.0 - sides * paper


def _right_of_mouth(section: Section, paper: float) -> float:
    """Room to the right of the mouth for the layer along the duct and its words."""
    words_mm = (_LONG_MM + 3.0) * paper
    outside = words_mm if section.filler_mm <= _LONG_MM * paper else 6.0 * paper
    return max(section.depth_mm + outside, section.recess_mm + section.layer_mm + words_mm)


def fitted(
    section: Section,
    *,
    width_mm: float,
    height_mm: float,
    view: Callable[..., Drawing] = drawing,
) -> Drawing:
    """The drawing, or one view of it, at the largest standard scale that fits some paper (mm)."""
    for scale in SCALES:
        one = view(section, scale=scale)
        x0, y0, x1, y1 = one.box_mm
        if (x1 - x0) / scale <= width_mm and (y1 - y0) / scale <= height_mm:
            return one
    return one


def side_by_side(section: Section, *, width_mm: float, height_mm: float) -> tuple[Drawing, Drawing]:
    """Both views, each at the largest standard scale for which there is room beside the other.

    Parameters
    ----------
    section : Section
    width_mm, height_mm : float
        Paper that both have together (mm).

    Returns
    -------
    across, along : Drawing
        The cross-section takes the free paper; the layer along the duct is drawn no smaller than
        one common scale would draw it.
    """
    common = fitted(section, width_mm=width_mm, height_mm=height_mm).scale
    beside = along(section, scale=common)
    for scale in (s for s in SCALES if s < common):
        one = across(section, scale=scale)
        wide, high = paper_mm(one)
        if high <= height_mm and wide + _GAP_MM + paper_mm(beside)[0] <= width_mm:
            return one, beside
    return across(section, scale=common), beside


def paper_mm(drawing: Drawing) -> tuple[float, float]:
    """Width and height that a drawing takes on paper (mm)."""
    x0, y0, x1, y1 = drawing.box_mm
    return (x1 - x0) / drawing.scale, (y1 - y0) / drawing.scale


def key_of(section: Section, *, wide_mm: float = 118.0) -> Drawing:
    """What is drawn, in two lines at 1 : 1: sleeves by number and size, then classes of cables.

    Parameters
    ----------
    section : Section
    wide_mm : float, optional
        Paper that it has to fit; what does not fit is left out at the right.

    Returns
    -------
    Drawing
    """
    marks: list[Mark] = []
    x, y = 2.0, -1.9
    for rank, size in enumerate(sleeve_sizes(section)):
        pen, ring = SLEEVE_SIGNS[min(rank, len(SLEEVE_SIGNS) - 1)]
        count = sum(p.kind == "sleeve" and p.outer_mm == size for p in section.pieces)
        words = f"{count} x {size:g}"
        if x + 4.0 + 1.5 * len(words) > wide_mm:
            break
        marks.append(Circle(x, y, 1.6, pen, 1.0))
        if ring:
            marks.append(Circle(x, y, 1.6 * ring, _THIN, None))
        marks.append(Words(x + 2.4, y - 0.8, words, 1.9, anchor="start"))
        x += 4.6 + 1.35 * len(words)
    names = sorted({p.cable_class for p in section.pieces if p.kind == "cable"})
    signs = {n: CABLE_SIGNS.get(n, CABLE_SIGNS["unknown"])[0] for n in names}
    has_collar = any(p.kind == "collar" for p in section.pieces)
    words = "; ".join(
        ["grey = sealant, which covers all but the cables"]
        + [f"{signs[n]} = {n}" for n in names if signs[n] != n]
        + (["ring with slit = collar"] if has_collar else [])
    )
    room = int(wide_mm / 1.1)
    cut = words if len(words) <= room else words[: room - 1] + "…"
    marks.append(Words(0.2, y - 4.0, cut, 1.7, anchor="start"))
    return Drawing(tuple(marks), (0.0, -7.0, wide_mm, 0.0), 1.0)


def _across(section: Section, paper: float) -> Iterator[Mark]:
    """The opening with everything in it."""
    half_x, half_y = section.width_mm / 2.0, section.height_mm / 2.0
    grey = _SEALANT_GREY
    if section.corner_mm == half_x == half_y:
        yield Circle(0.0, 0.0, half_x, _THICK, grey)
    else:
        yield Oblong(-half_x, -half_y, half_x, half_y, section.corner_mm, _THICK, grey)
    for piece in section.pieces:
        if piece.kind == "collar":
            yield from _collar(piece, paper)
    for piece in section.pieces:
        if piece.kind == "cable":
            yield from _cable(piece, paper)
    sizes = sleeve_sizes(section)
    for piece in section.pieces:
        if piece.kind == "sleeve":
            yield from sleeve_marks(piece, sizes.index(piece.outer_mm), paper)
    yield from _width(section, paper)
    yield Words(
        -half_x, half_y + 4.2 * paper, f"Across, 1 : {paper:g}", 2.4, anchor="start", is_bold=True
    )


def _collar(piece: Piece, paper: float) -> Iterator[Mark]:
    """A collar is open along a slit at its top."""
    radius = piece.outer_mm / 2.0
    yield Circle(piece.x_mm, piece.y_mm, radius, _PLAIN, 1.0)
    top = piece.y_mm + radius
    yield Line(((piece.x_mm, top + 0.3 * paper), (piece.x_mm, top - 0.25 * radius)), Pen(0.5))


def _cable(piece: Piece, paper: float) -> Iterator[Mark]:
    letters, angles, step = CABLE_SIGNS.get(piece.cable_class, CABLE_SIGNS["unknown"])
    radius = piece.outer_mm / 2.0
    yield Circle(piece.x_mm, piece.y_mm, radius, _PLAIN, 1.0)
    for angle in angles:
        for ends in hatch(piece.x_mm, piece.y_mm, radius, angle, step * paper):
            yield Line(ends, Pen(0.12))
    size = f"{round(piece.outer_mm, 1):g}"
    height = min(_LETTER_MM, radius / paper * 0.58)
    if height < _LEAST_LETTER_MM:
        return
    plate = min(0.62 * height * max(len(letters), len(size)), 1.8 * radius / paper) * paper
    half = 1.38 * height * paper
    yield Oblong(
        piece.x_mm - plate / 2, piece.y_mm - half, piece.x_mm + plate / 2, piece.y_mm + half,
        0.0, None, 1.0,
    )  # fmt: skip
    yield Words(piece.x_mm, piece.y_mm + 0.2 * height * paper, letters, height, is_bold=True)
    yield Words(piece.x_mm, piece.y_mm - 1.2 * height * paper, size, height)


def sleeve_marks(piece: Piece, rank: int, paper: float) -> Iterator[Mark]:
    """A filler sleeve: outline by its rank among the sizes, and its size as a number."""
    pen, ring = SLEEVE_SIGNS[min(rank, len(SLEEVE_SIGNS) - 1)]
    radius = piece.outer_mm / 2.0
    pen = _finer(pen, radius / paper)
    yield Circle(piece.x_mm, piece.y_mm, radius, pen, 1.0)
    if ring:
        yield Circle(piece.x_mm, piece.y_mm, radius * ring, _THIN, None)
    height = min(_LETTER_MM, radius / paper * 0.85)
    if height >= _LEAST_NUMBER_MM:
        yield Words(piece.x_mm, piece.y_mm - 0.36 * height * paper, f"{piece.outer_mm:g}", height)


def _finer(pen: Pen, radius_mm: float) -> Pen:
    """A pen for a small circle on paper: thinner and of shorter dashes, so that it stays a ring."""
    share = radius_mm / _FULL_PEN_MM
    if share >= 1.0:
        return pen
    width = min(pen.width_mm, max(_FINEST_MM, pen.width_mm * share))
    return Pen(width, tuple(d * max(share, 0.4) for d in pen.dash_mm))


def _width(section: Section, paper: float) -> Iterator[Mark]:
    """Dimensions of the opening."""
    half_x, half_y = section.width_mm / 2.0, section.height_mm / 2.0
    below = -half_y - 4.0 * paper
    yield from _dimension(-half_x, half_x, below, paper)
    sign = "Ø " if section.shape in ("round", "sub-duct") else ""
    yield Words(0.0, below - 3.0 * paper, f"{sign}{section.width_mm:g} mm", _LETTER_MM)
    if section.height_mm != section.width_mm:
        x = -half_x - 3.0 * paper
        yield Line(((x, -half_y), (x, half_y)), _THIN)
        for y in (-half_y, half_y):
            yield Line(((x - paper, y), (-half_x, y)), _THIN)
        yield Words(x - paper, 0.0, f"{section.height_mm:g}", _LETTER_MM, anchor="end")


def _dimension(x0: float, x1: float, y: float, paper: float) -> Iterator[Mark]:
    """A dimension line with strokes at its ends."""
    yield Line(((x0, y), (x1, y)), _THIN)
    for x in (x0, x1):
        yield Line(((x, y - 0.9 * paper), (x, y + 1.6 * paper)), _THIN)
        yield Line(((x - 0.6 * paper, y - 0.6 * paper), (x + 0.6 * paper, y + 0.6 * paper)), _PLAIN)


def _along(section: Section, left: float, paper: float) -> Iterator[Mark]:
    """The duct cut upright through its middle, mouth at the left."""
    half, wall = section.height_mm / 2.0, _WALL_MM * paper
    seal0 = left + section.recess_mm
    seal1 = seal0 + section.layer_mm
    back = seal1 + section.filler_mm
    end = back + 5.0 * paper
    for low, high in ((-half - wall, -half), (half, half + wall)):
        yield Oblong(left, low, end, high, 0.0, _THIN, 0.94)
    yield Line(((left, -half), (end, -half)), _THICK)
    yield Line(((left, half), (end, half)), _THICK)
    yield Line(((left, -half - wall), (left, -half)), _THICK)
    yield Line(((left, half), (left, half + wall)), _THICK)
    yield Oblong(seal0, -half, seal1, half, 0.0, _PLAIN, 0.7)
    yield Oblong(seal1, -half, back, half, 0.0, _PLAIN, 1.0)
    for piece in section.pieces:
        cut = chord_mm(piece.outer_mm / 2.0, piece.x_mm)
        if cut is None:
            continue
        low, high = piece.y_mm - cut, piece.y_mm + cut
        if piece.kind == "cable":
            yield Oblong(left - 3.0 * paper, low, end, high, 0.0, _PLAIN, 1.0)
        else:
            yield Oblong(seal1, low, back, high, 0.0, _THIN, 1.0)
    title = "Along, mouth at left" if left else f"Along, 1 : {paper:g}, mouth at left"
    yield Words(left, half + 4.2 * paper, title, 2.4, anchor="start", is_bold=True)
    steps = (
        (left, seal0, f"recess {section.recess_mm:g} mm"),
        (seal0, seal1, f"sealant {section.layer_mm:g} mm"),
        (seal1, back, f"filler {section.filler_mm:g} mm"),
    )
    for i, (x0, x1, words) in enumerate(steps):
        y = -half - wall - (2.2 + 3.3 * i) * paper
        if x1 > x0:
            yield from _dimension(x0, x1, y, paper)
        is_long = x1 - x0 > _LONG_MM * paper
        x = (x0 + x1) / 2.0 if is_long else x1 + 1.6 * paper
        anchor: Literal["middle", "start"] = "middle" if is_long else "start"
        yield Words(x, y - (3.1 if is_long else 0.7) * paper, words, _LETTER_MM, anchor=anchor)

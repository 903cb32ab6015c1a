"""The marks that a section drawing is made of, and the geometry of hatches and cuts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]


@dataclass(frozen=True)
class Pen:
    """Width of a line and its dashes (mm on paper)."""

    width_mm: float
    dash_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Circle:
    """A circle; `grey` fills it (0 black, 1 white), None leaves it open."""

    x_mm: float
    y_mm: float
    r_mm: float
    pen: Pen
    grey: float | None


@dataclass(frozen=True)
class Oblong:
    """A rectangle with corners of a radius; without a pen only filled."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    corner_mm: float
    pen: Pen | None
    grey: float | None


@dataclass(frozen=True)
class Line:
    """A straight line."""

    ends_mm: tuple[Point, Point]
    pen: Pen


@dataclass(frozen=True)
class Words:
    """A text; `height_mm` is the size of its letters on paper."""

    x_mm: float
    y_mm: float
    words: str
    height_mm: float
    anchor: Literal["start", "middle", "end"] = "middle"
    is_bold: bool = False


Mark = Circle | Oblong | Line | Words


def hatch(
    x_mm: float, y_mm: float, r_mm: float, angle_deg: float, step_mm: float
) -> list[tuple[Point, Point]]:
    """Chords of a circle at an angle, a step apart, the middle one through its centre.

    Parameters
    ----------
    x_mm, y_mm, r_mm : float
        The circle.
    angle_deg : float
        Direction of the chords, from the x axis.
    step_mm : float
        Distance between chords.

    Returns
    -------
    list of pairs of points
    """
    angle = math.radians(angle_deg)
    along, across = (math.cos(angle), math.sin(angle)), (-math.sin(angle), math.cos(angle))
    count = int(r_mm / step_mm)
    out = []
    for i in range(-count, count + 1):
        half = chord_mm(r_mm, i * step_mm)
        if half is None:
            continue
        middle = (x_mm + i * step_mm * across[0], y_mm + i * step_mm * across[1])
        out.append(
            (
                (middle[0] - half * along[0], middle[1] - half * along[1]),
                (middle[0] + half * along[0], middle[1] + half * along[1]),
            )
        )
    return out


def chord_mm(r_mm: float, off_mm: float) -> float | None:
    """Half of the chord of a circle at a distance from its centre (mm); None where it misses."""
    rest = r_mm**2 - off_mm**2
    return math.sqrt(rest) if rest > 0.0 else None

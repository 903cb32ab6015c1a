"""Reading a page of a PDF back: its circles, from the vector paths (pypdf), in points."""

from __future__ import annotations

from typing import Any

from pypdf import PageObject
from pypdf.generic import ContentStream

Circle = tuple[float, float, float]


def circles_of(page: PageObject) -> list[Circle]:
    """Circles (x, y, radius) drawn as four curves each; the page must not turn or scale."""
    stream = ContentStream(page["/Contents"].get_object(), page.pdf)
    out: list[Circle] = []
    points: list[tuple[float, float]] = []
    curves = 0
    for operands, operator in stream.operations:
        if operator == b"cm":
            assert [float(v) for v in operands] == [1, 0, 0, 1, 0, 0], operands
        if operator == b"m":
            points, curves = [_point(operands)], 0
        elif operator == b"l":
            curves = -99
        elif operator == b"c":
            points.append(_point(operands[4:]))
            curves += 1
        if curves == 4:
            xs, ys = [p[0] for p in points], [p[1] for p in points]
            out.append(
                (
                    (min(xs) + max(xs)) / 2.0,
                    (min(ys) + max(ys)) / 2.0,
                    (max(xs) - min(xs)) / 2.0,
                )
            )
            points, curves = [], 0
    return out


def _point(operands: Any) -> tuple[float, float]:
    return float(operands[0]), float(operands[1])

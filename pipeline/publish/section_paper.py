"""Back ends of the section drawing: SVG for the map, and a PDF canvas for the work packs."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from itertools import groupby
from typing import Any, Final

from pipeline.publish.section_drawing import Drawing
from pipeline.publish.section_marks import Circle, Line, Oblong, Pen, Words

POINTS_PER_MM: Final = 72.0 / 25.4
_LETTERS: Final = 1.39  # font size over height of its capitals (Helvetica: 0.72 of the size)


def as_svg(*drawings: Drawing) -> str:
    """Drawings one below the other as one `svg` element, sizes in paper millimetres.

    No ids, no scripts, no styles; texts are escaped.
    """
    width = max((d.box_mm[2] - d.box_mm[0]) / d.scale for d in drawings)
    parts, height = [], 0.0
    for one in drawings:
        inside = "".join(_svg_parts(one))
        parts.append(f'<g transform="translate(0 {height:.2f})">{inside}</g>')
        height += (one.box_mm[3] - one.box_mm[1]) / one.scale
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}" '
        f'width="{width:.2f}mm" height="{height:.2f}mm" role="img" '
        f'font-family="Helvetica, Arial, sans-serif" fill="none" stroke="#000">'
        + "".join(parts)
        + "</svg>"
    )


def _svg_parts(drawing: Drawing) -> Iterator[str]:
    x0, _, _, y1 = drawing.box_mm
    for pen, run in groupby(drawing.marks, key=lambda m: m.pen if isinstance(m, Line) else None):
        if pen is None:
            yield from (_svg(mark, drawing) for mark in run if not isinstance(mark, Line))
            continue
        # lines of one pen, most of them hatches, are one path
        way = "".join(
            f"{letter}{(x - x0) / drawing.scale:.2f} {(y1 - y) / drawing.scale:.2f}"
            for line in run
            if isinstance(line, Line)
            for letter, (x, y) in zip("ML", line.ends_mm, strict=True)
        )
        yield f'<path d="{way}"{_stroke(pen)}/>'


def _svg(mark: Circle | Oblong | Words, drawing: Drawing) -> str:
    x0, _, _, y1 = drawing.box_mm
    scale = drawing.scale

    def at(x: float, y: float) -> tuple[str, str]:
        return f"{(x - x0) / scale:.2f}", f"{(y1 - y) / scale:.2f}"

    if isinstance(mark, Circle):
        x, y = at(mark.x_mm, mark.y_mm)
        return (
            f'<circle cx="{x}" cy="{y}" r="{mark.r_mm / scale:.2f}"'
            f"{_fill(mark.grey)}{_stroke(mark.pen)}/>"
        )
    if isinstance(mark, Oblong):
        x, y = at(mark.x0_mm, mark.y1_mm)
        round_ = f' rx="{mark.corner_mm / scale:.2f}"' if mark.corner_mm else ""
        return (
            f'<rect x="{x}" y="{y}" width="{(mark.x1_mm - mark.x0_mm) / scale:.2f}" '
            f'height="{(mark.y1_mm - mark.y0_mm) / scale:.2f}"{round_}'
            f"{_fill(mark.grey)}{_stroke(mark.pen)}/>"
        )
    x, y = at(mark.x_mm, mark.y_mm)
    bold = ' font-weight="bold"' if mark.is_bold else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{mark.height_mm * _LETTERS:.2f}" fill="#000" '
        f'stroke="none" text-anchor="{mark.anchor}"{bold}>{escape(mark.words)}</text>'
    )


def _fill(grey: float | None) -> str:
    if grey is None:
        return ""
    part = round(grey * 255)
    return f' fill="#{part:02x}{part:02x}{part:02x}"'


def _stroke(pen: Pen | None) -> str:
    if pen is None:
        return ' stroke="none"'
    dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in pen.dash_mm)}"' if pen.dash_mm else ""
    return f' stroke-width="{pen.width_mm:g}"{dash}'


def on_canvas(drawing: Drawing, canvas: Any, *, left_mm: float, top_mm: float) -> None:
    """Draw on a reportlab canvas; `left_mm`, `top_mm` is the upper left corner (mm from below)."""
    x0, _, _, y1 = drawing.box_mm
    scale = drawing.scale

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            (left_mm + (x - x0) / scale) * POINTS_PER_MM,
            (top_mm - (y1 - y) / scale) * POINTS_PER_MM,
        )

    size = POINTS_PER_MM / scale
    canvas.setStrokeGray(0.0)
    for pen, run in groupby(drawing.marks, key=lambda m: m.pen if isinstance(m, Line) else None):
        if pen is not None:  # lines of one pen, most of them hatches, are one path
            _set_pen(canvas, pen)
            canvas.lines(
                [(*at(*m.ends_mm[0]), *at(*m.ends_mm[1])) for m in run if isinstance(m, Line)]
            )
            continue
        for mark in run:
            if isinstance(mark, Words):
                _write(canvas, mark, *at(mark.x_mm, mark.y_mm))
            elif isinstance(mark, Circle):
                look = _set_look(canvas, mark.pen, mark.grey)
                canvas.circle(*at(mark.x_mm, mark.y_mm), mark.r_mm * size, **look)
            elif isinstance(mark, Oblong):
                look = _set_look(canvas, mark.pen, mark.grey)
                box = (
                    *at(mark.x0_mm, mark.y0_mm),
                    (mark.x1_mm - mark.x0_mm) * size,
                    (mark.y1_mm - mark.y0_mm) * size,
                )
                if mark.corner_mm:
                    canvas.roundRect(*box, mark.corner_mm * size, **look)
                else:
                    canvas.rect(*box, **look)
    canvas.setDash()
    canvas.setFillGray(0.0)


def _write(canvas: Any, mark: Words, x: float, y: float) -> None:
    canvas.setFillGray(0.0)
    font = "Helvetica-Bold" if mark.is_bold else "Helvetica"
    canvas.setFont(font, mark.height_mm * _LETTERS * POINTS_PER_MM)
    put = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }[mark.anchor]
    put(x, y, mark.words)


def _set_look(canvas: Any, pen: Pen | None, grey: float | None) -> dict[str, int]:
    _set_pen(canvas, pen)
    if grey is not None:
        canvas.setFillGray(grey)
    return {"stroke": int(pen is not None), "fill": int(grey is not None)}


def _set_pen(canvas: Any, pen: Pen | None) -> None:
    if pen is not None:
        canvas.setLineWidth(pen.width_mm * POINTS_PER_MM)
        canvas.setDash([d * POINTS_PER_MM for d in pen.dash_mm])

"""Back ends of the section drawing: SVG for the map, and a PDF canvas for the work packs."""

from __future__ import annotations

from html import escape
from itertools import groupby
from typing import Any, Final

from pipeline.publish.section_drawing import Drawing, fitted, key_of, section_of
from pipeline.publish.section_marks import Circle, Line, Mark, Oblong, Pen, Words
from pipeline.tables import Tables

POINTS_PER_MM: Final = 72.0 / 25.4
_LETTERS: Final = 1.39  # font size over height of its capitals (Helvetica: 0.72 of the size)


def section_svg(
    tables: Tables, end_id: str, *, width_mm: float = 120.0, height_mm: float = 90.0
) -> str:
    """The section of an end as SVG, or '' where no seal is drawn.

    Parameters
    ----------
    tables : Tables
        designs, placements.
    end_id : str
    width_mm, height_mm : float, optional
        Paper that it has to fit.

    Returns
    -------
    str
        One `svg` element: no ids, no scripts, no styles; texts are escaped.
    """
    designs, placements = tables["designs"], tables["placements"]
    rows = designs[designs["end_id"] == end_id].to_dict("records")
    if not rows:
        return ""
    own = placements[placements["end_id"] == end_id].to_dict("records")
    section = section_of(rows[0], own)
    if section is None:
        return ""
    drawing = fitted(section, width_mm=width_mm, height_mm=height_mm)
    return as_svg(drawing, key_of(section, wide_mm=width_mm))


def as_svg(*drawings: Drawing) -> str:
    """Drawings one below the other as one `svg` element, sizes in paper millimetres."""
    width = max((d.box_mm[2] - d.box_mm[0]) / d.scale for d in drawings)
    parts, height = [], 0.0
    for one in drawings:
        inside = "".join(_svg(mark, one) for mark in one.marks)
        parts.append(f'<g transform="translate(0 {height:.2f})">{inside}</g>')
        height += (one.box_mm[3] - one.box_mm[1]) / one.scale
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}" '
        f'width="{width:.2f}mm" height="{height:.2f}mm" role="img" '
        f'font-family="Helvetica, Arial, sans-serif" fill="none" stroke="#000">'
        + "".join(parts)
        + "</svg>"
    )


def _svg(mark: Mark, drawing: Drawing) -> str:
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
    if isinstance(mark, Line):
        (ax, ay), (bx, by) = (at(*p) for p in mark.ends_mm)
        return f'<line x1="{ax}" y1="{ay}" x2="{bx}" y2="{by}"{_stroke(mark.pen)}/>'
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

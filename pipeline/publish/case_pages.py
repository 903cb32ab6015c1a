"""cases.pdf: one page per site that a funder can read, every figure with where it is read from."""

from __future__ import annotations

from functools import cache
from html import escape
from pathlib import Path
from typing import Any, Final

import pandas as pd
import reportlab
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, Spacer, Table, TableStyle

from pipeline.core.materials import papers_say
from pipeline.core.settings import Settings
from pipeline.publish.case_facts import Fact, SiteCase, site_cases
from pipeline.publish.pdf_file import pdf_canvas
from pipeline.tables import Tables

ABREAST: Final = 4  # buildings on one page; a site with more of them gets further pages
_MARGIN: Final = 14 * mm
_LABEL: Final = 36 * mm
_WHERE: Final = 38 * mm
_SIGN: Final = ("Programme manager", "Site owner's engineer", "Structural engineer", "Funder")
_INK: Final = colors.HexColor("#1E2430")
_SOFT: Final = colors.HexColor("#5A6270")
_BAND: Final = colors.HexColor("#E8EAF0")
_LINE: Final = colors.HexColor("#C4C9D4")


def write_cases(path: Path, tables: Tables, settings: Settings, *, run_id: str) -> int:
    """Write the cases of all sites, in order of rank.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on every page.

    Returns
    -------
    int
        Number of pages.
    """
    _fonts()
    canvas = pdf_canvas(path, A4)
    canvas.setTitle(f"{settings.programme.name}: cases by site")
    canvas.setAuthor("stanch")
    pages = [
        (case, start)
        for case in site_cases(tables, settings)
        for start in range(0, len(case.buildings), ABREAST)
    ]
    label = f"Run {run_id}, planned {settings.planning_date}. {papers_say(settings)}"
    for number, (case, start) in enumerate(pages, start=1):
        _page(canvas, case, slice(start, start + ABREAST), settings)
        _foot(canvas, label, f"{number} / {len(pages)}")
        key = f"p{number}"
        canvas.bookmarkPage(key)
        canvas.addOutlineEntry(_plain(_name(case)), key, level=0)
        canvas.showPage()
    if not pages:
        canvas.setFont("Case", 11)
        canvas.drawString(_MARGIN, A4[1] - 2 * _MARGIN, "No building is in the survey.")
        _foot(canvas, label, "1 / 1")
        canvas.showPage()
    canvas.save()
    return len(pages)


@cache
def _fonts() -> None:
    """Fonts that every viewer shows alike: those of the library go into the file."""
    folder = Path(reportlab.__file__).parent / "fonts"
    pdfmetrics.registerFont(TTFont("Case", str(folder / "Vera.ttf")))
    pdfmetrics.registerFont(TTFont("CaseBold", str(folder / "VeraBd.ttf")))
    pdfmetrics.registerFontFamily(
        "Case", normal="Case", bold="CaseBold", italic="Case", boldItalic="CaseBold"
    )


def _plain(text: str) -> str:
    """Text of which every sign can be shown: others by their number, so that nothing is lost."""
    known = pdfmetrics.getFont("Case").face.charToGlyph
    return "".join(
        c if ord(c) in known else (" " if c.isspace() else f"[U+{ord(c):04X}]") for c in text
    )


def _para(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(_plain(text)), style)


def _style(name: str, size: float, *, bold: bool = False, color: Any = _INK) -> ParagraphStyle:
    return ParagraphStyle(
        name, fontName="CaseBold" if bold else "Case", fontSize=size, leading=size * 1.22,
        textColor=color, splitLongWords=1,
    )  # fmt: skip


def _name(case: SiteCase) -> str:
    name = case.site["site_name"]
    return f"{case.site['site_id']}" + ("" if pd.isna(name) else f"  {name}")


def _page(canvas: Canvas, case: SiteCase, shown: slice, settings: Settings) -> None:
    width = A4[0] - 2 * _MARGIN
    buildings = case.buildings[shown]
    flow: list[Flowable] = [
        _para(_name(case), _style("title", 15, bold=True)),
        Spacer(1, 1.5 * mm),
        _para(_about(case, settings), _style("about", 8, color=_SOFT)),
        Spacer(1, 2.5 * mm),
        _facts_table(case.facts, buildings, shown, width),
        Spacer(1, 3 * mm),
        _para(
            "Agreed (name, role, date). An open box is not an agreement.",
            _style("agreed", 7.5, bold=True),
        ),
        Spacer(1, 1 * mm),
        _boxes(width),
    ]
    frame = KeepInFrame(width, A4[1] - 2 * _MARGIN - 6 * mm, flow, mode="shrink")
    _, height = frame.wrapOn(canvas, width, A4[1])
    frame.drawOn(canvas, _MARGIN, A4[1] - _MARGIN - height)


def _about(case: SiteCase, settings: Settings) -> str:
    site, flood = case.site, settings.flood

    def word(name: str, blank: str) -> str:
        return blank if pd.isna(site[name]) else str(site[name])

    customers = site["customers_count"]
    people = "customers not given" if pd.isna(customers) else f"{int(customers):,} customers"
    key = "" if pd.isna(site["key_customers"]) else f", key: {site['key_customers']}"
    return (
        f"{word('site_type', 'type not given')} in {word('region', 'no region')}, class "
        f"{word('critical_class', 'not given')}, {people}{key}, back-feed "
        f"{word('backfeed', 'unknown')}. Climate {flood.climate}, {flood.defences} defences. "
        f"Loss to {settings.value.loss_to}, present value over {settings.value.life_years} years, "
        f"{settings.value.discount.name}. PV: present value."
    )


def _facts_table(
    facts: tuple[Fact, ...], buildings: tuple[str, ...], shown: slice, width: float
) -> Table:
    size = 7.2 if len(buildings) <= 2 else 6.4
    body, bold = _style("body", size), _style("bold", size, bold=True)
    soft = _style("soft", size * 0.82, color=_SOFT)
    rows: list[list[Any]] = [
        ["", *(_para(b, bold) for b in buildings), _para("read from (tables/*.csv)", soft)]
    ]
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.4),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, _LINE),
    ]
    part = ""
    for fact in facts:
        texts = fact.texts[shown]
        if not any(texts):
            continue
        if fact.part != part:
            part = fact.part
            style += [
                ("BACKGROUND", (0, len(rows)), (-1, len(rows)), _BAND),
                ("SPAN", (0, len(rows)), (-1, len(rows))),
            ]
            rows.append([_para(part, bold), *("" for _ in range(len(buildings) + 1))])
        rows.append(
            [_para(fact.label, body), *(_para(t, body) for t in texts), _para(fact.where, soft)]
        )
    each = (width - _LABEL - _WHERE) / len(buildings)
    return Table(
        rows,
        colWidths=[_LABEL, *(each for _ in buildings), _WHERE],
        style=TableStyle(style),
        hAlign="LEFT",
    )


def _boxes(width: float) -> Table:
    small = _style("sign", 7, color=_SOFT)
    return Table(
        [[_para(s, small) for s in _SIGN], ["" for _ in _SIGN]],
        colWidths=[width / len(_SIGN)] * len(_SIGN),
        rowHeights=[5 * mm, 11 * mm],
        hAlign="LEFT",
        style=TableStyle([("BOX", (n, 0), (n, 1), 0.6, _SOFT) for n in range(len(_SIGN))]),
    )


def _foot(canvas: Canvas, label: str, page: str) -> None:
    canvas.setFillColor(_SOFT)
    canvas.setFont("Case", 6.5)
    canvas.drawString(_MARGIN, 9 * mm, _plain(label))
    canvas.drawRightString(A4[0] - _MARGIN, 9 * mm, page)
    canvas.setFillColor(_INK)

"""One certificate per building, and only where every end of its package is accepted."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

import pandas as pd
import reportlab
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from pipeline.core.materials import papers_say
from pipeline.core.record_sheets import given, ids_in
from pipeline.core.settings import Records, Settings
from pipeline.publish.orders import file_name
from pipeline.tables import Tables

Row = dict[str, Any]
_MARGIN: Final = 16 * mm
_WIDTHS: Final = (34 * mm, 38 * mm, 34 * mm, 22 * mm, 50 * mm)
_HEADS: Final = (
    "Duct end", "Sealed", "Lot, last day of use", "Least depth / asked for",
    "Accepted, next look by",
)  # fmt: skip
_SAYS: Final = (
    "It says that the ends named above were sealed, looked at and accepted, by the records named "
    "beside each. It does not say that the building stays dry: what lets water in next stands "
    "above.",
    "A later cable, an opened or damaged seal, or a look that is overdue ends it for that end.",
    "A flood seal is no fire stop and no gas seal. Local codes, permits, the owner's rules and "
    "licensed practice decide.",
)


def write_certificates(folder: Path, tables: Tables, settings: Settings, *, run_id: str) -> None:
    """Write `<building_id>.pdf` for every building whose package is accepted as a whole.

    Parameters
    ----------
    folder : Path
        Made only where there is a certificate to write.
    tables : Tables
        as_built, sealed_ends, buildings, sites.
    settings : Settings
    run_id : str
        Printed on every page.

    Notes
    -----
    A building with one open end of its package gets none: an absent paper cannot be misread.
    """
    policy = settings.records
    built = tables["as_built"]
    complete = built[built["is_complete"].astype(bool)] if len(built) else built
    if policy is None or complete.empty:
        return
    folder.mkdir(parents=True, exist_ok=True)
    sealed = {str(s["end_id"]): s for s in tables["sealed_ends"].to_dict("records")}
    names = {str(s["site_id"]): given(s, "site_name") for s in tables["sites"].to_dict("records")}
    for row in complete.to_dict("records"):
        ends = [sealed[e] for e in ids_in(given(row, "accepted_ids"))]
        site = given(row, "site_id")
        title = " ".join(t for t in (site, names.get(site, "")) if t)
        _write(folder / f"{file_name(str(row['building_id']))}.pdf", row, ends,
               about=(title, run_id, settings), policy=policy)  # fmt: skip


def _write(
    path: Path,
    row: Row,
    ends: Sequence[Row],
    *,
    about: tuple[str, str, Settings],
    policy: Records,
) -> None:
    site, run_id, settings = about
    _fonts()
    foot = f"Run {run_id}, planning date {settings.planning_date.isoformat()}. {_papers(settings)}"
    building = str(row["building_id"])
    story: list[Any] = [
        _line("Certificate of sealed duct ends", "title"),
        _line(f"Building {building}", "head"),
        _line(f"Site {site}, region {given(row, 'region') or 'not named'}. "
              f"{settings.programme.name}."),
        Spacer(1, 4 * mm),
        _ends_table(ends),
        Spacer(1, 4 * mm),
        _line("What it changes", "head"),
        *[_line(text) for text in _onset_lines(row)],
        _line("How it was judged", "head"),
        _line(f"Least of four clock positions (12, 3, 6 and 9 o'clock), asked for at least "
              f"{policy.nominal_mm:g} mm, tolerance {policy.tolerance_mm:g} mm; accepted by a look "
              f"of the kind {' or '.join(policy.accepting_levels)}. Source of these figures: "
              f"{policy.source}."),
        _line("What this paper says", "head"),
        *[_line(text) for text in _SAYS],
        Spacer(1, 8 * mm),
        _signatures(),
    ]  # fmt: skip
    document = SimpleDocTemplate(
        str(path), pagesize=A4, invariant=1, title=f"Certificate {building}", author="",
        leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN + 6 * mm,
    )  # fmt: skip

    def footer(canvas: Any, _: Any) -> None:
        canvas.setFont("Vera", 7)
        canvas.drawString(_MARGIN, _MARGIN, _shown(f"{building}. {foot}"))
        canvas.drawRightString(A4[0] - _MARGIN, _MARGIN, f"page {canvas.getPageNumber()}")

    document.build(story, onFirstPage=footer, onLaterPages=footer)


def _papers(settings: Settings) -> str:
    said = papers_say(settings)
    return said[:1].upper() + said[1:]


def _ends_table(ends: Sequence[Row]) -> Any:
    rows = [[_line(h, "bold") for h in _HEADS]]
    for s in ends:
        rows.append(
            [
                _line(str(s["end_id"]), "bold"),
                _line(f"{s['sealed_on']} {given(s, 'sealed_by')}, record {s['install_id']}"),
                _line(f"{given(s, 'lot') or 'not known'}, {given(s, 'expires_on') or 'not known'}"),
                _line(f"{s['least_mm']:g} / {s['need_mm']:g} mm"),
                _line(f"{s['accepted_on']} {given(s, 'accepted_by')} ({given(s, 'inspect_level')}, "
                      f"{s['inspection_id']}); {s['next_due_on']}"),
            ]
        )  # fmt: skip
    table = Table(rows, colWidths=_WIDTHS, repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, colors.HexColor("#777777")),
                ("BACKGROUND", (0, 0), (-1, 0), colors.HexColor("#E8EAF0")),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        )
    )
    return table


def _onset_lines(row: Row) -> list[str]:
    """Onset before and after in words, and what lets water in next."""

    def said(level: str, chance: str) -> str:
        at = "level not known" if pd.isna(row[level]) else f"from {row[level]:.3f} m on"
        often = row[chance]
        if pd.isna(often) or often <= 0:
            return f"{at}, no known chance"
        return f"{at}, about 1 in {1.0 / often:,.0f} a year"

    lines = [
        f"Water comes in, as found: {said('found_level_m', 'found_chance_per_year')}.",
        f"Water comes in, with these seals: {said('built_level_m', 'built_chance_per_year')}.",
        f"What lets water in next: {given(row, 'next_gate') or 'not known'}.",
    ]
    if given(row, "words"):
        lines.append(f"Not in the figures: {row['words']}.")
    return lines


def _signatures() -> Any:
    table = Table(
        [[_line("For the inspector: name, day, signature"), _line("For the owner: name, day, "
          "signature")]],
        colWidths=(sum(_WIDTHS) / 2,) * 2, rowHeights=(20 * mm,),
    )  # fmt: skip
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.6, colors.black),
                               ("VALIGN", (0, 0), (-1, -1), "TOP")]))  # fmt: skip
    return table


_LOOKS: Final = {
    "title": ("VeraBd", 17.0, 22.0, 0.0), "head": ("VeraBd", 10.5, 14.0, 6.0),
    "bold": ("VeraBd", 8.0, 10.0, 0.0), "plain": ("Vera", 8.5, 11.5, 0.0),
}  # fmt: skip


def _line(text: str, look: str = "plain") -> Any:
    """A paragraph; what a record says is shown as text and never read as mark-up."""
    font, size, leading, before = _LOOKS[look]
    style = ParagraphStyle(look, fontName=font, fontSize=size, leading=leading, spaceBefore=before,
                           splitLongWords=1)  # fmt: skip
    return Paragraph(escape(_shown(text)), style)


@cache
def _fonts() -> None:
    """The fonts that come with the PDF library, embedded, so that every reader shows the same."""
    folder = Path(reportlab.__file__).parent / "fonts"
    for name in ("Vera", "VeraBd"):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))


def _shown(text: str) -> str:
    """A text in the letters that the font has; others as their code, never as an empty box."""
    _fonts()
    known = pdfmetrics.getFont("Vera").face.charToGlyph
    return "".join(
        c if ord(c) in known and c.isprintable() else f"[U+{ord(c):04X}]" if c != "\n" else " "
        for c in text
    )

"""Cross-sections of the drawn seals for the map: the drawings of the work packs, and what is in."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

from pipeline.publish.map_places import records, text
from pipeline.publish.section_drawing import (
    CABLE_SIGNS,
    Piece,
    Section,
    across,
    along,
    fitted,
    section_of,
)
from pipeline.publish.section_paper import as_svg
from pipeline.tables import Tables

# Beyond so many openings the page stays light: the section then stands in the work pack alone.
MOST_OPENINGS: Final = 6000
# A card is narrow: the two views stand one below the other, each at its own scale.
_PAPER_MM: Final = ((across, 66.0, 75.0), (along, 66.0, 58.0))


def sections(tables: Tables, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """The section of each drawn seal, equal ones once.

    Parameters
    ----------
    tables : Tables
        designs, placements.
    rows : list of dict
        Openings on the map.

    Returns
    -------
    dict
        drawings : list of `svg` texts, each with the words of what is drawn; of : opening id ->
        position in that list. Both are empty where the map holds too many openings to carry them.

    """
    if len(rows) > MOST_OPENINGS:
        return {"drawings": [], "of": {}}
    shown = {r["opening_id"] for r in rows}
    designs = tables["designs"]
    drawn = designs[designs["is_designed"].astype(bool)]
    circles: dict[str, list[dict[str, Any]]] = {}
    for row in records(
        tables["placements"], "end_id", "kind", "cable_class", "outer_mm", "x_mm", "y_mm",
        "piece_no",
    ):  # fmt: skip
        circles.setdefault(text(row["end_id"]), []).append(row)
    number: dict[Section, int] = {}
    of: dict[str, int] = {}
    for row in drawn.sort_values("end_id").to_dict("records"):
        end = text(row["end_id"])
        section = section_of(row, circles.get(end, [])) if end in shown else None
        if section is not None and section.pieces:
            of[end] = number.setdefault(section, len(number))
    return {"drawings": [[_svg(s), *_words(s)] for s in number], "of": of}


def _svg(section: Section) -> str:
    return as_svg(
        *(
            fitted(section, width_mm=width_mm, height_mm=height_mm, view=view)
            for view, width_mm, height_mm in _PAPER_MM
        )
    )


def _words(section: Section) -> list[str]:
    """What is drawn, in words: pieces by kind and size, largest first."""
    counts = Counter(_name(p) for p in sorted(section.pieces, key=_rank))
    return [name + (f", {n} of them" if n > 1 else "") for name, n in counts.items()]


def _rank(piece: Piece) -> tuple[int, float, str]:
    return (("cable", "collar", "sleeve").index(piece.kind), -piece.outer_mm, piece.cable_class)


def _name(piece: Piece) -> str:
    if piece.kind != "cable":
        return f"{piece.kind} of {piece.outer_mm:g} mm"
    letters = CABLE_SIGNS.get(piece.cable_class, CABLE_SIGNS["unknown"])[0]
    return f"{letters}: {piece.cable_class} cable of {round(piece.outer_mm, 1):g} mm"

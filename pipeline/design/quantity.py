"""Quantities of one end: sealant with its allowances, sleeves, collars, what is counted by end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.core.materials import Materials
from pipeline.core.settings import Crews
from pipeline.design.case import TAKE_OUT, Case
from pipeline.design.doubts import Range
from pipeline.design.facts import text
from pipeline.design.layout import Sleeve
from pipeline.design.section import Section


@dataclass(frozen=True)
class Piece:
    """One item of one end."""

    item_id: str
    quantity: float
    range: Range = field(default_factory=Range)


def sealant_ml(area_mm2: float, layer_mm: float, allowance_frac: float) -> float:
    """Sealant of one end (ml): free area x layer x (1 + allowances), from unrounded sizes."""
    return area_mm2 * layer_mm * (1.0 + allowance_frac) / 1000.0


def allowances(named: Mapping[str, float], case: Case) -> tuple[float, str]:
    """Sum of the named allowances that apply to an end, and their names.

    Parameters
    ----------
    named : mapping of str to float
        Allowances of the settings by name (fractions of the net sealant). A name with 'rib'
        applies to ribbed ducts only, with 'judged' to judged sizes, with 'outdoor' to mouths in
        the open; all others always.
    case : Case

    Returns
    -------
    allowance_frac : float
    words : str
    """
    end = case.facts.end
    applies = {
        "rib": text(end, "material") == "ribbed plastic",
        "judged": text(end, "bore_method") == "judged",
        "outdoor": text(case.facts.entry, "outdoors") == "yes",
    }
    taken = {
        name: share
        for name, share in sorted(named.items())
        if share > 0.0 and all(is_so for word, is_so in applies.items() if word in name.lower())
    }
    words = ", ".join(f"{name.replace('_', ' ')} {100.0 * s:g} %" for name, s in taken.items())
    return sum(taken.values()), words or "none"


def pieces_of(
    section: Section,
    *,
    ml: float,
    lengths_count: int,
    steps: frozenset[str],
    case: Case,
    materials: Materials,
) -> list[Piece]:
    """Pieces of one end, by item.

    Parameters
    ----------
    section : Section
    ml : float
        Sealant (ml).
    lengths_count : int
        Lengths of filler one behind the other.
    steps : frozenset of str
        Steps of the sheet; items for abrading and degreasing follow them.
    case : Case
    materials : Materials

    Returns
    -------
    list of Piece
        Sorted by item.
    """
    counts: Counter[str] = Counter()
    # by size the larger count of the cables as drawn and as found: the crew may meet either
    for sleeve in (*section.sleeves, *section.more):
        counts[sleeve.item_id] += lengths_count
    for item in section.collars.values():
        counts[item.id] += lengths_count
    out = {item_id: float(n) for item_id, n in counts.items()}
    out[materials.sealant.item_id] = ml
    asked = {
        "always": True,
        "wet": case.is_wet,
        # suspected asbestos goes another, licensed way
        "old seal": case.old_seal == TAKE_OUT and not case.asbestos,
        "asbestos": bool(case.asbestos),
        "abrade": "abrade" in steps,
        "degrease": "degrease" in steps,
    }
    for item in materials.item:
        is_drawn = item.kind in ("sleeve", "collar", "sealant")
        if item.counted_by == "end" and not is_drawn and asked[item.when] and item.quantity > 0:
            out[item.id] = item.quantity
    return [Piece(item_id, out[item_id]) for item_id in sorted(out)]


def with_ranges(
    pieces: Sequence[Piece], area: Range, *, free_mm2: float, materials: Materials
) -> tuple[Piece, ...]:
    """Pieces with how far they may be off: sealant and sleeves go with the free area.

    Parameters
    ----------
    pieces : sequence of Piece
    area : Range
        Doubts of the free area (mm2).
    free_mm2 : float
        The free area (mm2).
    materials : Materials

    Returns
    -------
    tuple of Piece
        Collars, labels and what is counted by end stay as they are.
    """
    items = materials.items
    return tuple(
        replace(p, range=area.times(p.quantity / free_mm2))
        if items[p.item_id].kind in ("sleeve", "sealant") and free_mm2 > 0.0
        else p
        for p in pieces
    )


def spare_words(section: Section, lengths_count: int) -> str:
    """Sleeves to carry beyond the drawn ones, and why; '' for none."""
    if not section.more:
        return ""
    words = _by_size(section.more, lengths_count)
    return f"{words} more than drawn to be carried: as found the cables leave room for them"


def sleeves_words(section: Section, lengths_count: int) -> str:
    """Sleeves by size in words: '4 x 20 mm, 3 x 10 mm'."""
    return _by_size(section.sleeves, lengths_count)


def _by_size(sleeves: Sequence[Sleeve], lengths_count: int) -> str:
    sizes = Counter(s.outer_mm for s in sleeves)
    words = ", ".join(f"{n * lengths_count} x {d:g} mm" for d, n in sorted(sizes.items())[::-1])
    if not words:
        return "none"
    return words if lengths_count == 1 else f"{words} ({lengths_count} lengths deep)"


def hours_h(crews: Crews, *, bore_mm: float, cables_count: int, case: Case) -> float:
    """Crew hours at one end, by the settings: base, bore, cables, old seal, water.

    Parameters
    ----------
    crews : Crews
    bore_mm : float
        Bore, or side of the square of the same area (mm).
    cables_count : int
    case : Case

    Returns
    -------
    float
    """
    hours = crews.base_hours_per_end + crews.hours_per_100mm_bore * bore_mm / 100.0
    hours += crews.hours_per_cable * cables_count
    hours += crews.hours_old_seal if case.old_seal == TAKE_OUT else 0.0
    return hours + (crews.hours_wet if case.is_wet else 0.0)

"""From which side a wall is seen, and which of its holes must not be started."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

from pipeline.core import contract
from pipeline.publish.work_packs.facts import Hole, Job, Wall, number, said

_SIDES: Final = {"inside": "INSIDE", "outside": "OUTSIDE"}
_FLAT: Final = {
    "floor": "Looking down at the floor.",
    "roof": "Looking up at the roof.",
}
_SIZES: Final = re.compile(r"([0-9]+) x ([0-9.]+) mm")
_LENGTHS: Final = re.compile(r"\(([0-9]+) lengths deep\)")
_NO_CABLES: Final = ("empty", "capped", "draw cord only")


def is_chamber(wall: Wall) -> bool:
    """True where the wall stands in a chamber, not in a building."""
    return any(said(h.end, "place_kind") == "chamber" for h in wall.holes)


def side_words(wall: Wall) -> str:
    """From which side one looks at a wall, so that its picture cannot be read mirrored.

    Parameters
    ----------
    wall : Wall

    Returns
    -------
    str
        'seen from INSIDE the building', 'seen from INSIDE the chamber', …

    Notes
    -----
    Rows and columns are those of somebody who stands in front of the wall; each side of a wall is
    numbered by itself. Walls of entries are seen from inside the building unless the survey says
    `outside`; where it does not say, the page says that too.
    """
    if is_chamber(wall):
        return "seen from INSIDE the chamber"
    word = said(wall.place, "seen_from")
    if word in _SIDES:
        return f"seen from {_SIDES[word]} the building"
    note = "" if word == "both" else ", which the survey does not state: check by the contents"
    return f"seen from INSIDE the building{note}"


def floor_words(wall: Wall) -> str:
    """Where the floor is in the picture."""
    return _FLAT.get(wall.face, "Floor at the bottom of the picture.")


def has_floor(wall: Wall) -> bool:
    """True where the picture has the floor at its bottom."""
    return wall.face not in _FLAT


def has_cables(job: Job) -> bool:
    """False only where the survey says that nothing but air or a cord lies in the opening."""
    return bool(job.hole.cables) or said(job.hole.end, "contents") not in _NO_CABLES


def held_reach(hole: Hole) -> str:
    """Reach of the hold on a hole that needs a seal; '' where nothing holds it."""
    if not hole.is_in_pack and (hole.is_made or not bool(hole.design.get("is_needed"))):
        return ""
    reach = said(hole.design, "hold_reach")
    return "" if reach == contract.HOLD_NONE else reach


def drawn_sleeves(job: Job) -> Counter[float]:
    """Filler sleeves of the drawing, all lengths, by outer size (mm)."""
    words = said(job.hole.design, "sleeves_words")
    return Counter({float(size): int(count) for count, size in _SIZES.findall(words)})


def lengths_count(job: Job) -> int:
    """Lengths of sleeve that lie one behind the other: each ring of the drawing stands for so many."""
    found = _LENGTHS.search(said(job.hole.design, "sleeves_words"))
    return int(found.group(1)) if found else 1


def counted_sleeves(job: Job, sizes_mm: dict[str, float]) -> Counter[float]:
    """Filler sleeves of the quantities by outer size (mm); `sizes_mm` are those of the items."""
    out: Counter[float] = Counter()
    for piece in job.pieces:
        size, count = sizes_mm.get(said(piece, "item_id")), number(piece, "quantity")
        if size is not None and count > 0:
            out[size] += round(count)
    return out


def sizes_words(sleeves: Counter[float]) -> str:
    """'4 x 40 mm, 2 x 30 mm', largest first; '' for none."""
    return ", ".join(f"{n} x {d:g} mm" for d, n in sorted(sleeves.items(), reverse=True) if n > 0)

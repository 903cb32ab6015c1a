"""Cautions in place of the step that they change."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import zip_longest
from typing import Final

from pipeline.publish.work_packs.facts import Row, said

MADE_GOOD: Final = "To be made good"
MEND_ONLY: Final = "The seal stays"
# How each step of a sheet begins, in the order of work.
STEP_STARTS: Final[tuple[tuple[str, ...], ...]] = (
    ("Make sure that permits",),
    ("Check that no water", "Control the water"),
    ("Remove the old seal", "The old seal stays", "Take the cap off", "No seal is drawn"),
    ("Clean", "Wipe"),
    ("Abrade",),
    ("Degrease",),
    ("Leave the cables", "With the owner's leave", "Cord:"),
    ("Filler sleeves",),
    ("Check",),
    ("Sealant", MADE_GOOD, MEND_ONLY),
    ("Smooth off",),
    ("Label",),
    ("Photo",),
)
_PERMIT, _WATER, _OLD, _CLEAN, _ABRADE, _, _CABLES, _FILLER, _, _, _, _LABEL, _PHOTO = range(13)
# The step that a caution stands before or in place of, by the code of the rule that raises it: its
# words may be the programme's own.
CAUTION_STEPS: Final[dict[str, int]] = {
    "asbestos": _OLD,
    "fire barrier": _OLD,
    "fluid-filled": _PERMIT,
    "gas or water service": _WATER,
    "gas": _PERMIT,
    "gas-tight": _PHOTO,
    "wet well": _WATER,
    "third party": _PERMIT,
    "structure": _FILLER,
    "covering carries water": _CLEAN,
    "covering not compatible": _CLEAN,
    "water possible": _WATER,
    "running water": _WATER,
    "earth conductor": _CLEAN,
    "draw cord": _CABLES,
    "draw cord out": _CABLES,
    "single core in steel": _CABLES,
    "damaged cable": _CLEAN,
    "old seal near live cables": _OLD,
    "closed gap in group": _CABLES,
    "live cables": _OLD,
    "no solvent": _ABRADE,
    "lead or unknown covering": _ABRADE,
    "confined space": _PERMIT,
    "materials": _PERMIT,
    "always": _PHOTO + 1,
}


@dataclass(frozen=True)
class Line:
    """One line of the sheet: a numbered step, or a caution (number 0)."""

    number: int
    words: str


def lines_of(design: Row, snag: str = "") -> list[Line]:
    """Steps with numbers and cautions where they change a step, in the order of work.

    Parameters
    ----------
    design : dict
        Row of `designs`.
    snag : str, optional
        Open snag of a seal that stands by record: it is made good, the seal is not made anew.

    Returns
    -------
    list of Line

    Notes
    -----
    A caution that belongs to a step which the sheet does not hold (no abrading, no solvent) stands
    in its place; one whose place is not known stands first.
    """
    steps = [s for s in said(design, "steps").split(" | ") if s]
    if snag:
        steps = _made_good(steps, snag)
    cautions = [c for c in said(design, "cautions").split(" | ") if c]
    codes = said(design, "caution_codes").split(";")
    ranked = [
        (float(CAUTION_STEPS.get(code, -1)), 0, i, words)
        for i, (code, words) in enumerate(zip_longest(codes, cautions))
        if words
    ]
    at = 0.0
    for i, step in enumerate(steps):
        at = max(at, float(_step_rank(step, int(at))))
        ranked.append((at, 1, i, step))
    out, number = [], 0
    for _, is_step, _, words in sorted(ranked):
        number += is_step
        out.append(Line(number if is_step else 0, words))
    return out


def _made_good(steps: list[str], snag: str) -> list[str]:
    """Steps at a seal that stands: leave and water as for any end, then the snag, label, photo."""
    first = [s for s in steps if s.startswith((*STEP_STARTS[_PERMIT], *STEP_STARTS[_WATER]))]
    last = [s for s in steps if s.startswith((*STEP_STARTS[_LABEL], *STEP_STARTS[_PHOTO]))]
    own = [
        f"{MADE_GOOD}: {snag}.",
        f"{MEND_ONLY}: where it cannot be made good with the seal in place, stop and ring.",
    ]
    return [*first, *own, *last]


def _step_rank(step: str, at: int) -> int:
    """Place of a step in the order of work; one that is not known stays where it stands."""
    for rank, starts in enumerate(STEP_STARTS):
        if step.startswith(starts):
            return rank
    return at

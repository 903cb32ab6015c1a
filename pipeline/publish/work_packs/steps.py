"""Cautions in place of the step that they change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from pipeline.publish.work_packs.facts import Row, said

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
    ("Sealant",),
    ("Smooth off",),
    ("Label",),
    ("Photo",),
)
_PERMIT, _WATER, _OLD, _CLEAN, _ABRADE, _, _CABLES, _FILLER, _, _, _, _, _PHOTO = range(13)
# How each caution begins, and the step that it stands before or in place of.
CAUTION_STEPS: Final[tuple[tuple[str, int], ...]] = (
    ("Asbestos suspected", _OLD),
    ("A flood seal is not a fire seal", _OLD),
    ("No work beside a fluid-filled", _PERMIT),
    ("Test for gas", _WATER),
    ("Gas may come", _WATER),
    ("No work on other people", _PERMIT),
    ("Do not seal into loose", _FILLER),
    ("Do not cut back or strip", _CLEAN),
    ("Water may stand behind", _WATER),
    ("Do not seal into running", _WATER),
    ("Do not touch, move or part an earth", _CLEAN),
    ("Do not seal a cord", _CABLES),
    ("No steel ring", _CABLES),
    ("Do not touch a damaged", _CLEAN),
    ("No power tools", _OLD),
    ("Ties and cleats of groups", _CABLES),
    ("Treat every cable as live", _OLD),
    ("No abrading and no solvent", _ABRADE),
    ("Lead or unknown covering", _ABRADE),
    ("Confined space", _PERMIT),
    ("Example materials", _PERMIT),
    ("Local codes", _PHOTO + 1),
)


@dataclass(frozen=True)
class Line:
    """One line of the sheet: a numbered step, or a caution (number 0)."""

    number: int
    words: str


def lines_of(design: Row) -> list[Line]:
    """Steps with numbers and cautions where they change a step, in the order of work.

    Parameters
    ----------
    design : dict
        Row of `designs`.

    Returns
    -------
    list of Line

    Notes
    -----
    A caution that belongs to a step which the sheet does not hold (no abrading, no solvent) stands
    in its place; one whose place is not known stands first.
    """
    steps = [s for s in said(design, "steps").split(" | ") if s]
    cautions = [c for c in said(design, "cautions").split(" | ") if c]
    ranked = [(_rank(c), 0, i, c) for i, c in enumerate(cautions)]
    at = 0.0
    for i, step in enumerate(steps):
        at = max(at, float(_step_rank(step, int(at))))
        ranked.append((at, 1, i, step))
    out, number = [], 0
    for _, is_step, _, words in sorted(ranked):
        number += is_step
        out.append(Line(number if is_step else 0, words))
    return out


def _rank(caution: str) -> float:
    return float(next((rank for start, rank in CAUTION_STEPS if caution.startswith(start)), -1))


def _step_rank(step: str, at: int) -> int:
    """Place of a step in the order of work; one that is not known stays where it stands."""
    for rank, starts in enumerate(STEP_STARTS):
        if step.startswith(starts):
            return rank
    return at

"""The change sheet of an end: cables that come later, in words, from the tables of a run folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pipeline.core.errors import UsageError
from pipeline.core.materials import Filler
from pipeline.design.geometry import Opening, circles_area_mm2, opening
from pipeline.design.later import (
    FILL_SOURCE,
    JAM_SOURCE,
    Later,
    Placed,
    add_cable,
    limits_of_all,
    sleeves_back,
    with_cable,
)

_MOST_MM: Final = 500.0
Row = Mapping[str, str]


@dataclass(frozen=True)
class Stored:
    """What a run folder says of one end: its rows as texts, and the filler that it was drawn for."""

    design: Row
    placements: Sequence[Row]
    packages: Sequence[Row]
    filler: Filler
    sleeves_mm: tuple[float, ...]
    note: str = ""


@dataclass(frozen=True)
class Change:
    """The drawing after all cables, and what each of them meant."""

    hole: Opening
    before: tuple[Placed, ...]
    steps: tuple[tuple[float, Later], ...]
    after: tuple[Placed, ...]
    back: tuple[Placed, ...]  # sleeves that go in again

    @property
    def can_be(self) -> bool:
        """True where every cable found its place."""
        return all(later.can_be for _, later in self.steps)


def change_sheet(stored: Stored, cables_mm: Sequence[float]) -> list[str]:
    """Say what adding cables to an end means, cable by cable, and what it re-opens.

    Parameters
    ----------
    stored : Stored
    cables_mm : sequence of float
        Outer diameters of the new cables (mm).

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    UsageError
        A diameter that is no cable's.
    """
    bad = [d for d in cables_mm if not 0.0 < d < _MOST_MM]
    if bad:
        raise UsageError(
            f"A cable of {bad[0]:g} mm cannot be.",
            mend=f"Give its outer diameter in mm, above 0 and below {_MOST_MM:g}.",
        )
    why_not = _no_drawing(stored.design)
    sizes = ", ".join(f"{d:g} mm" for d in cables_mm)
    count = "one more cable" if len(cables_mm) == 1 else f"{len(cables_mm)} more cables"
    head = f"{stored.design['end_id']}: {count} ({sizes})"
    if why_not:
        return [head, f"  no answer: {why_not}"]
    change = change_of(stored, cables_mm)
    if stored.design["is_needed"] != "True":
        why = stored.design["need_reason"]
        head += f"\n  into the seal that stands there ({why}), as the survey draws it: its record comes first"
    lines = [head, *(f"  {line}" for line in _together(change))]
    for d, later in change.steps:
        lines += [f"  {line}" for line in _cable_lines(stored, d, later)]
    lines += [f"  {line}" for line in _after(stored, change)]
    lines.append("What it re-opens" if change.can_be else "What it would re-open")
    lines += [f"  {line}" for line in _reopened(stored, change)]
    lines.append("Before any work")
    lines += [f"  {line}" for line in _first(stored)]
    return lines


def change_of(stored: Stored, cables_mm: Sequence[float]) -> Change:
    """Work out the new drawing.

    Parameters
    ----------
    stored : Stored
        Of a designed end.
    cables_mm : sequence of float
        Outer diameters (mm).

    Returns
    -------
    Change

    Notes
    -----
    The thickest cable first: it has the fewest places. Cables that lie there are never moved, so
    that a no for several cables means: not beside these without moving them.
    """
    design = stored.design
    hole = opening(design["shape"], float(design["bore_mm"]), float(design["bore_b_mm"] or 0.0))
    before = [
        Placed(
            int(p["piece_no"]), p["kind"], float(p["outer_mm"]), float(p["x_mm"]), float(p["y_mm"])
        )
        for p in stored.placements
    ]
    placed, steps = list(before), []
    for d in sorted(cables_mm, reverse=True):
        later = add_cable(
            hole, placed, d,
            layer_mm=float(design["layer_mm"]), allowance_frac=float(design["allowance_frac"]),
            filler=stored.filler,
        )  # fmt: skip
        steps.append((d, later))
        if later.can_be:
            placed = with_cable(placed, later, d)
    number = max((p.piece_no for p in [*before, *placed]), default=0) + 1
    is_opened = any(later.can_be and later.through_piece_no is None for _, later in steps)
    back = sleeves_back(hole, placed, stored.sleeves_mm, number) if is_opened else []
    return Change(hole, tuple(before), tuple(steps), tuple(placed), tuple(back))


def _no_drawing(design: Row) -> str:
    if design["is_needed"] != "True":
        # of a seal that stands there its drawing is kept
        is_drawn = bool(design["layer_mm"])
        return "" if is_drawn else f"no seal is to be made here ({design['need_reason']})"
    if design["is_designed"] != "True":
        return f"no seal is drawn here ({design['not_designed_reason']})"
    return ""


def _together(change: Change) -> Iterator[str]:
    """The answer for several cables at once: with all of them in, which limits are exceeded."""
    if len(change.steps) < 2:
        return
    if change.can_be:
        warnings = limits_of_all(change.hole, change.after, [d for d, _ in change.steps])
        yield f"all {len(change.steps)}: yes, there are places{_but(warnings)}"
    else:
        count = sum(later.can_be for _, later in change.steps)
        found = f"{count} of them {'finds' if count == 1 else 'find'}" if count else "none finds"
        yield f"all {len(change.steps)}: no, {found} a place"


def _but(warnings: Sequence[str]) -> str:
    """The limits that are exceeded, in the same breath as the yes."""
    return f"; but {', and '.join(warnings)}" if warnings else ""


def _cable_lines(stored: Stored, cable_mm: float, later: Later) -> Iterator[str]:
    if not later.can_be:
        yield f"{cable_mm:g} mm: {later.words}, as they lie in the drawing"
    else:
        where = f"{_where(stored, later)}, {_place(later)}"
        if later.warnings:
            yield f"{cable_mm:g} mm: yes, there is a place{_but(later.warnings)}"
            yield f"  the place: {where}"
        else:
            yield f"{cable_mm:g} mm: yes, {where}"
        yield (
            f"  sealant over it comes out {float(stored.design['layer_mm']):.1f} mm deep; refill "
            f"{later.refill_ml:.1f} ml with the allowances of the end"
        )
    yield f"  {_limits(later)}"
    if not later.can_be:
        for warning in later.warnings:
            yield f"  mind: {warning}"


def _where(stored: Stored, later: Later) -> str:
    sizes = {int(p["piece_no"]): float(p["outer_mm"]) for p in stored.placements}
    if later.through_piece_no is not None:
        outer = sizes[later.through_piece_no]
        bore = stored.filler.bore_mm(outer)
        return (
            f"through spare sleeve {later.through_piece_no} ({outer:g} mm, bore {bore:.1f} mm), "
            "which stays"
        )
    if not later.out_piece_nos:
        return "between the sleeves, none comes out"
    named = ", ".join(f"{n} ({sizes[n]:g} mm)" for n in later.out_piece_nos)
    return f"in place of {'sleeve' if len(later.out_piece_nos) == 1 else 'sleeves'} {named}"


def _place(later: Later) -> str:
    x, y = round(later.x_mm), round(later.y_mm)
    across = f"{abs(x)} mm {'right' if x > 0 else 'left'} of" if x else ""
    up = f"{abs(y)} mm {'above' if y > 0 else 'below'}" if y else ""
    words = " and ".join(w for w in (across, up) if w)
    return f"{words} the centre" if words else "at the centre"


def _limits(later: Later) -> str:
    words = (
        f"fill of the bore {100 * later.fill_frac:.1f} %, limit for pulling "
        f"{100 * later.fill_limit_frac:.0f} % ({FILL_SOURCE})"
    )
    if np.isnan(later.jam_ratio):
        return f"{words}; jam: fewer than three cables"
    return f"{words}; jam: bore over cable {later.jam_ratio:.2f} ({JAM_SOURCE})"


def _after(stored: Stored, change: Change) -> Iterator[str]:
    out = sorted({n for _, later in change.steps for n in later.out_piece_nos})
    if out:
        sizes = {p.piece_no: p.outer_mm for p in change.before}
        taken, back = Counter(sizes[n] for n in out), Counter(p.outer_mm for p in change.back)
        yield f"sleeves out: {_counted(taken)}; in again beside the cable: {_counted(back)}"
    new = sum(later.refill_ml for _, later in change.steps if later.can_be)
    if len(change.steps) > 1 and new:
        yield f"refill of all: {new:.1f} ml"
    design = stored.design
    cables = [p.outer_mm for p in change.after if p.kind == "cable"]
    free = change.hole.area_mm2 - circles_area_mm2(np.array(cables, dtype=np.float64))
    whole = free * float(design["layer_mm"]) * (1.0 + float(design["allowance_frac"])) / 1000.0
    if new:
        drawn = (
            f" (as designed {float(design['sealant_ml']):.0f} ml)" if design["sealant_ml"] else ""
        )
        yield f"or the whole seal out and new: {whole:.0f} ml{drawn}"


def _counted(sizes: Counter[Any]) -> str:
    return ", ".join(f"{n} x {d:g} mm" for d, n in sorted(sizes.items(), reverse=True)) or "none"


def _reopened(stored: Stored, change: Change) -> Iterator[str]:
    design = stored.design
    yield (
        "design: the section with the new cable, its covering and its class; the layer again if "
        "the covering does not bond"
    )
    if change.can_be:
        ml = sum(later.refill_ml for _, later in change.steps)
        yield (
            f"quantity: {ml:.1f} ml of sealant, {len(change.back)} sleeves, a new label, beyond "
            "what was counted for this end"
        )
    else:
        yield "quantity: not known before the cables are moved or another duct is taken"
    days = float(design["cure_days"] or 0.0)
    packages = sorted({p["package_id"] for p in stored.packages})
    with_it = f"; packages with this end: {', '.join(packages)}" if packages else ""
    yield (
        f"inspection: the end counts as open from the first cut until it is sealed again, "
        f"{days:g} days cured and accepted{with_it}"
    )


def _first(stored: Stored) -> Iterator[str]:
    design = stored.design
    yield "ring the number on the label; the cables' owner decides on pulling and bending"
    if codes := design.get("standing_codes"):
        yield f"holds that stand at this end: {codes.replace(';', ', ')}"
    if design["hold_words"]:
        yield f"held ({design['hold_reach']}): {design['hold_words']}"
    for caution in design["cautions"].split(" | "):
        if caution:
            yield caution
    if stored.note and stored.note.lower() not in design["cautions"].lower():
        yield stored.note

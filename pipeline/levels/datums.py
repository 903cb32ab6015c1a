"""Height datums never mix: a shift is one that the settings or a tie name, or there is none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from pipeline.core.settings import Settings
from pipeline.levels.chain import Level, disagree, lowest

UNKNOWN: Final = ("", "unknown", "not stated")
SITE_DATUM: Final = "site datum"
ELLIPSOID: Final = "ellipsoid"


def to_working_datum(datum: str, settings: Settings) -> tuple[float, float, str] | None:
    """What to add to a height on a datum to get one on the working datum.

    Parameters
    ----------
    datum : str
    settings : Settings

    Returns
    -------
    tuple of (add_m, u_m, words) or None
        None when no shift is known: such heights are not compared.

    """
    name = datum.strip()
    if name.casefold() == settings.reference.vertical_datum.casefold():
        return 0.0, 0.0, ""
    for shift in settings.reference.shift:
        if shift.datum.casefold() == name.casefold():
            return shift.add_m, shift.u_m, f"shift {shift.add_m:+.3f} ({shift.source})"
    return None


@dataclass(frozen=True)
class Tie:
    """One point whose level is known on a site's own datum and on another one."""

    point_id: str
    add_m: float
    u_m: float
    datum: str
    gap: str
    cell: str


def shifted(level: Level, settings: Settings) -> Level | None:
    """A level brought from its datum to the working one; None where no shift is stated."""
    shift = to_working_datum(level.datum, settings)
    if shift is None:
        return None
    add_m, u_m, words = shift
    if not words:
        return level
    source = words.partition("(")[2].rstrip(")")
    moved = level.step(add_m, f"shift {abs(add_m):.3f} from {level.datum} ({source})")
    return replace(moved, shared=_with(level, f"datum {level.datum}", u_m))


def tied(level: Level, ties: list[Tie], settings: Settings) -> Level | None:
    """A level brought to the working datum by the ties of its site.

    The lowest of several ties is taken. One tie shows no blunder, so it takes two that agree to
    clear an opening.

    Parameters
    ----------
    level : Level
        On the site's own datum.
    ties : list of Tie
        Of that site and datum.
    settings : Settings

    Returns
    -------
    Level or None
        None where no tie leads to the working datum.

    """
    options = []
    for tie in ties:
        moved = level.step(tie.add_m, f"tie at {tie.point_id} {abs(tie.add_m):.3f}",
                           gap=tie.gap, cell=tie.cell)  # fmt: skip
        parts = _with(level, f"tie {tie.point_id}", tie.u_m)
        home = shifted(replace(moved, shared=parts, datum=tie.datum), settings)
        if home is not None:
            options.append(replace(home, datum=level.datum))
    low = lowest(options)
    if low is None:
        return None
    if len(options) == 1:
        return low.without_pedigree("site datum tied at one point only")
    if any(disagree(low, other) for other in options):
        return low.without_pedigree("ties of the site datum disagree", assumed="the lowest tie")
    return low.without_pedigree(next((other.gap for other in options if other.gap), ""))


def _with(level: Level, key: str, u_m: float) -> tuple[tuple[str, float], ...]:
    return (*level.shared, (key, u_m)) if u_m > 0.0 else level.shared

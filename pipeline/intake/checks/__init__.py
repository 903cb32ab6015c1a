"""Checks over the typed survey: each a small function, listed with its codes by family.

A finding that several rows share comes once for each of them, so that each gets its state; whoever
lists findings takes each once (`dict.fromkeys` keeps the order).
"""

from __future__ import annotations

from typing import Final

from pipeline.intake.checks import (
    cables,
    dips,
    ducts,
    holds,
    ids,
    photos,
    places,
    points,
    satellite,
    visits,
    water,
)
from pipeline.intake.checks.view import Check, Survey
from pipeline.intake.context import Checked, Context

CHECKS: Final[tuple[Check, ...]] = (
    *ids.CHECKS,
    *places.CHECKS,
    *points.CHECKS,
    *satellite.CHECKS,
    *dips.CHECKS,
    *ducts.CHECKS,
    *cables.CHECKS,
    *holds.CHECKS,
    *water.CHECKS,
    *visits.CHECKS,
    *photos.CHECKS,
)

CODES: Final = tuple(sorted({code for check in CHECKS for code in check.codes}))
"""Codes that these checks make."""

ASKED_HERE: Final = frozenset(
    {
        ("ducts", "measured_to"),
        ("entries", "measured_to"),
        ("ducts", "bore_mm"),
        ("ducts", "far_place_id"),
        ("ducts", "far_proof"),
        ("flood_levels", "datum"),
    }
)
"""Sheet and column whose blank cells have a check of their own; reading does not ask them too."""


def run_checks(context: Context) -> list[Checked]:
    """Run every check that can be run.

    Parameters
    ----------
    context : Context
        The typed survey; without settings the checks that need them are left out
        (`not_made` names them).

    Returns
    -------
    list of Checked
        In the order of the checks, then of the file. Rows with one cause share one finding.
    """
    view = Survey(context)
    can = [c for c in CHECKS if context.settings is not None or not c.needs_settings]
    return [checked for check in can for checked in check.function(view)]


_OF_POSITIONS: Final = frozenset(
    {"file-25", "place-01", "place-02", "place-03", "place-05", "place-06", "place-07", "place-08",
     "place-09", "place-10", "place-11", "place-12", "place-13"}
)  # fmt: skip
"""Checks of where things stand: positions are worked out in the programme's own system."""


def not_made() -> tuple[str, ...]:
    """Codes of the checks that cannot be made without settings."""
    asked = {code for c in CHECKS if c.needs_settings for code in c.codes}
    return tuple(sorted(asked | _OF_POSITIONS))


__all__ = ["ASKED_HERE", "CHECKS", "CODES", "not_made", "run_checks"]

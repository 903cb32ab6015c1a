"""Stage `programme`: packages per building, the choice under budget, crew days."""

from __future__ import annotations

import pandas as pd

from pipeline.core.buying import Buying
from pipeline.core.materials import Materials
from pipeline.core.money import minor
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.programme.advice import resurvey_rows, site_shift_rows
from pipeline.programme.budget_curve import budget_curve_rows
from pipeline.programme.choosing import Ground, choose_packages
from pipeline.programme.closing_lines import closing_lines, end_prices
from pipeline.programme.costs import CostBook
from pipeline.programme.crew_days import crew_day_rows, works_on
from pipeline.programme.fixes import fixes_of
from pipeline.programme.openings import by_building
from pipeline.programme.packages import cases, packages_of
from pipeline.programme.rank_cases import rank_case_rows
from pipeline.programme.settled import settled_rows
from pipeline.programme.site_calendar import site_month_rows
from pipeline.programme.starts import made_ends, with_starts
from pipeline.tables import REGISTRY, Tables, blank

_STEPS = 5


def programme(
    tables: Tables,
    settings: Settings,
    *,
    materials: Materials,
    buying: Buying,
    progress: Progress = silent,
) -> Tables:
    """Packages of every building, the choice among them, and the days of the crews.

    Parameters
    ----------
    tables : Tables
        sites, buildings, ends, entries, levels, floods, policies, reach, reach_sources, designs,
        pieces.
    settings : Settings
    materials : Materials
        Items counted by crew-day and site, days of cure.
    buying : Buying
        List prices, depots, closed days.
    progress : Progress

    Returns
    -------
    Tables
        packages, choices, plans, settled, budget_curve, rank_cases, crew_days, site_months,
        closing_lines, resurvey, site_shifts, findings (none).

    Raises
    ------
    UsageError
        When the settings lack the loss of a site type, or settle a site both ways.
    """
    openings = by_building(tables)
    book = CostBook(tables, settings, materials=materials, buying=buying)
    progress(1, _STEPS)
    entry = minor(settings.crews.confined_space_cost, settings.programme.currency)
    lines = closing_lines(
        tables,
        end_prices(tables, book, entry_minor=entry, chamber_sites=settings.crews.chamber_ends_at),
        unsurveyed={b: o.unsurveyed for b, o in openings.items()},
    )
    judged = cases(tables, settings, openings)
    packages = [row for case in judged for row in packages_of(case, settings, book)]
    progress(2, _STEPS)
    sites = {str(s["site_id"]): s for s in tables["sites"].to_dict("records")}
    ground = Ground(sites, settings, fixes_of(settings, tables["sites"]), made_ends(tables))
    choices, decided = choose_packages(tables, ground, packages, openings)
    progress(3, _STEPS)
    ranks = rank_case_rows(tables, ground, packages, decided, cases=judged, book=book)
    progress(4, _STEPS)
    days = crew_day_rows(
        tables, settings, packages=packages, choices=choices, materials=materials, buying=buying
    )
    months = site_month_rows(tables, settings, days, works_on(settings, buying))
    progress(_STEPS, _STEPS)
    choices = with_starts(choices, tables, packages)
    return {
        "packages": _frame("packages", packages),
        "choices": _frame("choices", choices),
        "plans": _frame("plans", decided.plans),
        "settled": _frame("settled", settled_rows(ground, packages, decided)),
        "budget_curve": _frame("budget_curve", budget_curve_rows(ground, packages, decided)),
        "rank_cases": _frame("rank_cases", ranks),
        "site_months": _frame("site_months", months),
        "crew_days": _frame("crew_days", days),
        "closing_lines": lines,
        "resurvey": _frame("resurvey", resurvey_rows(tables, settings, book)),
        "site_shifts": _frame("site_shifts", site_shift_rows(tables, settings.flood.k)),
        "findings": blank("findings"),
    }


def _frame(name: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    """Rows as a frame with the columns of its table, whatever the first row holds."""
    return pd.DataFrame(rows, columns=list(REGISTRY[name].names))


__all__ = ["programme"]

"""What the manager has settled: sites done, left or put off, and the least of a region."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from pipeline.core.errors import UsageError
from pipeline.core.settings import Fixed, Settings

Row = dict[str, Any]


@dataclass(frozen=True)
class Fixes:
    """What is settled, ready to look up.

    `fixed` are the sites' fixes in order; `minimum` is the least number of buildings by region.
    """

    fixed: tuple[Fixed, ...] = ()
    minimum: tuple[tuple[str, int], ...] = ()

    def must(self, site_id: str) -> bool:
        """Whether a site is to be done."""
        return any(f.site_id == site_id and f.what == "do it" for f in self.fixed)

    def is_left(self, site_id: str) -> bool:
        """Whether a site is to be left."""
        return any(f.site_id == site_id and f.what == "leave it" for f in self.fixed)

    def words(self, site_id: str) -> str:
        """What is settled about a site, in words; '' = nothing."""
        return "; ".join(said(f) for f in self.fixed if f.site_id == site_id)

    def least(self, region: str) -> int:
        """Least number of buildings of a region."""
        return max((n for r, n in self.minimum if r == region), default=0)

    def without(self, number: int) -> Fixes:
        """All but one of the sites' fixes."""
        return replace(self, fixed=self.fixed[:number] + self.fixed[number + 1 :])


def said(fixed: Fixed) -> str:
    """One fix in words."""
    what = {
        "do it": "settled to be done",
        "leave it": "settled to be left",
        "not before": f"settled not before {fixed.not_before}",
    }[fixed.what]
    return f"{what} ({fixed.because})"


def fixes_of(settings: Settings, sites: pd.DataFrame) -> Fixes:
    """The fixes of the settings.

    Parameters
    ----------
    settings : Settings
        `programme.fixed`, `programme.region_minimum`.
    sites : DataFrame
        Sites of the survey.

    Returns
    -------
    Fixes

    Raises
    ------
    UsageError
        When a site is both to be done and to be left, or a least number names no region.
    """
    fixed = tuple(sorted(settings.programme.fixed, key=lambda f: (f.site_id, f.what)))
    known = {str(s) for s in sites["site_id"]}
    out = Fixes(
        fixed=tuple(f for f in fixed if f.site_id in known),
        minimum=tuple(
            sorted((m.region, m.buildings_count) for m in settings.programme.region_minimum)
        ),
    )
    for least in settings.programme.region_minimum:
        if least.region not in settings.programme.regions:
            raise UsageError(
                f"[[programme.region_minimum]] names region {least.region}, which is none.",
                mend=f"The regions are: {', '.join(settings.programme.regions)}.",
            )
    for site in sorted({f.site_id for f in fixed}):
        if out.must(site) and out.is_left(site):
            raise UsageError(
                f"Site {site} is settled both to be done and to be left.",
                mend="Keep one of the two [[programme.fixed]].",
            )
    return out


def ready_on(site: Mapping[str, Any], settings: Settings) -> dt.date:
    """First day on which work at a site may begin.

    First crew day, planning date + permit, and the day before which it is settled not to begin.
    """
    lead = site["permit_lead_days"]
    days = 0 if pd.isna(lead) else int(lead)
    settled = [
        f.not_before
        for f in settings.programme.fixed
        if f.site_id == str(site["site_id"]) and f.not_before is not None
    ]
    return max(settings.crews.first_day, settings.planning_date + dt.timedelta(days=days), *settled)

"""Reasons in one line: why a building is in the programme, or why it was left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pipeline.core.money import about
from pipeline.core.money import words as money_words
from pipeline.core.settings import Settings
from pipeline.programme import words
from pipeline.programme.onset import deciding_opening
from pipeline.programme.openings import Openings

if TYPE_CHECKING:
    from pipeline.programme.choosing import Purse
    from pipeline.programme.fixes import Fixes

_OPENINGS_IN_WORDS = 3


class Reasons:
    """Writes the reasons of a programme.

    Parameters
    ----------
    settings : Settings
    sites : mapping
        Rows of `sites` by id.
    openings : mapping
        Openings by building.
    purses : mapping
        Budgets by region, with what is left.
    fixes : Fixes
        What is settled about sites.
    """

    def __init__(
        self,
        settings: Settings,
        sites: Mapping[str, Mapping[str, Any]],
        openings: Mapping[str, Openings],
        purses: Mapping[str, Purse],
        fixes: Fixes,
    ) -> None:
        self._fixes = fixes
        self._currency = settings.programme.currency
        self._sites, self._openings, self._purses = sites, openings, purses

    def chosen(
        self,
        package: Mapping[str, Any],
        steps_count: int,
        ratio: float | None = None,
        *,
        is_made: bool = False,
    ) -> str:
        """Why a package is in: what it gives for its cost first, which is what it ranks by.

        One whose ends are all sealed says that before all: it ranks after work still to be done.
        """
        chance = package["before_chance_per_year"]
        inside = (
            "chance of water inside unknown"
            if chance is None
            else f"water inside at {words.one_in(chance, package['before_bound'])}"
        )
        step = f" (step {package['step_no']} of {steps_count})" if steps_count > 1 else ""
        parts = [words.all_sealed(int(package["ends_count"]))] if is_made else []
        parts += [] if ratio is None else [f"loss avoided {_times(ratio)} its cost"]
        parts += [
            inside,
            self._people(str(package["site_id"])),
            f"{package['ends_count']} {'end' if package['ends_count'] == 1 else 'ends'}{step} "
            f"for {about(package['cost_minor'], self._currency)}",
            self._worth(package),
        ]
        if package["next_gate"]:
            parts.append(f"next gate: {package['next_gate']}")
        parts += self._conditions(package)
        return "; ".join(parts)

    def _people(self, site_id: str) -> str:
        site = self._sites[site_id]
        count = site["customers_count"]
        people = "customers not given" if pd.isna(count) else f"{int(count):,} customers"
        backfeed = "unknown" if pd.isna(site["backfeed"]) else str(site["backfeed"])
        said = {"none": "no back-feed", "unknown": "back-feed unknown, taken as none"}
        text = f"{people}, {said.get(backfeed, f'{backfeed} back-feed')}"
        key = site["key_customers"]
        return text if pd.isna(key) else f"{text}, key: {key}"

    def _worth(self, package: Mapping[str, Any]) -> str:
        avoided = package["avoided_minor_per_year"]
        if avoided is None:
            return "benefit unknown"
        upto = "up to " if package["gain"] == "up to" else ""
        return f"avoids {upto}{about(avoided, self._currency)} a year"

    def _conditions(self, package: Mapping[str, Any]) -> list[str]:
        out = []
        if package["held_count"]:
            held = int(package["held_count"])
            out.append(
                "1 end held, no benefit from it until released"
                if held == 1
                else f"{held} ends held, no benefit from them until released"
            )
        if package["hold"]:
            out.append(f"held: {package['hold']}")
        settled = self._fixes.words(str(package["site_id"]))
        if settled:
            out.append(settled)
        lead = self._sites[str(package["site_id"])]["permit_lead_days"]
        if not pd.isna(lead) and int(lead) > 0:
            out.append(f"permit {int(lead)} days")
        return out

    def left_out(
        self, building: str, site: str, region: Any, ladder: Sequence[Mapping[str, Any]]
    ) -> str:
        """Why a building is not in the programme."""
        if site not in self._sites:
            return f"no survey: site {site} is not in the survey"
        if not ladder:
            return self._without_package(self._openings[building])
        settled = self._fixes.words(site)
        if self._fixes.is_left(site):
            return f"{settled}; {self._worth(ladder[-1])} at its largest package"
        why = self._not_chosen(ladder, region)
        return f"{settled}, but {why}" if settled else why

    def _not_chosen(self, ladder: Sequence[Mapping[str, Any]], region: Any) -> str:
        gains = [p for p in ladder if p["gain"] in ("benefit", "up to", "benefit unknown")]
        if not gains:
            return _no_gain(ladder[-1], self._openings.get(str(ladder[-1]["building_id"])))
        if pd.isna(region) or str(region) not in self._purses:
            return f"no budget for region {region}"
        return self._over_budget(min(gains, key=lambda p: p["cost_minor"]), str(region))

    def _without_package(self, openings: Openings) -> str:
        if not openings.ids:
            return "no survey: no opening of the building is in the survey"
        if openings.is_above.all():
            unsure = ", ".join(openings.unsurveyed)
            said = f" (not surveyed: {unsure})" if unsure else ""
            return f"dry at the policy level: all {len(openings.ids)} openings are above{said}"
        decider = deciding_opening(
            openings.chance_per_year, openings.level_m, np.ones(len(openings.ids), dtype=np.bool_)
        )
        if decider is not None and not openings.is_above[decider]:
            chance = openings.chance_per_year[decider]
            return (
                f"no duct end to seal: {words.named(openings, decider)} decides at "
                f"{words.one_in(float(np.nanmax(chance)), openings.bounds[decider])}"
            )
        open_ones = [i for i, a in zip(openings.ids, openings.is_above, strict=True) if not a]
        shown = ", ".join(open_ones[:_OPENINGS_IN_WORDS])
        return f"no duct end to seal; not above or unknown: {shown}"

    def _over_budget(self, cheapest: Mapping[str, Any], region: str) -> str:
        purse = self._purses[region]
        cost = cheapest["cost_minor"]
        left = int(purse.left_money.max())
        parts = []
        if cost > left:
            more = money_words(cost - left, self._currency)
            parts.append(f"would need {more} more than is left in {region}")
        if cheapest["crew_days"] > float(purse.left_days.max()):
            more_days = cheapest["crew_days"] - float(purse.left_days.max())
            parts.append(f"would need {more_days:.1f} crew-days more than are left in {region}")
        if not parts:
            return (
                f"over budget: money and crew-days of {region} are not left in one year after the "
                f"permit; costs {money_words(cost, self._currency)}"
            )
        return (
            f"over budget: {'; '.join(parts)} (costs {money_words(cost, self._currency)}, "
            f"{self._worth(cheapest)})"
        )


def _times(ratio: float) -> str:
    """A ratio as people say it."""
    return f"{ratio:,.0f} times" if ratio >= 10.0 else f"{ratio:.1f} times"


def _no_gain(package: Mapping[str, Any], openings: Openings | None) -> str:
    """Why a ladder gains nothing."""
    said = [
        part
        for part in str(package["assumed"] or "").split("; ")
        if part.startswith((words.HELD_REASON, "openings of unknown"))
    ]
    why = f" ({'; '.join(said)})" if said else ""
    if package["gain"] == "structural hold":
        level = package["limit_level_m"]
        return (
            f"structural hold: walls and floor may carry water to {level:.3f}, at or below the "
            f"onset as found; {package['hold'] or 'no gain from seals'}"
        )
    if package["before_chance_per_year"] is None:
        count = 0 if openings is None else int(openings.is_unknown.sum())
        many = "1 opening is" if count == 1 else f"{count} openings are"
        told = f"{many} treated as reached by water" if count else "no water level is known there"
        return f"{words.NOT_TOLD}the chance of water inside is not known; {told}{why}"
    return f"no gain because the next gate decides as before: {package['next_gate']}{why}"

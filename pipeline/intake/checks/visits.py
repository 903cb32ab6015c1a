"""Checks of visits: what was missed, permits, age, dry spells."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

from pipeline.intake.checks.view import (
    Check,
    Hit,
    Survey,
    by,
    is_missing,
    is_ours,
    names,
    number_text,
)
from pipeline.intake.context import Checked

_LONG_DRY_DAYS: Final = 14  # house rule
_DAYS_PER_YEAR: Final = 365.25


def check_scope(view: Survey) -> Iterator[Checked]:
    """visit-01: a survey that is not full, without a reason."""
    frame = view.frame("visits")
    mask = frame["scope"].isin(["part", "no access"]) & frame["reason"].isna()
    for hit in view.hits("visits", mask):
        if not view.context.raw("visits", hit.index, "reason").strip():
            fill = {"site": hit.row["site_id"], "scope": hit.row["scope"]}
            yield from view.say("visit-01", [hit], "reason", fill=fill)


def _latest(view: Survey) -> dict[str, Hit]:
    """The latest visit of each site."""
    out: dict[str, Hit] = {}
    for hit in view.hits("visits"):
        site = str(hit.row["site_id"] or "")
        before = out.get(site)
        if before is None or str(hit.row["visit_date"] or "") >= str(
            before.row["visit_date"] or ""
        ):
            out[site] = hit
    return out


def check_permit(view: Survey) -> Iterator[Checked]:
    """visit-05: chambers were entered, and their visit names no permit."""
    visits = {h.id: h for h in view.hits("visits")}
    latest = _latest(view)
    entered = [h for h in view.hits("chambers") if h.row["entered"] is True]

    def visit(hit: Hit) -> Hit | None:
        own = visits.get(str(hit.row["visit_id"] or ""))
        return own or latest.get(str(hit.row["site_id"] or ""))

    def cause(hit: Hit) -> str:
        found = visit(hit)
        return found.id if found else f"no visit {hit.row['site_id']}"

    for group in by(entered, cause):
        found = visit(group[0])
        if found is not None and not is_missing(found.row["permit_ref"]):
            continue
        date = found.row["visit_date"] if found else None
        fill = {"chamber": names(h.id for h in group), "date": date or "a day not stated"}
        yield from view.say("visit-05", group, "entered", fill=fill)


def check_age(view: Survey) -> Iterator[Checked]:
    """visit-06: a survey older than the settings allow, or from before later works."""
    limit = view.settings.surveys.survey_age_years
    sites = view.frame("sites")
    works = dict(zip(sites["site_id"], sites["works_since"], strict=True))
    for site, hit in sorted(_latest(view).items()):
        seen = _date(hit.row["visit_date"])
        if seen is None:
            continue
        age = (view.settings.planning_date - seen).days / _DAYS_PER_YEAR
        since = _date(works.get(site))
        is_overtaken = since is not None and since > seen
        if age > limit or is_overtaken:
            text = f", and work is recorded on {since} since then" if is_overtaken else ""
            fill = {"site": site, "years": number_text(age, 1), "works": text}
            yield from view.say("visit-06", [hit], "visit_date", fill=fill)


def _date(value: Any) -> dt.date | None:
    try:
        return None if is_missing(value) else dt.date.fromisoformat(str(value)[:10])
    except ValueError:
        return None


def check_openings(view: Survey) -> Iterator[Checked]:
    """visit-07: other low openings of a building were not checked."""
    frame = view.frame("buildings")
    hits = view.hits("buildings", frame["other_openings"].fillna("").str.contains("not checked"))
    for group in by(hits, lambda h: (h.row["file"], h.row["site_id"])):
        fill = {"building": names(h.id for h in group)}
        yield from view.say("visit-07", group, "other_openings", fill=fill)


def check_dry_spell(view: Survey) -> Iterator[Checked]:
    """visit-08: ducts were seen dry after a long dry spell."""
    visits = view.frame("visits")
    dry_sites = _dry(view)
    for hit in view.hits("visits", visits["days_since_rain_days"] >= _LONG_DRY_DAYS):
        if hit.row["site_id"] in dry_sites:
            fill = {
                "site": hit.row["site_id"],
                "n": number_text(hit.row["days_since_rain_days"], 0),
            }
            yield from view.say("visit-08", [hit], "days_since_rain_days", fill=fill)


def _dry(view: Survey) -> set[str]:
    """Sites where something was marked dry and nothing wet."""
    dry: set[str] = set()
    wet: set[str] = set()
    for table, column in (("ends", "water_now"), ("chambers", "water_state")):
        for hit in view.hits(table, view.frame(table)[column].notna()):
            if is_ours(hit.id):
                continue
            if hit.row[column] == "dry":
                dry.add(view.site_of(hit))
            elif hit.row[column] != "not seen":
                wet.add(view.site_of(hit))
    return dry - wet


CHECKS: Final = (
    Check(check_scope, ("visit-01",)),
    Check(check_permit, ("visit-05",)),
    Check(check_age, ("visit-06",), needs_settings=True),
    Check(check_openings, ("visit-07",)),
    Check(check_dry_spell, ("visit-08",)),
)

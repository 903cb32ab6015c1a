"""The crews' days against a checker of its own that knows only the rules, on random programmes."""

from __future__ import annotations

import datetime as dt
import itertools
import math

import numpy as np
import pytest

from pipeline.programme.route import Job, Pace, Stint, plan_days

_FIRST = dt.date(2026, 3, 2)
_NOISE = 1e-9


def _world(
    rng: np.random.Generator,
) -> tuple[list[Job], Pace, tuple[float, float] | None, set[int], set[dt.date]]:
    """Jobs, pace, depot, closed months and closed days."""
    pace = Pace(
        day_h=float(rng.uniform(5, 10)),
        setup_h=float(rng.uniform(0, 2)),
        km_per_h=float(rng.uniform(15, 60)),
        travel_factor=float(rng.uniform(1, 1.6)),
    )
    jobs = []
    for n in range(int(rng.integers(1, 12))):
        place = None if rng.random() < 0.1 else tuple(rng.uniform(-30_000, 30_000, 2).tolist())
        ends = [
            (f"S{n}-{e}", float(rng.uniform(0.2, 12 if rng.random() < 0.05 else 3)))
            for e in range(int(rng.integers(1, 15)))
        ]
        jobs.append(Job(f"S{n}", place, _FIRST + dt.timedelta(int(rng.integers(0, 200))), ends))
    base = None if rng.random() < 0.2 else (0.0, 0.0)
    closed = {_FIRST + dt.timedelta(int(d)) for d in rng.integers(0, 300, 12)}
    return jobs, pace, base, set(rng.choice(np.arange(1, 13), 3).tolist()), closed


def _km(pace: Pace, a: tuple[float, float] | None, b: tuple[float, float] | None) -> float:
    if a is None or b is None:
        return 0.0
    return pace.travel_factor * math.dist(a, b) / 1000.0


def _broken_rules(
    stints: list[Stint], jobs: list[Job], pace: Pace, base: tuple[float, float] | None,
    is_open: dict[dt.date, bool],
) -> list[str]:  # fmt: skip
    """Every rule that a plan breaks: hours, lead, season, every end once, one place at a time."""
    of = {j.site_id: j for j in jobs}
    broken = []
    done = [e for s in stints for e in s.end_ids]
    if sorted(done) != sorted(e for j in jobs for e, _ in j.ends):
        broken.append("an end is missing or done twice")
    broken += _broken_dates(stints, of, is_open) + _broken_hours(stints, of, pace, base)
    order = [s.site_id for s in stints]
    runs = [s for n, s in enumerate(order) if n == 0 or order[n - 1] != s]
    if len(runs) != len(set(runs)):
        broken.append("a site is left and begun again")
    return broken


def _broken_dates(
    stints: list[Stint], of: dict[str, Job], is_open: dict[dt.date, bool]
) -> list[str]:
    """Season, permits, and one date for each day number."""
    broken = []
    for stint in stints:
        if not is_open[stint.date]:
            broken.append(f"{stint.date} is closed")
        if stint.date < of[stint.site_id].ready:
            broken.append(f"{stint.site_id} begins before its permit")
    days = _by_day(stints)
    dates = [{s.date for s in day} for _, day in sorted(days.items())]
    if any(len(d) != 1 for d in dates) or sorted(days) != list(range(1, len(days) + 1)):
        broken.append("a day number has no date of its own")
    if any(min(a) >= min(b) for a, b in itertools.pairwise(dates)):
        broken.append("days do not follow each other")
    return broken


def _by_day(stints: list[Stint]) -> dict[int, list[Stint]]:
    days: dict[int, list[Stint]] = {}
    for stint in stints:
        days.setdefault(stint.day_no, []).append(stint)
    return days


def _broken_hours(
    stints: list[Stint], of: dict[str, Job], pace: Pace, base: tuple[float, float] | None
) -> list[str]:
    """Hours of each day; only an end that is longer than a day has one of its own."""
    broken = []
    for day in _by_day(stints).values():
        hours = _hours_of_day(day, of, pace, base)
        if abs(hours - sum(s.hours_h for s in day)) > 1e-6:
            broken.append("hours told are not the hours of way, set-up and ends")
        alone = len(day) == 1 and len(day[0].end_ids) == 1
        if hours > pace.day_h + 1e-6 and not alone:
            broken.append(f"day of {hours:.2f} h")
        if (hours > pace.day_h + 1e-6) != any(s.is_over_day for s in day):
            broken.append("a long day is not marked, or a short one is")
    return broken


def _hours_of_day(
    day: list[Stint], of: dict[str, Job], pace: Pace, base: tuple[float, float] | None
) -> float:
    """Way from the depot, set-up and ends at each site, way home; no way to an unknown place."""
    at, hours = base, 0.0
    for stint in day:
        job = of[stint.site_id]
        hours += _km(pace, at, job.place_m) / pace.km_per_h + pace.setup_h
        hours += sum(dict(job.ends)[e] for e in stint.end_ids)
        at = at if job.place_m is None else job.place_m
    return hours + _km(pace, at, base) / pace.km_per_h


@pytest.mark.parametrize("seed", range(200))
def test_no_rule_is_broken(seed: int) -> None:
    """Hours, permits, seasons, every end once, one place at a time: 200 random programmes."""
    jobs, pace, base, closed_months, closed_days = _world(np.random.default_rng(seed))
    is_open = {
        day: day.weekday() < 5 and day.month not in closed_months and day not in closed_days
        for day in (_FIRST + dt.timedelta(n) for n in range(2500))
    }

    def next_open(day: dt.date) -> dt.date:
        while not is_open[day]:
            day += dt.timedelta(days=1)
        return day

    stints = plan_days(jobs, base_m=base, pace=pace, first_day=_FIRST, next_open=next_open)
    assert _broken_rules(stints, jobs, pace, base, is_open) == []


def test_the_checker_finds_broken_rules() -> None:
    """A plan spoiled on purpose is found out, rule by rule."""
    monday = dt.date(2026, 6, 1)
    is_open = {monday + dt.timedelta(n): n % 7 < 5 for n in range(30)}
    pace = Pace(day_h=8.0, setup_h=1.0, km_per_h=10.0, travel_factor=1.0)
    job = Job("A", (5_000.0, 0.0), monday, [("A-0", 2.0), ("A-1", 2.0)])
    good = Stint(1, monday, "A", ["A-0", "A-1"], hours_h=6.0, travel_km=10.0)
    assert _broken_rules([good], [job], pace, (0.0, 0.0), is_open) == []
    late = Job("A", job.place_m, monday + dt.timedelta(1), job.ends)
    assert _broken_rules([good], [late], pace, (0.0, 0.0), is_open) == [
        "A begins before its permit"
    ]
    sunday = Stint(1, monday + dt.timedelta(6), "A", ["A-0", "A-1"], hours_h=6.0)
    assert _broken_rules([sunday], [job], pace, (0.0, 0.0), is_open) == ["2026-06-07 is closed"]
    half = Stint(1, monday, "A", ["A-0"], hours_h=4.0)
    assert "missing" in _broken_rules([half], [job], pace, (0.0, 0.0), is_open)[0]
    short = Pace(day_h=5.0, setup_h=1.0, km_per_h=10.0, travel_factor=1.0)
    assert "day of 6.00 h" in _broken_rules([good], [job], short, (0.0, 0.0), is_open)

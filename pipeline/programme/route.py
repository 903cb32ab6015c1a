"""The order of sites and the cut into days for one crew. Pure: jobs and a calendar in, days out."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

_NOISE_H: Final = 1e-9


@dataclass(frozen=True)
class Pace:
    """How fast a crew is: hours of a day, hours to set up at a site, km/h, straight line factor."""

    day_h: float
    setup_h: float
    km_per_h: float
    travel_factor: float

    def km(self, a: tuple[float, float] | None, b: tuple[float, float] | None) -> float:
        """Way between two places (m) in km: straight line x factor; 0 where one is not known."""
        if a is None or b is None:
            return 0.0
        return math.hypot(a[0] - b[0], a[1] - b[1]) / 1000.0 * self.travel_factor


@dataclass
class Job:
    """Work at one site: place (m), first day, ends with their hours in walking order.

    A site has one job for each budget year of its buildings.
    """

    site_id: str
    place_m: tuple[float, float] | None
    ready: dt.date
    ends: list[tuple[str, float]]
    year: int = 0

    @property
    def key(self) -> tuple[str, int]:
        """Site and budget year."""
        return self.site_id, self.year


Left = dict[tuple[str, int], tuple[Job, list[tuple[str, float]]]]


@dataclass
class Stint:
    """Work at one site on one day."""

    day_no: int
    date: dt.date
    site_id: str
    end_ids: list[str] = field(default_factory=list)
    hours_h: float = 0.0
    travel_km: float = 0.0
    is_last: bool = False
    is_over_day: bool = False


class _Day:
    """One day of a crew on its way: what is used, where it stands."""

    def __init__(self, number: int, date: dt.date, base: tuple[float, float] | None) -> None:
        self.number, self.date, self.place = number, date, base
        self.used_h = 0.0
        self.stints: list[Stint] = []


def plan_days(
    jobs: list[Job],
    *,
    base_m: tuple[float, float] | None,
    pace: Pace,
    first_day: dt.date,
    next_open: Callable[[dt.date], dt.date],
) -> list[Stint]:
    """Cut the jobs of one crew into days.

    Parameters
    ----------
    jobs : list of Job
        Any order; not changed.
    base_m : tuple of float or None
        Depot where a day begins and ends (m).
    pace : Pace
    first_day : datetime.date
        No work before it.
    next_open : callable
        The given day if the crew may work on it, else the next such day.

    Returns
    -------
    list of Stint
        In order of days; each end stands in exactly one.

    Notes
    -----
    A day starts and ends at the depot. The next job is the nearest one that is ready (the same
    site first, then ties by id and year); a job begun is finished first. An end is never cut; one that alone is longer than a day
    has its own and is marked. Nearest-next is a plain rule, not the shortest round trip.
    """
    left: Left = {j.key: (j, list(j.ends)) for j in sorted(jobs, key=lambda j: j.key) if j.ends}
    date = next_open(first_day)
    number, out = 0, []
    while left:
        ready = [j for j, _ in left.values() if j.ready <= date]
        if not ready:
            date = next_open(max(date, min(j.ready for j, _ in left.values())))
            continue
        number += 1
        day = _Day(number, date, base_m)
        _fill(day, left, base_m, pace)
        out += day.stints
        date = next_open(date + dt.timedelta(days=1))
    return out


def _fill(
    day: _Day,
    left: Left,
    base_m: tuple[float, float] | None,
    pace: Pace,
) -> None:
    begun = _begun(left)
    while True:
        ready = [j for j, _ in left.values() if j.ready <= day.date]
        if not ready:
            break
        job = left[begun][0] if begun in left else min(ready, key=lambda j: _nearest(day, j, pace))
        begun = None
        if not _visit(day, job, left[job.key][1], base_m, pace):
            break
        if left[job.key][1]:
            break
        day.stints[-1].is_last = True
        del left[job.key]
    home = pace.km(day.place, base_m)
    day.stints[-1].travel_km += home
    day.stints[-1].hours_h += home / pace.km_per_h


def _nearest(day: _Day, job: Job, pace: Pace) -> tuple[bool, float, tuple[str, int]]:
    """Where the crew stands first, so that a site has one stint a day; then by the way to go."""
    return (not _is_here(day, job), pace.km(day.place, job.place_m), job.key)


def _is_here(day: _Day, job: Job) -> bool:
    return bool(day.stints) and day.stints[-1].site_id == job.site_id


def _begun(left: Left) -> tuple[str, int] | None:
    """The job that was begun and not finished, if there is one."""
    begun = [s for s, (job, ends) in left.items() if len(ends) < len(job.ends)]
    return begun[0] if begun else None


def _visit(
    day: _Day,
    job: Job,
    ends: list[tuple[str, float]],
    base_m: tuple[float, float] | None,
    pace: Pace,
) -> bool:
    """Work at a site as far as the day goes; False when not even one end fits."""
    is_here = _is_here(day, job)
    km = 0.0 if is_here else pace.km(day.place, job.place_m)
    way_h = km / pace.km_per_h
    setup_h = 0.0 if is_here else pace.setup_h
    # at a site without a position the crew has still to come home from where it was before
    stands = day.place if job.place_m is None else job.place_m
    home_h = pace.km(stands, base_m) / pace.km_per_h
    start_h = day.used_h + way_h + setup_h
    alone = not day.stints
    if not alone and start_h + ends[0][1] + home_h > pace.day_h + _NOISE_H:
        return False
    if is_here:  # the next budget year's work at the same site: one stint
        stint = day.stints.pop()
        stint.is_last = False
    else:
        stint = Stint(day.number, day.date, job.site_id, travel_km=km, hours_h=way_h + setup_h)
    day.used_h = start_h
    while ends and (
        day.used_h + ends[0][1] + home_h <= pace.day_h + _NOISE_H or (alone and not stint.end_ids)
    ):
        end, hours = ends.pop(0)
        stint.end_ids.append(end)
        stint.hours_h += hours
        day.used_h += hours
    stint.is_over_day = day.used_h + home_h > pace.day_h + _NOISE_H
    day.place = stands
    day.stints.append(stint)
    return True

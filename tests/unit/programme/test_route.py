"""Cutting jobs into crew days, worked by hand."""

from __future__ import annotations

import datetime as dt

import pytest

from pipeline.programme.route import Job, Pace, plan_days

_MONDAY = dt.date(2026, 6, 1)
# 8 h a day, 1 h to set up, 10 km/h, straight line x 1.0: every number below is by hand
_PACE = Pace(day_h=8.0, setup_h=1.0, km_per_h=10.0, travel_factor=1.0)


def _weekdays(day: dt.date) -> dt.date:
    while day.weekday() >= 5:
        day += dt.timedelta(days=1)
    return day


def _job(site: str, x_km: float, hours: list[float], ready: dt.date = _MONDAY) -> Job:
    return Job(site, (x_km * 1000.0, 0.0), ready, [(f"{site}-{n}", h) for n, h in enumerate(hours)])


def _plan(jobs: list[Job]) -> list[tuple[int, str, tuple[str, ...]]]:
    stints = plan_days(jobs, base_m=(0.0, 0.0), pace=_PACE, first_day=_MONDAY, next_open=_weekdays)
    return [(s.day_no, s.site_id, tuple(s.end_ids)) for s in stints]


def test_two_sites_fit_one_day() -> None:
    """A at 5 km, B at 10 km: 0.5 way + 1 + 1 end, 0.5 way + 1 + 2 ends, 1.0 home = 7.0 h of 8."""
    jobs = [_job("B", 10, [1, 1]), _job("A", 5, [1])]
    stints = plan_days(jobs, base_m=(0.0, 0.0), pace=_PACE, first_day=_MONDAY, next_open=_weekdays)
    assert [s.site_id for s in stints] == ["A", "B"]
    assert [s.hours_h for s in stints] == pytest.approx([2.5, 4.5])
    assert [s.travel_km for s in stints] == pytest.approx([5.0, 15.0])


def test_a_site_goes_on_the_next_day() -> None:
    """5 km: 0.5 + 1 + ends + 0.5 <= 8 leaves 6 h: three ends of 2 h, the fourth on Tuesday."""
    assert _plan([_job("A", 5, [2, 2, 2, 2])]) == [
        (1, "A", ("A-0", "A-1", "A-2")),
        (2, "A", ("A-3",)),
    ]


def test_permit_decides_the_day() -> None:
    """A nearer site whose permit comes on Thursday waits; no day is counted for waiting."""
    near = _job("A", 1, [1], ready=dt.date(2026, 6, 4))
    stints = plan_days(
        [near, _job("B", 9, [1])],
        base_m=(0.0, 0.0),
        pace=_PACE,
        first_day=_MONDAY,
        next_open=_weekdays,
    )
    assert [(s.day_no, s.date, s.site_id) for s in stints] == [
        (1, _MONDAY, "B"),
        (2, dt.date(2026, 6, 4), "A"),
    ]


def test_weekend_is_left_out() -> None:
    """Six days of work from Monday end on the Monday after."""
    stints = plan_days(
        [_job("A", 0, [7.0] * 6)],
        base_m=(0.0, 0.0),
        pace=_PACE,
        first_day=_MONDAY,
        next_open=_weekdays,
    )
    assert stints[-1].date == dt.date(2026, 6, 8)
    assert stints[-1].is_last


def test_an_end_longer_than_a_day_has_its_own() -> None:
    """Nothing is lost or cut: the long end stands alone and is marked."""
    stints = plan_days(
        [_job("A", 5, [1.0, 9.0, 1.0])],
        base_m=(0.0, 0.0),
        pace=_PACE,
        first_day=_MONDAY,
        next_open=_weekdays,
    )
    assert [(s.end_ids, s.is_over_day) for s in stints] == [
        (["A-0"], False),
        (["A-1"], True),
        (["A-2"], False),
    ]


def test_every_end_once_and_input_untouched() -> None:
    """Twenty sites: each end stands in exactly one day, and the jobs are as they were."""
    jobs = [_job(f"S{n:02}", n * 1.7 % 11, [0.5 + n % 4] * (1 + n % 5)) for n in range(20)]
    before = [list(j.ends) for j in jobs]
    planned = [e for _, _, ends in _plan(jobs) for e in ends]
    assert sorted(planned) == sorted(e for ends in before for e, _ in ends)
    assert len(planned) == len(set(planned))
    assert [j.ends for j in jobs] == before
    assert _plan(jobs) == _plan(list(reversed(jobs)))


def test_a_site_is_visited_in_each_year_of_its_buildings() -> None:
    """Work of 2026 does not wait for the site's work of 2027; it is begun afresh then."""
    early = _job("A", 5, [2])
    late = Job("A", (5000.0, 0.0), dt.date(2027, 1, 1), [("A-late", 2.0)], 2027)
    early.year = 2026
    stints = plan_days(
        [late, early], base_m=(0.0, 0.0), pace=_PACE, first_day=_MONDAY, next_open=_weekdays
    )
    assert [(s.date, s.end_ids, s.is_last) for s in stints] == [
        (_MONDAY, ["A-0"], True),
        (dt.date(2027, 1, 1), ["A-late"], True),
    ]


def test_two_years_of_a_site_on_one_day_are_one_stint() -> None:
    """A at 5 km twice, B as near on the other side: one set-up at A, 0.5 + 1 + 1 + 2 h, then B.

    B: 1.0 way + 1 + 1 + 0.5 home, in all 8.0 h of 8.
    """
    one, two = _job("A", 5, [1]), Job("A", (5000.0, 0.0), _MONDAY, [("A-x", 2.0)], 2027)
    stints = plan_days(
        [_job("B", -5, [1]), two, one],
        base_m=(0.0, 0.0), pace=_PACE, first_day=_MONDAY, next_open=_weekdays,
    )  # fmt: skip
    assert [(s.day_no, s.site_id, s.end_ids) for s in stints] == [
        (1, "A", ["A-0", "A-x"]),
        (1, "B", ["B-0"]),
    ]
    assert [s.hours_h for s in stints] == pytest.approx([4.5, 3.5])
    assert stints[0].travel_km == pytest.approx(5.0)


def test_a_stint_that_goes_on_is_not_the_last() -> None:
    """The second year's work is longer than the day: the site is not finished on Monday."""
    one, two = _job("A", 0, [1]), Job("A", (0.0, 0.0), _MONDAY, [("x", 4.0), ("y", 4.0)], 2027)
    stints = plan_days(
        [one, two], base_m=(0.0, 0.0), pace=_PACE, first_day=_MONDAY, next_open=_weekdays
    )
    assert [(s.end_ids, s.is_last) for s in stints] == [(["A-0", "x"], False), (["y"], True)]

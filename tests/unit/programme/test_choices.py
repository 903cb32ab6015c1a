"""The choice as tables: budgets kept, ranks, reasons, years, crew days of what was chosen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from pipeline.core.late_work import last_days, late_lines
from pipeline.core.settings import Budget, Settings
from pipeline.tables import Tables

Run = Callable[[Tables, Settings], Tables]


def _simple(town: Any, number: int, *, customers: int, ends: int = 1, **more: Any) -> None:
    site, building = f"S{number}", f"B{number}"
    town.site(site, customers_count=customers, **more)
    town.building(building, site)
    for n in range(ends):
        town.opening(f"{building}-{n}", building, level_m=20.2, chances={"river": 0.05})
    for kind, level in (("vent", 20.9), ("door", 21.0)):
        town.opening(
            f"{building}/{kind}",
            building,
            level_m=level,
            chances={"river": 0.002},
            kind=kind,
            level_class="above",
        )
    town.flood(building, 0.01, None, ground_m=21.0)


def _with(settings: Settings, *budgets: tuple[int, float, float]) -> Settings:
    rows = tuple(Budget(region="North", year=y, money=m, crew_days=d) for y, m, d in budgets)
    return settings.model_copy(update={"budget": rows})


def test_rank_reason_and_over_budget(town: Any, settings: Settings, run: Run) -> None:
    """Money for one of two: the one with more customers is in; the other says what it needs."""
    _simple(town, 1, customers=100)
    _simple(town, 2, customers=8200)
    made = run(town.tables(), _with(settings, (2026, 1500, 5)))
    rows = {r["building_id"]: r for r in made["choices"].to_dict("records")}
    assert (rows["B2"]["is_chosen"], rows["B2"]["rank"]) == (True, 1)
    reason = rows["B2"]["reason"]
    assert reason.startswith("loss avoided ")
    assert "times its cost; water inside at 1 in 20 a year; 8,200 customers, no back-feed" in reason
    assert "over budget: would need" in rows["B1"]["left_out_reason"]
    (plan,) = made["plans"].to_dict("records")
    assert plan["spent_minor"] == rows["B2"]["cost_minor"] <= plan["budget_minor"]
    assert plan["pv_greedy_minor"] <= plan["pv_avoided_minor"] <= plan["bound_minor"]


def test_money_ties_to_the_row(town: Any, settings: Settings, run: Run) -> None:
    """Spent of every region and year = sum of the chosen buildings' costs."""
    for n in range(1, 9):
        _simple(town, n, customers=500 * n, ends=1 + n % 3)
    made = run(town.tables(), _with(settings, (2026, 4000, 4), (2027, 3500, 4)))
    chosen = made["choices"][made["choices"]["is_chosen"]]
    for plan in made["plans"].to_dict("records"):
        mine = chosen[chosen["year"] == plan["year"]]
        assert plan["spent_minor"] == mine["cost_minor"].sum() <= plan["budget_minor"]
        assert plan["spent_crew_days"] == pytest.approx(mine["crew_days"].sum())
        assert plan["spent_crew_days"] <= plan["budget_crew_days"] + 1e-9
        assert plan["pv_avoided_minor"] == mine["pv_avoided_minor"].sum()
        assert plan["pv_greedy_minor"] <= plan["pv_avoided_minor"] <= plan["bound_minor"]
    ranks = sorted(chosen["rank"].tolist())
    assert ranks == list(range(1, len(chosen) + 1))
    by_rank = chosen.sort_values("rank")
    assert by_rank["ratio"].is_monotonic_decreasing


def test_ties_go_by_site(town: Any, settings: Settings, run: Run) -> None:
    """Two equal buildings: the lower site id comes first."""
    _simple(town, 2, customers=1000)
    _simple(town, 1, customers=1000)
    made = run(town.tables(), settings)
    ranked = made["choices"].sort_values("rank")["site_id"].tolist()
    assert ranked == ["S1", "S2"]


def test_unknown_benefit_takes_what_is_left(town: Any, settings: Settings, run: Run) -> None:
    """A building of unknown benefit never pushes out a known one, and comes after it."""
    _simple(town, 1, customers=10)
    town.site("S9", customers_count=90000)
    town.building("B9", "S9", other_openings=None)
    town.opening("B9-1", "B9", level_m=None, chances={}, level_class="no level")
    town.opening("B9-2", "B9", level_m=20.0, chances={"river": 0.09})
    value = settings.value.model_copy(update={"unknown_doors": "benefit unknown"})
    base = settings.model_copy(update={"value": value})
    tables = town.tables()
    both = run(tables, _with(base, (2026, 9000, 9)))["choices"].set_index("building_id")
    assert both["rank"].to_dict() == {"B1": 1, "B9": 2}
    assert pd.isna(both.at["B9", "pv_avoided_minor"])
    one = run(tables, _with(base, (2026, 1500, 9)))["choices"].set_index("building_id")
    assert one["is_chosen"].to_dict() == {"B1": True, "B9": False}


def test_late_permit_moves_the_year(town: Any, settings: Settings, run: Run) -> None:
    """A permit of 330 days from March 2026 ends in January 2027: not on offer in 2026."""
    _simple(town, 1, customers=1000, permit_lead_days=330)
    made = run(town.tables(), _with(settings, (2026, 9000, 9), (2027, 9000, 9)))
    (row,) = made["choices"].to_dict("records")
    assert row["year"] == 2027
    assert made["crew_days"]["work_date"].min() >= "2027-03-01"  # January and February are closed


def _sealed(town: Any, *ends: str) -> None:
    """Mark ends as sealed by record, waiting for acceptance."""
    for row in town.rows["designs"]:
        row["is_made"] = row["end_id"] in ends


def test_what_is_sealed_ranks_after_work_to_be_done(
    town: Any, settings: Settings, run: Run
) -> None:
    """The best ratio, but both ends sealed: last, in every case, and its line begins with why."""
    _simple(town, 1, customers=90000, ends=2)
    _simple(town, 2, customers=500)
    _simple(town, 3, customers=1000)
    before = run(town.tables(), _with(settings, (2026, 9000, 9)))["choices"]
    assert before.set_index("building_id")["rank"].to_dict() == {"B1": 1, "B3": 2, "B2": 3}
    _sealed(town, "B1-0", "B1-1")
    made = run(town.tables(), _with(settings, (2026, 9000, 9)))
    rows = made["choices"].set_index("building_id")
    assert rows["rank"].to_dict() == {"B3": 1, "B2": 2, "B1": 3}
    assert rows.at["B1", "reason"].startswith("done: all of its 2 ends are sealed by record")
    assert "after work still to be done" in rows.at["B1", "reason"]
    cases = made["rank_cases"]
    assert set(cases.loc[cases["building_id"] == "B1", "rank"]) == {3}
    assert "B1" not in set(made["crew_days"]["building_ids"])


def test_partly_sealed_keeps_its_rank(town: Any, settings: Settings, run: Run) -> None:
    """One of two ends sealed: there is work to do, the rank stays, the line says what waits."""
    _simple(town, 1, customers=90000, ends=2)
    _simple(town, 2, customers=500)
    _sealed(town, "B1-0")
    rows = run(town.tables(), _with(settings, (2026, 9000, 9)))["choices"].set_index("building_id")
    assert rows["rank"].to_dict() == {"B1": 1, "B2": 2}
    assert not rows.at["B1", "reason"].startswith("done")
    assert "1 of its ends are sealed and wait for acceptance" in rows.at["B1", "reason"]


def test_a_site_with_two_budget_years_keeps_both(town: Any, settings: Settings, run: Run) -> None:
    """Money for one building a year: each is worked on in its own year, not both in the later."""
    _simple(town, 1, customers=9000)
    town.building("B7", "S1")
    town.opening("B7-0", "B7", level_m=20.2, chances={"river": 0.05})
    for kind, level in (("vent", 20.9), ("door", 21.0)):
        town.opening(
            f"B7/{kind}", "B7", level_m=level, chances={"river": 0.002}, kind=kind,
            level_class="above",
        )  # fmt: skip
    town.flood("B7", 0.01, None, ground_m=21.0)
    made = run(town.tables(), _with(settings, (2026, 1500, 5), (2027, 1500, 5)))
    year = made["choices"].set_index("building_id")["year"].to_dict()
    assert sorted(year.values()) == [2026, 2027]
    days = made["crew_days"].set_index("building_ids")["work_date"]
    assert {b: int(days[b][:4]) for b in ("B1", "B7")} == year
    assert not made["crew_days"]["note"].str.contains("after budget year").any()


def test_work_past_its_budget_year_is_told_by_days(town: Any, settings: Settings, run: Run) -> None:
    """Seven ends of a whole day each from the last week of November: December to February closed.

    From Wed 25 November 2026 four weekdays are left (25 to 27, 30); the fifth day is Mon 1 March
    2027, 60 days after 31 December (31 + 28 + 1), the last two are 2 and 3 March: 62.
    """
    _simple(town, 1, customers=9000, ends=7)
    for row in town.rows["designs"]:
        row["hours_h"] = 6.0
    crews = settings.crews.model_copy(update={"first_day": dt.date(2026, 11, 25)})
    base = settings.model_copy(update={"crews": crews})
    made = run(town.tables(), _with(base, (2026, 99000, 9)))
    assert made["choices"]["year"].tolist() == [2026]
    (last,) = last_days(made["choices"], made["crew_days"]).values()
    assert (last.date, last.past_year_days) == (dt.date(2027, 3, 3), 62)
    assert "after budget year 2026" in made["crew_days"]["note"].iloc[-1]
    (line,) = late_lines(made["choices"], made["crew_days"])
    assert line.startswith("1 chosen building runs past the budget year")
    assert "B1, by 62 days" in line


def test_left_out_words(town: Any, settings: Settings, run: Run) -> None:
    """Dry at the policy level and no survey at all are two different reasons."""
    town.site("S1")
    town.building("B1", "S1")
    town.building("B2", "S1")
    town.opening("B1-1", "B1", level_m=25.0, chances={"river": 0.0005}, level_class="above")
    tables = town.tables()
    rows = run(tables, settings)["choices"].set_index("building_id")["left_out_reason"]
    assert rows["B1"].startswith("dry at the policy level")
    assert rows["B2"].startswith("no survey")


def test_crew_days_hold_the_chosen_ends_once(town: Any, settings: Settings, run: Run) -> None:
    """Every designed end of the chosen packages stands in one day; weekdays and open days only."""
    for n in range(1, 6):
        _simple(town, n, customers=1000, ends=6)
    made = run(town.tables(), _with(settings, (2026, 99000, 99)))
    ends = [e for row in made["crew_days"]["end_ids"] for e in row.split(";")]
    assert sorted(ends) == sorted(f"B{b}-{n}" for b in range(1, 6) for n in range(6))
    days = pd.to_datetime(made["crew_days"]["work_date"])
    assert (days.dt.day_of_week < 5).all()
    assert not set(days.dt.month) & {12, 1, 2}
    assert (made["crew_days"]["work_date"] >= "2026-05-05").all()  # 4 May is closed for all
    assert (made["crew_days"].groupby("day_no")["hours_h"].sum() <= 7.5 + 1e-9).all()


def test_row_order_does_not_matter(town: Any, settings: Settings, run: Run) -> None:
    """The same survey in another row order gives the same tables."""
    for n in range(1, 6):
        _simple(town, n, customers=300 * n, ends=n)
    tables = town.tables()
    turned = {k: v.iloc[::-1].reset_index(drop=True) for k, v in tables.items()}
    one, two = run(tables, settings), run(turned, settings)
    for name in (
        "packages", "choices", "plans", "crew_days", "settled", "budget_curve", "rank_cases",
        "site_months",
    ):  # fmt: skip
        pd.testing.assert_frame_equal(one[name], two[name])

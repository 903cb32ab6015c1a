"""What is settled: sites done, left and put off, the least of a region, and what each costs."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from pydantic import ValidationError

from pipeline.core import settings_file
from pipeline.core.errors import UsageError
from pipeline.core.settings import Budget, Fixed, Programme, RegionMinimum, Settings
from pipeline.tables import Tables

_ROOT = Path(__file__).parents[3]
Run = Callable[[Tables, Settings], Tables]


def _three(town: Any) -> None:
    """Three buildings alike but for their customers: each package costs the same."""
    for n, customers in ((1, 100), (2, 3000), (3, 9000)):
        site, building = f"S{n}", f"B{n}"
        town.site(site, customers_count=customers)
        town.building(building, site)
        town.opening(f"{building}-1", building, level_m=20.2, chances={"river": 0.05})
        for kind, level in (("vent", 20.9), ("door", 21.0)):
            town.opening(
                f"{building}/{kind}", building, level_m=level, chances={"river": 0.002},
                kind=kind, level_class="above",
            )  # fmt: skip
        town.flood(building, 0.01, None, ground_m=21.0)


def _with(settings: Settings, *budgets: tuple[int, float], **settled: Any) -> Settings:
    return settings.model_copy(
        update={
            "budget": tuple(
                Budget(region="North", year=y, money=m, crew_days=9) for y, m in budgets
            ),
            "programme": settings.programme.model_copy(update=settled),
        }
    )


def _worth(made: Tables) -> dict[str, int]:
    rows = made["packages"].to_dict("records")
    return {str(r["building_id"]): int(r["pv_avoided_minor"]) for r in rows}


def test_do_it_pushes_out_the_better_one_and_tells_the_cost(
    town: Any, settings: Settings, run: Run
) -> None:
    """Money for one: B3 is worth most; settled S1 takes its place and costs B3's worth less B1's."""
    _three(town)
    fixed = Fixed(site_id="S1", what="do it", because="promised")
    made = run(town.tables(), _with(settings, (2026, 1500), fixed=(fixed,)))
    chosen = made["choices"][made["choices"]["is_chosen"]]
    assert chosen["building_id"].tolist() == ["B1"]
    assert "settled to be done (promised)" in chosen["reason"].iloc[0]
    (row,) = made["settled"].to_dict("records")
    worth = _worth(made)
    assert row["pv_lost_minor"] == worth["B3"] - worth["B1"] > 0
    assert (row["pv_with_minor"], row["pv_without_minor"]) == (worth["B1"], worth["B3"])
    assert row["is_kept"]


def test_leave_it_frees_the_money(town: Any, settings: Settings, run: Run) -> None:
    """S3 settled to be left: B2 comes in, and the reason of B3 says so."""
    _three(town)
    fixed = Fixed(site_id="S3", what="leave it", because="to be rebuilt")
    made = run(town.tables(), _with(settings, (2026, 1500), fixed=(fixed,)))
    rows = made["choices"].set_index("building_id")
    assert rows["is_chosen"].to_dict() == {"B1": False, "B2": True, "B3": False}
    assert rows.at["B3", "left_out_reason"].startswith("settled to be left (to be rebuilt)")
    worth = _worth(made)
    assert made["settled"]["pv_lost_minor"].tolist() == [worth["B3"] - worth["B2"]]


def test_not_before_moves_year_and_crew(town: Any, settings: Settings, run: Run) -> None:
    """Not before May 2027: budget year 2027, first crew day not before; costs a year's discount."""
    _three(town)
    fixed = Fixed(
        site_id="S3", what="not before", not_before=dt.date(2027, 5, 10), because="switchgear"
    )
    made = run(town.tables(), _with(settings, (2026, 9000), (2027, 9000), fixed=(fixed,)))
    row = made["choices"].set_index("building_id").loc["B3"]
    assert row["year"] == 2027
    days = made["crew_days"].set_index("site_id")["work_date"]
    assert days["S3"] >= "2027-05-10"
    assert days["S2"] < "2027-01-01"
    (one,) = made["settled"].to_dict("records")
    # one year at the schedule's first rate, by hand
    first_rate = settings.value.discount.steps[0].rate_frac
    lost = _worth(made)["B3"] * (1 - 1 / (1 + first_rate))
    assert one["pv_lost_minor"] == pytest.approx(lost, abs=2)
    months = made["site_months"].set_index(["site_id", "month"])["state"]
    assert months["S3", "2026-09"] == "not before 2027-05-10"
    assert months["S3", "2027-05"] == "open from 2027-05-10"


def test_least_of_a_region(town: Any, settings: Settings, run: Run) -> None:
    """The dear building alone is worth most; at least two buildings takes the two cheap ones."""
    for n, customers, ends in ((1, 100, 1), (2, 200, 1), (3, 9000, 12)):
        site, building = f"S{n}", f"B{n}"
        town.site(site, customers_count=customers)
        town.building(building, site)
        for e in range(ends):
            town.opening(f"{building}-{e:02}", building, level_m=20.2, chances={"river": 0.05})
        for kind, level in (("vent", 20.9), ("door", 21.0)):
            town.opening(
                f"{building}/{kind}", building, level_m=level, chances={"river": 0.002},
                kind=kind, level_class="above",
            )  # fmt: skip
        town.flood(building, 0.01, None, ground_m=21.0)
    tables = town.tables()
    plain = run(tables, _with(settings, (2026, 2700)))
    chosen = plain["choices"][plain["choices"]["is_chosen"]]["building_id"].tolist()
    least = RegionMinimum(region="North", buildings_count=2, because="fair share")
    made = run(tables, _with(settings, (2026, 2700), region_minimum=(least,)))
    then = made["choices"][made["choices"]["is_chosen"]]["building_id"].tolist()
    assert (chosen, then) == (["B3"], ["B1", "B2"])
    (row,) = made["settled"].to_dict("records")
    worth = _worth(made)
    assert row["pv_lost_minor"] == worth["B3"] - worth["B1"] - worth["B2"] > 0


def test_no_room_is_told(town: Any, settings: Settings, run: Run) -> None:
    """A site to be done that no budget pays for stays out, and both tables say why."""
    _three(town)
    fixed = (
        Fixed(site_id="S1", what="do it", because="promised"),
        Fixed(site_id="S77", what="do it", because="a slip of the pen"),
    )
    made = run(town.tables(), _with(settings, (2026, 5), fixed=fixed))
    rows = made["settled"].to_dict("records")
    assert [r["is_kept"] for r in rows] == [False, False, False]
    assert rows[0]["words"].startswith("no room in the budgets for B1")
    assert rows[1]["words"] == "the site is not in this run"
    reason = made["choices"].set_index("building_id").at["B1", "left_out_reason"]
    assert reason.startswith("settled to be done (promised), but over budget")


def test_contradictions_are_refused(town: Any, settings: Settings, run: Run) -> None:
    """Done and left at once stops the run; a day belongs to 'not before' and to nothing else."""
    _three(town)
    both = tuple(Fixed(site_id="S1", what=w, because="x") for w in ("do it", "leave it"))
    with pytest.raises(UsageError, match="both to be done and to be left"):
        run(town.tables(), _with(settings, (2026, 1500), fixed=both))
    with pytest.raises(ValidationError, match="needs the day"):
        Fixed(site_id="S1", what="not before", because="x")


def test_nothing_settled_changes_nothing(town: Any, settings: Settings, run: Run) -> None:
    """Without fixes the table is empty."""
    _three(town)
    assert run(town.tables(), _with(settings, (2026, 1500)))["settled"].empty


def test_budget_curve_by_enumeration(town: Any, settings: Settings, run: Run) -> None:
    """Each point is the best set of buildings that its money pays for, found by trying all sets."""
    _three(town)
    made = run(town.tables(), _with(settings, (2026, 2600)))
    packages = made["packages"].to_dict("records")
    curve = made["budget_curve"]
    for point in curve[curve["region"] == "North"].to_dict("records"):
        best = 0
        for bits in range(8):
            taken = [p for n, p in enumerate(packages) if bits >> n & 1]
            if sum(p["cost_minor"] for p in taken) <= point["money_minor"]:
                best = max(best, sum(p["pv_avoided_minor"] for p in taken))
        assert point["pv_avoided_minor"] == best
    whole = curve[(curve["money_frac"] == 1.0) & (curve["region"] == "North")].iloc[0]
    assert whole["pv_change_minor"] == 0
    assert whole["pv_avoided_minor"] == made["plans"]["pv_avoided_minor"].sum()
    less = curve[(curve["money_frac"] == 0.8) & (curve["region"] == "North")].iloc[0]
    gone = set(str(less["dropped_building_ids"]).split(";"))
    assert less["pv_change_minor"] == -sum(_worth(made)[b] for b in gone if b in _worth(made))


def test_open_days_of_a_month(town: Any, settings: Settings, run: Run) -> None:
    """September 2026 has 22 weekdays (any calendar); winter months are closed; March waits."""
    _three(town)
    made = run(town.tables(), _with(settings, (2026, 9000)))
    month = made["site_months"].set_index(["site_id", "month"]).loc[("S1", "2026-09")]
    assert month["open_days"] == 22
    assert month["state"] == "open"
    rows = made["site_months"].set_index(["site_id", "month"])["state"]
    assert rows["S1", "2026-12"] == "closed season"
    assert rows["S1", "2026-03"].startswith("not before 2026-05-0")
    planned = made["crew_days"].groupby("site_id")["work_date"].nunique()
    told = made["site_months"].groupby("site_id")["planned_days"].sum()
    pd.testing.assert_series_equal(told, planned, check_names=False, check_dtype=False)


def test_flood_warning_words(town: Any, settings: Settings, run: Run) -> None:
    """Every crew day names the water that can get to the site; an unknown opening means any flood."""
    _three(town)
    town.opening("B2-9", "B2", level_m=None, chances={"sea": None}, level_class="no level")
    days = run(town.tables(), _with(settings, (2026, 9000)))["crew_days"]
    words = days.set_index("site_id")["stop_words"]
    assert "(river)" in words["S1"]
    assert words["S2"].startswith("no work while any flood warning stands")


def test_the_example_shows_keys_that_work() -> None:
    """The lines that the example file shows switched off are read when they are switched on."""
    text = (_ROOT / "configs" / "example.toml").read_text("utf-8")
    head = text[: text.index("[reference]")]
    off, on = head.split("# [[programme.fixed]]")
    on = "\n".join(line.removeprefix("# ") for line in f"# [[programme.fixed]]{on}".splitlines())
    programme = Programme.model_validate(tomllib.loads(off + on)["programme"])
    (fixed,), (least,) = programme.fixed, programme.region_minimum
    assert (fixed.site_id, fixed.what) == ("N01", "do it")
    assert (least.region, least.buildings_count) == ("Isles", 2)
    assert settings_file.load(_ROOT / "configs" / "example.toml").programme.fixed == ()


def test_least_of_an_unknown_region_is_refused(town: Any, settings: Settings, run: Run) -> None:
    """A slip in a region's name stops the run and is named."""
    _three(town)
    least = RegionMinimum(region="Nroth", buildings_count=2, because="x")
    with pytest.raises(UsageError, match="Nroth"):
        run(town.tables(), _with(settings, (2026, 1500), region_minimum=(least,)))

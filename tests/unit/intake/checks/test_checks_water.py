"""The checks of flood rows and of visits."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.intake.context import Checked

FLOOD = {"flood_id": "F1", "applies_to": "S1", "source": "river", "kind": "report",
         "event": "1 %", "aep_per_year": 0.01, "climate": "none", "defences": "without",
         "value_is": "level", "value_m": 20.6, "datum": "D", "freeboard_in": "no",
         "issued": "2029-03-01"}  # fmt: skip
VISIT = {"visit_id": "V1", "site_id": "S1", "visit_date": "2030-06-01", "scope": "full",
         "permit_ref": "PR-7"}  # fmt: skip


def _floods(*rows: dict[str, Any], **site: Any) -> dict[str, Any]:
    named = [FLOOD | {"flood_id": f"F{i + 1}"} | r for i, r in enumerate(rows)]
    covers = [{"chamber_id": "C1", "site_id": "S1", "cover_level_m": 20.0}]
    return {"sites": [{"site_id": "S1"} | site], "chambers": covers, "flood_levels": named}


def _visit(chamber: dict[str, Any] | None = None, **visit: Any) -> dict[str, Any]:
    return {
        "sites": [{"site_id": "S1"}],
        "visits": [VISIT | visit],
        "chambers": [{"chamber_id": "C1", "site_id": "S1"} | (chamber or {})],
    }


CASES: list[dict[str, Any]] = [
    {
        "code": "water-02",
        "values": ("value_m",),
        "tables": _floods({"value_m": 0.6}),
        "at": ("flood_levels", 0, "value_m"),
        "quiet": {("flood_levels", 0, "value_is"): "depth above ground"},
        "says": "the ground here is 20 m",
    },
    {
        "code": "water-03",
        "tables": _floods({"value_m": 19.2}, flood_history="yes"),
        "at": ("flood_levels", 0, "value_m"),
        "quiet": {("sites", 0, "flood_history"): "none known"},
        "says": "below the ground (20 m)",
    },
    {
        "code": "water-04",
        "tables": _floods({"event": "0.1 %", "aep_per_year": 0.001, "value_m": 20.5}, {}),
        "at": ("flood_levels", 0, "value_m"),
        "quiet": {("flood_levels", 0, "value_m"): 20.6},
        "rows": 2,
        "values": ("value_m",),
        "says": "the 0.1 % level (20.5 m) is lower than the 1 % level (20.6 m)",
    },
    {
        "code": "water-05",
        "tables": _floods({"climate": "unknown"}),
        "at": ("flood_levels", 0, "climate"),
        "quiet": {("flood_levels", 0, "climate"): "included"},
        "says": "20.6 m",
    },
    {
        "code": "water-06",
        "tables": _floods({"datum": None}),
        "at": ("flood_levels", 0, "datum"),
        "quiet": {("flood_levels", 0, "datum"): "D"},
        "values": ("value_m",),
    },
    {
        "code": "water-11",
        "tables": _floods({"freeboard_in": "yes", "freeboard_in_m": 0.3}),
        "at": ("flood_levels", 0, "freeboard_in"),
        "quiet": {("flood_levels", 0, "freeboard_in"): "no"},
        "says": "0.3 m of freeboard in its 20.6 m",
    },
    {
        "code": "water-12",
        "tables": _floods({"event": "very rare", "aep_per_year": None}),
        "at": ("flood_levels", 0, "event"),
        "quiet": {("flood_levels", 0, "aep_per_year"): 0.01},
        "says": '"very rare"',
    },
    {
        "code": "water-15",
        "tables": _floods({"issued": "2024-12-31"}),
        "at": ("flood_levels", 0, "issued"),
        "quiet": {("flood_levels", 0, "issued"): "2025-01-01"},  # 2031 less six years
        "says": "asks for 2025",
    },
    {
        "code": "water-16",
        "tables": _floods(
            {},
            {
                "source": "past flood",
                "event": "past: 1953-01-31",
                "past_date": "1953-01-31",
                "aep_per_year": None,
                "value_m": 20.601,
            },
        ),
        "at": ("flood_levels", 1, "value_m"),
        "quiet": {("flood_levels", 1, "value_m"): 20.6},
        "says": "1953-01-31 is 20.601 m, above the design level 20.6 m",
    },
    {
        "code": "visit-01",
        "tables": _visit(scope="part"),
        "at": ("visits", 0, "reason"),
        "quiet": {("visits", 0, "reason"): "locked"},
    },
    {
        "code": "visit-05",
        "tables": _visit({"entered": True}, permit_ref=None),
        "at": ("chambers", 0, "entered"),
        "quiet": {("visits", 0, "permit_ref"): "PR-7"},
        "says": "C1 was entered on 2030-06-01",
    },
    {
        "code": "visit-06",
        "tables": _visit(visit_date="2028-04-01"),  # planning date 2031-05-01, limit 3 years
        "at": ("visits", 0, "visit_date"),
        "quiet": {("visits", 0, "visit_date"): "2028-06-01"},
        "says": "3.1 years old",
    },
    {
        "code": "visit-07",
        "tables": {"buildings": [{"building_id": "B1", "other_openings": "not checked"}]},
        "at": ("buildings", 0, "other_openings"),
        "quiet": {("buildings", 0, "other_openings"): "none seen"},
    },
    {
        "code": "visit-08",
        "tables": _visit({"water_state": "dry"}, days_since_rain_days=20),
        "at": ("visits", 0, "days_since_rain_days"),
        "quiet": {("chambers", 0, "water_state"): "damp"},
        "says": "after 20 dry days",
    },
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: str(c["code"]))
def test_each_fires_at_its_cell_alone(
    case: dict[str, Any], prove: Callable[[dict[str, Any]], None]
) -> None:
    """Rules of survey_rules.csv: the fault fires at its cell; one cell mended, it is silent."""
    prove(case)


def test_datum_of_the_survey_does_not_stand_for_a_report(
    run: Callable[..., list[Checked]],
) -> None:
    """Law 1: a report's level is not taken to the survey's height system unasked."""
    about = {"walk.xlsx": {"vertical_datum": "Merrow Datum 2015"}}
    assert len(run(_floods({"datum": None}), code="water-06", about=about)) == 1


def test_rising_levels_of_two_sources_do_not_quarrel(
    run: Callable[..., list[Checked]],
) -> None:
    """A rarer event of the sea may be lower than a frequent one of the river: two sources."""
    rows = _floods({}, {"source": "sea", "aep_per_year": 0.001, "value_m": 18.0})
    assert run(rows, code="water-04") == []


def test_works_after_the_survey(run: Callable[..., list[Checked]]) -> None:
    """visit-06 fires for a young survey too when work is recorded since."""
    tables = _visit()
    tables["sites"][0]["works_since"] = "2030-09-01"
    found = run(tables, code="visit-06")
    assert len(found) == 1
    assert "2030-09-01" in found[0].finding.message


def test_unknown_entry_of_a_chamber_is_not_entered(run: Callable[..., list[Checked]]) -> None:
    """Law 3: a blank 'entered' is neither yes nor no; it is not told as entered without permit."""
    tables = _visit({"entered": True}, permit_ref=None)
    tables["chambers"].append({"chamber_id": "C2", "site_id": "S1", "entered": None})
    found = run(tables, code="visit-05")
    assert [c.index for c in found] == [0]

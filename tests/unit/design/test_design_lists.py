"""Lists beside the designs: whose consent is needed, and what is done with each old seal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from pipeline.core.settings import Settings
from pipeline.tables import Tables

Run = Callable[..., Tables]
OWNED = {"contents": "cables"}


def _rows(out: Tables, name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = out[name].to_dict("records")
    return rows


def test_consents_are_listed_by_owner_and_thing(run: Run) -> None:
    """One row for a chamber of another utility with both its ends, one for a cable; none of ours."""
    out = run(
        ends=[OWNED, {"end_id": "D2", "col_no": 2}],
        chambers=[{"owner": "other utility"}],
        cables=[{"owner": "another network"}, {"cable_id": "K2", "owner": "own"}],
    )
    rows = {(r["owner"], r["thing_kind"], r["thing_id"]): r for r in _rows(out, "consents")}
    assert set(rows) == {("other utility", "chamber", "C1"), ("another network", "cable", "K1")}
    assert rows["other utility", "chamber", "C1"]["end_ids"] == "D1;D2"
    assert rows["other utility", "chamber", "C1"]["ends_count"] == 2
    assert rows["another network", "cable", "K1"]["end_ids"] == "D1"
    held = {r["end_id"] for r in _rows(out, "designs") if "third party" in str(r["hold_codes"])}
    assert held == {"D1", "D2"}  # the list and the holds are of the same ends


@pytest.mark.parametrize("owner", [None, "unknown"])
def test_an_unknown_owner_is_another(run: Run, owner: str | None) -> None:
    """A blank or unknown owner is no consent: find out first."""
    (row,) = _rows(run(chambers=[{"owner": owner}]), "consents")
    assert row["owner"] == "not known"
    assert row["words"].startswith("find out whose it is")


def test_no_consent_for_ends_that_stay_as_they_are(run: Run) -> None:
    """An end above water touches nobody's duct."""
    out = run(chambers=[{"owner": "other utility"}], reach=[{"level_class": "above"}])
    assert _rows(out, "consents") == []


@pytest.mark.parametrize(
    ("seal", "decision", "hours_count", "waste"),
    [
        ({"condition": "cracked"}, "take out", 1, "Waste bag for old seals"),
        ({"condition": "sound", "proposal": "over-seal"}, "over-seal", 0, "none"),
        ({"condition": "sound", "proposal": "over-seal", "water_passing": "damp"}, "take out", 1,
         "Waste bag for old seals"),
        ({"condition": "sound", "inspected_on": "2029-06-01", "rated_head_m": 2.0}, "keep", 0,
         "none"),
        ({"condition": "sound", "inspected_on": "2029-06-01", "rated_head_m": 1.4}, "take out", 1,
         "Waste bag for old seals"),
        ({"condition": "cracked", "asbestos_suspect": "yes"}, "take out", 1, "licensed way"),
    ],
)  # fmt: skip
def test_old_seals_with_time_and_waste(
    run: Run, settings: Settings, seal: dict[str, Any], decision: str, hours_count: int, waste: str
) -> None:
    """Keep, over-seal, take out; hours of the setting and waste only where one comes out.

    The head is 1.5 m (water 11.5, invert 10.0): a rating of 1.4 m does not keep a seal.
    """
    out = run(seals=[seal])
    (row,) = _rows(out, "old_seals")
    assert row["decision"] == decision
    assert row["removal_h"] == hours_count * settings.crews.hours_old_seal
    assert waste in row["waste_words"]
    assert row["why"]
    plain = _rows(run(), "designs")[0]["hours_h"]
    design = _rows(out, "designs")[0]
    if pd.notna(design["hours_h"]):  # the hours of the list are in those of the end
        assert design["hours_h"] == pytest.approx(plain + row["removal_h"])


def test_two_seals_of_an_end_count_their_hours_once(run: Run, settings: Settings) -> None:
    """Hours are counted by end: the rows of an end add up to them."""
    rows = _rows(run(seals=[{}, {"seal_id": "Q2"}]), "old_seals")
    assert [r["seal_id"] for r in rows] == ["Q1", "Q2"]
    assert sum(r["removal_h"] for r in rows) == settings.crews.hours_old_seal

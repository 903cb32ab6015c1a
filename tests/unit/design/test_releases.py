"""A hold is lifted by a release in force and by nothing else; its cautions stay."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from pipeline.core.contract import FIRM, HELD
from pipeline.core.materials import Materials
from pipeline.core.record_sheets import hold_releases
from pipeline.core.settings import Settings
from pipeline.design import design
from pipeline.tables import Tables
from tests.unit.design.conftest import survey
from tests.unit.design.test_hold_rules import FIRES

RELEASE = {
    "release_id": "R1", "end_id": "D1", "building_id": None, "site_id": None, "hold": "asbestos",
    "role": "asbestos register holder", "released_by": "R. Vane", "release_date": "2030-01-01",
    "valid_until": None, "condition": "wet methods only", "is_in_force": True, "is_used": True,
}  # fmt: skip
ASBESTOS = {"entries": [{"asbestos_suspect": "yes"}]}
Go = Callable[..., dict[str, Any]]


@pytest.fixture
def released(settings: Settings, materials: Materials) -> Go:
    """The designs row of D1 with releases (changes to a usual one) and sealed ends."""

    def go(
        releases: list[dict[str, Any]], sealed: dict[str, Any] | None = None, **changes: Any
    ) -> dict[str, Any]:
        policy = changes.pop("policy", {})
        own = settings.model_copy(update={"design": settings.design.model_copy(update=policy)})
        tables: Tables = survey(**changes)
        tables["releases"] = pd.DataFrame([{**RELEASE, **r} for r in releases])
        if sealed is not None:
            tables["sealed_ends"] = pd.DataFrame([{"end_id": "D1", **sealed}])
        frame = design(tables, own, materials=materials)["designs"]
        rows: list[dict[str, Any]] = frame[frame["end_id"] == "D1"].to_dict("records")
        return rows[0]

    return go


def test_a_release_lifts_its_hold_and_leaves_the_caution(released: Go) -> None:
    """Held before, firm after; who lifted it and the condition are on paper; no abrading still."""
    before, after = released([], **ASBESTOS), released([{}], **ASBESTOS)
    assert (before["hold_reach"], before["firmness"]) == ("order", HELD)
    assert (after["hold_reach"], after["firmness"]) == ("none", FIRM)
    assert after["lifted_codes"] == "asbestos"
    assert "R. Vane (asbestos register holder) on 2030-01-01, release R1" in after["lifted_words"]
    assert "wet methods only" in after["cautions"]
    assert before["steps"] == after["steps"]
    assert "Asbestos suspected" in after["cautions"]


@pytest.mark.parametrize(
    "release",
    [
        {"is_in_force": False},
        {"hold": "fire barrier"},
        {"end_id": "D2"},
        {"end_id": None, "building_id": "B2"},
        {"end_id": None, "site_id": "S2"},
        # the narrowest thing that is named counts: this one is for another end of the building
        {"end_id": "D2", "building_id": "B1", "site_id": "S1"},
    ],
)
def test_another_release_lifts_nothing(release: dict[str, Any], released: Go) -> None:
    """Not in force, another hold, another thing: the hold stands."""
    row = released([release], **ASBESTOS)
    assert (row["hold_reach"], row["hold_codes"]) == ("order", "asbestos")


@pytest.mark.parametrize("where", ["building_id", "site_id"])
def test_a_release_for_a_building_or_site(where: str, released: Go) -> None:
    """It lifts the hold of every end there."""
    value = {"building_id": "B1", "site_id": "S1"}[where]
    row = released([{"end_id": None, where: value}], **ASBESTOS)
    assert row["lifted_codes"] == "asbestos"


def test_the_other_holds_stay(released: Go) -> None:
    """Two holds, one release: the other decides the reach."""
    facts = {"entries": [{"asbestos_suspect": "yes", "fire_wall": "yes"}]}
    row = released([{}], **facts)
    assert (row["hold_reach"], row["hold_codes"]) == ("order", "fire barrier")


@pytest.mark.parametrize(("code", "reach", "changes"), FIRES)
def test_every_hold_is_lifted_by_its_own_release(
    code: str, reach: str, changes: dict[str, Any], released: Go
) -> None:
    """Each hold of the table: its release takes it out of the row, and no other hold with it."""
    before = released([], **changes)
    if not hold_releases()[code].is_lifted_by_release:
        return
    after = released([{"hold": code}], **changes)
    assert code in before["hold_codes"].split(";")
    left = [c for c in before["hold_codes"].split(";") if c != code]
    # a seal that can now be drawn may show a hold of its section, which was not looked at before
    assert code not in str(after["hold_codes"]).split(";")
    assert set(left) <= set(str(after["hold_codes"]).split(";"))
    assert after["lifted_codes"] == code
    assert reach in ("design", "order", "work")


def test_an_accepted_seal_needs_no_other(released: Go) -> None:
    """Closed by our record: no seal is needed; a hold that stands at it is still named."""
    sealed = {"install_id": "I1", "is_closed": True, "accepted_on": "2030-03-01", "is_made": True,
              "is_changed": False}  # fmt: skip
    row = released([], sealed, **ASBESTOS)
    assert not row["is_needed"]
    assert "accepted on 2030-03-01 (record I1)" in row["need_reason"]
    assert row["standing_codes"] == "asbestos"


def test_a_made_seal_is_not_bought_twice(settings: Settings, materials: Materials) -> None:
    """Sealed and not accepted: still to be closed, and no pieces and no hours are counted again."""
    tables = survey()
    plain = design(tables, settings, materials=materials)
    assert len(plain["pieces"]) > 0
    tables["sealed_ends"] = pd.DataFrame(
        [{"end_id": "D1", "install_id": "I1", "sealed_on": "2030-03-01", "is_closed": False,
          "is_made": True, "is_changed": False}]
    )  # fmt: skip
    made = design(tables, settings, materials=materials)
    row = made["designs"].set_index("end_id").loc["D1"]
    assert bool(row["is_needed"])
    assert bool(row["is_made"])
    assert row["hours_h"] == 0.0
    assert len(made["pieces"]) == 0


@pytest.mark.parametrize(("listed", "drawn"), [(1, False), (3, True)])
def test_a_later_cable_must_be_listed_before_it_is_drawn(
    listed: int, drawn: bool, released: Go
) -> None:
    """Three cables by the change record: with one in the survey no seal is drawn."""
    sealed = {"install_id": "I1", "is_closed": False, "is_made": False, "is_changed": True,
              "cables_now_count": 3.0}  # fmt: skip
    row = released([], sealed, ends=[{"contents": "cables"}],
                   cables=[{"cable_count": listed, "diameter_mm": 22.0}])  # fmt: skip
    assert row["is_designed"] is drawn

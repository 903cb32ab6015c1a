"""When a seal counts as closed: every missing thing leaves the end open, by hand-made records.

The rules are those of the record sheet: least of four clock positions against nominal less
tolerance, lot in date, checked between cables, a look of a level that accepts, no later change.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from pipeline.core.acceptance import Judgement, judge, months_after
from pipeline.core.settings import Records

POLICY = Records(
    nominal_mm=20, tolerance_mm=2, accepting_levels=("gauge", "after flood"), inspect_days=28,
    look_again_months=24, sample_frac=0.2, sample_seed=1, source="test",
)  # fmt: skip
TODAY = dt.date(2030, 6, 1)
INSTALL = {
    "install_id": "I1", "end_id": "D1", "seal_date": "2030-03-01", "lead": "A", "lot": "L1",
    "expires_on": "2030-03-01", "layer_drawn_mm": 20.0, "between_cables": "yes",
    "sealant_at_12_mm": 18.0, "sealant_at_3_mm": 21.0, "sealant_at_6_mm": 22.0,
    "sealant_at_9_mm": 20.0,
}  # fmt: skip
LOOK = {
    "inspection_id": "Q1", "end_id": "D1", "inspection_date": "2030-03-15", "inspector": "B",
    "level": "gauge", "result": "accepted", "cables_seen_count": 3.0,
}  # fmt: skip
CHANGE = {
    "change_id": "C1", "end_id": "D1", "change_date": "2030-04-01", "change": "cable added",
    "cables_count": 2.0, "done_by": "P",
}  # fmt: skip


def judged(
    install: dict[str, Any] | None = None,
    looks: list[dict[str, Any]] | None = None,
    changes: list[dict[str, Any]] | None = None,
    **more: Any,
) -> Judgement:
    """The judgement of a usual end with changes; `looks` are changes to a usual look."""
    found = judge(
        [{**INSTALL, **(install or {})}, *more.pop("installs", [])],
        [{**LOOK, **x} for x in ([{}] if looks is None else looks)],
        [{**CHANGE, **x} for x in changes or []],
        policy=more.pop("policy", POLICY),
        planning_date=more.pop("today", TODAY),
        cables_count=more.pop("cables_count", 3.0),
    )
    assert found is not None
    return found


def test_a_full_record_closes_the_end() -> None:
    """18 mm at one position of four is the limit of 20 mm less 2 mm, and passes; lot in date."""
    found = judged()
    assert found.reasons == ()
    assert found.least_mm == 18.0
    assert found.is_closed
    assert found.next_due_on == "2032-03-15"


@pytest.mark.parametrize(
    ("install", "words"),
    [
        ({"sealant_at_6_mm": 17.9}, "17.9 mm of 20 mm"),
        ({"layer_drawn_mm": 27.0}, "of 27 mm"),
        ({"layer_drawn_mm": None}, "not on record"),
        ({"sealant_at_3_mm": None}, "3 of 4 positions"),
        ({"lot": None}, "lot is not known"),
        ({"expires_on": None}, "expiry"),
        ({"expires_on": "2030-02-28"}, "expired on 2030-02-28"),
        ({"between_cables": "no"}, "between its cables"),
        ({"between_cables": None}, "between its cables"),
        ({"between_cables": "single cable or none"}, "between its cables"),
        ({"leak_24h": "drip"}, "water passes it (drip)"),
        ({"found_as_drawn": "no"}, "not found as drawn"),
    ],
)
def test_what_a_record_lacks_leaves_the_end_open(install: dict[str, Any], words: str) -> None:
    """Each gap of the crew's record is named, and the accepted look does not count."""
    found = judged(install)
    assert not found.is_closed
    assert any(words in r.words for r in found.reasons), found.reasons


@pytest.mark.parametrize(
    "look",
    [
        {"level": "desk"}, {"level": "visual"}, {"level": None}, {"result": "snag"},
        {"result": None}, {"result": "rejected"}, {"snag": "label gone"},
        {"snag": "label gone", "snag_closed_on": "2030-03-20"}, {"water_passing": "damp"},
        {"sealant_at_9_mm": 12.0}, {"between_cables": "no"}, {"install_id": "another"},
        {"inspection_date": "2030-02-28"},
    ],
)  # fmt: skip
def test_what_a_look_lacks_leaves_the_end_open(look: dict[str, Any]) -> None:
    """Desk and visual looks, open snags, a look before the seal: none of them accepts."""
    assert not judged(looks=[look]).is_closed


def test_no_look_at_all() -> None:
    """A seal that nobody looked at is made, and open; the first look is due in 28 days."""
    found = judged(looks=[])
    assert not found.is_accepted
    assert found.next_due_on == "2030-03-29"


def test_a_later_snag_takes_the_acceptance_back() -> None:
    """The last word counts; a closed snag needs a new accepted look."""
    snag = {"inspection_id": "Q2", "inspection_date": "2030-05-01", "result": "snag",
            "snag": "weeps", "snag_closed_on": "2030-05-09", "snag_photo": "P1"}  # fmt: skip
    assert not judged(looks=[{}, snag]).is_closed
    again = {"inspection_id": "Q3", "inspection_date": "2030-05-10"}
    assert judged(looks=[{}, snag, again]).is_closed


def test_a_later_desk_look_leaves_the_acceptance() -> None:
    """A look at the papers neither accepts nor takes back."""
    desk = {"inspection_id": "Q2", "inspection_date": "2030-05-01", "level": "desk"}
    found = judged(looks=[{}, desk])
    assert found.is_closed
    assert found.look["inspection_id"] == "Q1"


@pytest.mark.parametrize("day", ["2030-04-01", "2030-03-15", "2030-03-01"])
def test_a_later_cable_opens_an_accepted_end(day: str) -> None:
    """After, on the day of the look, on the day of the seal: the end is open again."""
    found = judged(changes=[{"change_date": day}])
    assert found.is_accepted
    assert found.changed == "cable added"
    assert not found.is_closed
    assert found.cables_now_count == 5.0


def test_a_change_that_the_new_seal_answers() -> None:
    """A cable of before the seal, or one that names the record that made it good, opens nothing."""
    assert judged(changes=[{"change_date": "2030-02-28"}]).is_closed
    assert judged(changes=[{"resealed_by_install_id": "I1"}]).is_closed
    assert not judged(changes=[{"resealed_by_install_id": "I0"}]).is_closed


def test_another_number_of_cables_opens_it() -> None:
    """Four cables seen where three are on record: somebody pulled one and told nobody."""
    found = judged(looks=[{"cables_seen_count": 4.0}])
    assert found.changed == "4 cables seen, 3 on record"
    assert not found.is_closed
    assert judged(looks=[{"cables_seen_count": 4.0}], cables_count=4.0).is_closed
    assert judged({"cables_found_count": 4.0}, looks=[{"cables_seen_count": 4.0}]).is_closed


@pytest.mark.parametrize(("today", "closed"), [("2032-03-15", True), ("2032-03-16", False)])
def test_an_overdue_look_opens_it(today: str, closed: bool) -> None:
    """24 months after the look it still counts; a day later it does not."""
    assert judged(today=dt.date.fromisoformat(today)).is_closed is closed


def test_the_latest_seal_counts() -> None:
    """A seal made again after a change starts anew: sealed, not accepted."""
    new = {**INSTALL, "install_id": "I2", "seal_date": "2030-04-05", "expires_on": "2031-01-01"}
    found = judged(installs=[new], changes=[{}])
    assert found.install["install_id"] == "I2"
    assert found.changed == ""
    assert not found.is_accepted


def test_unknown_number_of_cables_counts_as_several() -> None:
    """Where nobody knows how many cables lie there, they may touch."""
    nan = float("nan")
    unknown = {"cables_seen_count": None}
    said = {"between_cables": "single cable or none"}
    assert not judged(said, looks=[unknown], cables_count=nan).is_closed
    assert judged(said, looks=[unknown], cables_count=1.0).is_closed


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [("2030-01-31", 1, "2030-02-28"), ("2032-01-31", 1, "2032-02-29"),
     ("2030-11-15", 14, "2032-01-15"), ("2030-12-01", 12, "2031-12-01")],
)  # fmt: skip
def test_months_after_by_the_calendar(day: str, months: int, expected: str) -> None:
    """Months counted by hand on the calendar; the last of a short month."""
    assert months_after(dt.date.fromisoformat(day), months).isoformat() == expected

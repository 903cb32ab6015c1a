"""When a seal that was made counts as closed: the records of one end against the policy.

Pure: records in, one judgement out. Less knowledge never closes an end: what is not measured, not
looked at, not named or overdue leaves it open.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from pipeline.core.record_sheets import CLOCK_MM, given
from pipeline.core.settings import Records

Row = dict[str, Any]

ACCEPTED: Final = "accepted"
_WORSE: Final = {ACCEPTED: 0, "snag": 1, "": 1, "rejected": 2}
_WET: Final = ("damp", "drip", "run")
_CHECKED: Final = "yes"
_SINGLE: Final = "single cable or none"


@dataclass(frozen=True)
class Reason:
    """Why a record does not bear an acceptance: code of the rule, words, what fills its message."""

    code: str
    words: str
    fill: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Judgement:
    """What the records of one end come to on the planning date.

    `install` and `look` are the records that count (the latest seal; the look that accepted it,
    else the latest look); `reasons` say why it is not accepted, `changed` why it is open again.
    """

    install: Row
    look: Row
    latest: Row
    least_mm: float
    need_mm: float
    measured_count: int
    reasons: tuple[Reason, ...]
    changed: str
    changed_on: str
    changed_by: str
    change_id: str
    next_due_on: str
    is_overdue: bool
    most_mm: float = math.nan
    cables_now_count: float = math.nan

    @property
    def is_accepted(self) -> bool:
        """The seal was accepted and its record bears it, whatever came later."""
        return bool(self.look) and not self.reasons

    @property
    def is_closed(self) -> bool:
        """The end counts as closed: accepted, not opened again, its next look not overdue."""
        return self.is_accepted and not self.changed and not self.is_overdue


def months_after(day: dt.date, months: int) -> dt.date:
    """The day so many months later; the last of the month where it has no such day."""
    index = day.month - 1 + months
    year, month = day.year + index // 12, index % 12 + 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def judge(
    installs: Sequence[Row],
    looks: Sequence[Row],
    changes: Sequence[Row],
    *,
    policy: Records,
    planning_date: dt.date,
    cables_count: float,
) -> Judgement | None:
    """Judge the seal of one end.

    Parameters
    ----------
    installs, looks, changes : sequence of mapping
        Records of the end whose day can be used (not after the planning date).
    policy : Records
    planning_date : datetime.date
    cables_count : float
        Cables of the end by the survey; NaN where not known.

    Returns
    -------
    Judgement, or None where no record says that the end was sealed.

    Notes
    -----
    House rules: the least reading of crew and inspector counts; a reading at the tolerance itself
    passes; a change on the day of the seal opens it unless the change names the install record.
    """
    if not installs:
        return None
    install = max(installs, key=lambda r: (given(r, "seal_date"), given(r, "install_id")))
    sealed = given(install, "seal_date")
    own = [r for r in looks if _is_of(r, install)]
    own.sort(key=lambda r: (_day(r), _WORSE.get(given(r, "result"), 1), _id(r)))
    latest: Row = own[-1] if own else {}
    look = _accepting(own, policy)
    change = _change(changes, sealed, given(install, "install_id"))
    expected = _number(install, "cables_found_count")
    expected = cables_count if math.isnan(expected) else expected
    due = _due(look or latest, sealed, policy, is_first=not look)
    changed = _other_count(latest, expected)
    words = given(change, "change") or ("seal opened" if change else "")
    depths = [_reading(install, look, name) for name in CLOCK_MM]
    known = [d for d in depths if not math.isnan(d)]
    layer = _number(install, "layer_drawn_mm")
    need = policy.nominal_mm if math.isnan(layer) else max(policy.nominal_mm, layer)
    least = min(known, default=math.nan)
    found = Judgement(
        install=install,
        look=look,
        latest=latest,
        least_mm=least,
        need_mm=need,
        measured_count=len(known),
        reasons=(),
        changed=words or changed,
        changed_on=given(change, "change_date") or (_day(latest) if changed else ""),
        changed_by=given(change, "done_by") or (given(latest, "inspector") if changed else ""),
        change_id=given(change, "change_id"),
        next_due_on=due,
        is_overdue=bool(look) and due < planning_date.isoformat(),
        most_mm=max(known, default=math.nan),
        cables_now_count=_cables_now(change, latest, expected),
    )
    reasons = (
        *_of_depth(found, layer, policy),
        *_of_lot(install),
        *_of_cables(install, look or latest, max(_known(expected, latest))),
        *_of_state(found, policy),
    )
    return Judgement(**{**found.__dict__, "reasons": reasons})


def _number(row: Row, name: str) -> float:
    value = given(row, name)
    return float(value) if value else math.nan


def _day(row: Row) -> str:
    return given(row, "inspection_date")


def _id(row: Row) -> str:
    return given(row, "inspection_id")


def _is_of(look: dict[str, Any], install: dict[str, Any]) -> bool:
    """Whether a look is one at this seal: not before it, and not at another record's."""
    named = given(look, "install_id")
    return _day(look) >= given(install, "seal_date") and named in (
        "", given(install, "install_id"),
    )  # fmt: skip


def _accepting(own: Sequence[Row], policy: Records) -> Row:
    """The latest look that accepts by its level, with nothing worse after it."""
    found: Row = {}
    for row in own:
        if given(row, "result") != ACCEPTED:
            found = {}
        elif given(row, "level") in policy.accepting_levels:
            found = row
    return found


def _change(changes: Sequence[Row], sealed: str, install_id: str) -> Row:
    """The first change that opened the seal and that no new record answers."""
    later = [
        r
        for r in changes
        if given(r, "change_date") >= sealed and given(r, "resealed_by_install_id") != install_id
    ]
    return min(
        later,
        key=lambda r: (given(r, "change_date"), given(r, "change_id")),
        default={},
    )


def _other_count(look: Row, expected: float) -> str:
    seen = _number(look, "cables_seen_count")
    if math.isnan(seen) or math.isnan(expected) or seen == expected:
        return ""
    return f"{seen:g} cables seen, {expected:g} on record"


def _cables_now(change: Row, look: Row, expected: float) -> float:
    """Cables that lie there by the records; NaN where a change does not say how many."""
    if not change:
        seen = _number(look, "cables_seen_count")
        return expected if math.isnan(seen) else seen
    sign = {"cable added": 1.0, "cable removed": -1.0}.get(given(change, "change"), 0.0)
    return expected + sign * _number(change, "cables_count") if sign else expected


def _known(*values: Any) -> list[float]:
    """Counts of cables that are known; two where none is (they may touch)."""
    out = [v for v in (values[0], _number(values[1], "cables_seen_count")) if not math.isnan(v)]
    return out or [2.0]


def _due(look: Row, sealed: str, policy: Records, *, is_first: bool) -> str:
    """Day of the next look: as the inspector wrote, else by the settings."""
    said = given(look, "next_due_on")
    if said:
        return said
    if is_first:
        first = dt.date.fromisoformat(sealed) + dt.timedelta(days=policy.inspect_days)
        return first.isoformat()
    return months_after(dt.date.fromisoformat(_day(look)), policy.look_again_months).isoformat()


def _reading(install: Row, look: Row, name: str) -> float:
    both = [v for v in (_number(install, name), _number(look, name)) if not math.isnan(v)]
    return min(both, default=math.nan)


def _of_depth(found: Judgement, layer_mm: float, policy: Records) -> list[Reason]:
    out = []
    if math.isnan(layer_mm):
        out.append(Reason("", "the depth that the end's sheet asks for is not on record"))
    if found.measured_count < len(CLOCK_MM):
        words = f"sealant depth is measured at {found.measured_count} of {len(CLOCK_MM)} positions"
        out.append(Reason("record-06", words, {"n": found.measured_count}))
    if found.least_mm + policy.tolerance_mm < found.need_mm:
        words = f"its least depth is {found.least_mm:g} mm of {found.need_mm:g} mm"
        fill = {"least": f"{found.least_mm:g}", "need": f"{found.need_mm:g}",
                "tolerance": f"{policy.tolerance_mm:g}"}  # fmt: skip
        out.append(Reason("record-05", words, fill))
    return out


def _of_lot(install: Row) -> list[Reason]:
    row = install
    if given(row, "deviation_agreed_by"):
        return []
    expires, why = given(row, "expires_on"), ""
    if not given(row, "lot"):
        why = "the lot is not known"
    elif not expires:
        why = "the expiry of the lot is not known"
    elif expires < given(row, "seal_date"):
        why = f"the lot expired on {expires}, before it was used"
    return [Reason("record-07", why, {"why": why})] if why else []


def _of_cables(install: Row, look: Row, cables_count: float) -> list[Reason]:
    crew, inspector = (given(r, "between_cables") for r in (install, look))
    needs = cables_count >= 2
    is_checked = crew == _CHECKED or (crew == _SINGLE and not needs)
    if is_checked and inspector != "no" and not (needs and inspector == _SINGLE):
        return []
    if not needs and crew != "no" and inspector != "no":
        return []
    return [Reason("record-09", "nobody has checked between its cables")]


def _of_state(found: Judgement, policy: Records) -> list[Reason]:
    """What the looks and the watching say."""
    install, look = found.install, found.latest
    out = []
    leaks = {given(install, n) for n in ("leak_1h", "leak_24h", "leak_wet")}
    leaks.add(given(look, "water_passing"))
    wet = next((w for w in _WET[::-1] if w in leaks), "")
    if wet:
        out.append(Reason("", f"water passes it ({wet})"))
    if given(install, "found_as_drawn") == "no" and not given(install, "deviation_agreed_by"):
        out.append(Reason("", "it was not found as drawn and nobody agreed to the difference"))
    if given(look, "snag") and missing_to_close(look):
        out.append(Reason("", f"the snag '{given(look, 'snag')}' is open"))
    elif not found.look and given(look, "result") == ACCEPTED:
        allowed = " or ".join(policy.accepting_levels)
        level = given(look, "level") or "not named"
        out.append(Reason("", f"the look was '{level}', and {allowed} is asked for"))
    return out


def missing_to_close(look: Row) -> str:
    """What a snag lacks to be closed; '' where day and photo are there."""
    row = look
    lacks = [
        words
        for name, words in (("snag_closed_on", "a day"), ("snag_photo", "a photo"))
        if not given(row, name)
    ]
    return " and ".join(lacks)

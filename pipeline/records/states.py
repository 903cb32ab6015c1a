"""The state of every duct end through its thirteen states, with date, name and reason of each move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pipeline.core import contract
from pipeline.core.record_sheets import STATES, given
from pipeline.core.settings import Settings
from pipeline.records.evidence import Evidence, Row
from pipeline.tables import Tables

CALCULATED: Final = "calculated"
_NUMBER: Final = {state: i for i, state in enumerate(STATES, start=1)}
_CLASSED: Final = (contract.BELOW, contract.CLOSE, contract.ABOVE)
_BY_RECORD: Final = STATES[STATES.index("ordered") :]
# a seal of ours that is in place was designed and priced, whatever this run would design now
_BEFORE_SEALING: Final = ("designed", "priced")


@dataclass(frozen=True)
class Move:
    """One state that was reached: day, name, reason."""

    state: str
    on: str
    by: str
    reason: str


def state_rows(tables: Tables, settings: Settings) -> list[Row]:
    """Rows of `states`: one per row of `designs`.

    Parameters
    ----------
    tables : Tables
        All tables of a run.
    settings : Settings

    Returns
    -------
    list of dict

    Notes
    -----
    Up to `priced` each state needs the one before: an end that was only counted is not assessed,
    though it is treated as reached by water; what was done all the same stands in `ahead`. From
    `ordered` on a record is a fact: earlier states that are missing stand in `skipped`. States up to `measured` are dated by the survey's visit, `levelled` to `priced` by
    the planning date, the others by their record. A record without a date moves nothing.
    """
    seen = Evidence(tables, settings)
    return [_state_row(seen, design) for design in tables["designs"].to_dict("records")]


def _state_row(seen: Evidence, design: Row) -> Row:
    end_id = str(design["end_id"])
    moves = {m.state: m for m in _moves(seen, design)}
    last = _last(moves)
    reached = set(moves)
    if "sealed" in reached:
        reached.update(_BEFORE_SEALING)
    skipped = [s for s in STATES[: _NUMBER[last.state] - 1] if s not in reached]
    return {
        "end_id": end_id,
        "site_id": given(design, "site_id") or None,
        "building_id": given(design, "building_id") or None,
        "region": given(design, "region") or None,
        "state": last.state,
        "state_no": _NUMBER[last.state],
        "moved_on": last.on or None,
        "moved_by": last.by or None,
        "move_reason": last.reason,
        "stuck_reason": _STUCK[last.state](seen, design),
        "skipped": ";".join(skipped) or None,
        "ahead": ";".join(s for s in STATES[_NUMBER[last.state] :] if s in reached) or None,
        "lifted_holds": given(design, "lifted_codes") or None,
    }


def _last(moves: dict[str, Move]) -> Move:
    """The last record, else the last state of the unbroken chain from `known` on."""
    recorded = [s for s in STATES if s in moves and s in _BY_RECORD]
    if recorded:
        return moves[recorded[-1]]
    last = moves["known"]
    for state in STATES:
        if state not in moves:
            break
        last = moves[state]
    return last


def _moves(seen: Evidence, design: Row) -> Iterator[Move]:
    yield from _by_survey(seen, str(design["end_id"]))
    yield from _by_calculation(seen, design)
    yield from _by_record(seen, str(design["end_id"]))


def _by_survey(seen: Evidence, end_id: str) -> Iterator[Move]:
    day, who = seen.visit(end_id)
    end = seen.end(end_id)
    where = f"row {int(end['row'])} of {end['sheet']} in {end['file']}" if given(end, "row") else ""
    yield Move("known", day, who, where or "named by the survey")
    if seen.is_counted(end_id):
        yield Move("counted", day, who, "counted at its wall or chamber")
    if seen.is_measured(end_id):
        yield Move("measured", day, who, "inside size measured")


def _by_calculation(seen: Evidence, design: Row) -> Iterator[Move]:
    end_id, day = str(design["end_id"]), seen.planned
    if seen.has_level(end_id):
        yield Move("levelled", day, CALCULATED, "level from its chain of steps")
    found = seen.level_class(end_id)
    if found in _CLASSED:
        yield Move("assessed", day, CALCULATED, f"{found} the policy line"
                   if found != contract.CLOSE else found)  # fmt: skip
    if bool(design["is_designed"]):
        yield Move("designed", day, CALCULATED, f"seal drawn, {design['firmness']} quantity")
        package = seen.package(end_id)
        if package:
            yield Move("priced", day, CALCULATED, f"priced in package {package}")


def _by_record(seen: Evidence, end_id: str) -> Iterator[Move]:
    order, kit, sealed = seen.order(end_id), seen.kit(end_id), seen.sealed(end_id)
    if order:
        yield Move("ordered", given(order, "order_date"), given(order, "approved_by"),
                   f"order {given(order, 'order_id') or given(order, 'order_line_id')}")  # fmt: skip
    if kit:
        yield Move("packed", given(kit, "packed_date"), given(kit, "packed_by"),
                   f"kit {given(kit, 'kit_id')}")  # fmt: skip
    if not sealed:
        return
    yield Move("sealed", given(sealed, "sealed_on"), given(sealed, "sealed_by"),
               f"install record {given(sealed, 'install_id')}")  # fmt: skip
    if given(sealed, "inspected_on"):
        level, result = given(sealed, "inspect_level"), given(sealed, "result")
        yield Move("inspected", given(sealed, "inspected_on"), given(sealed, "inspected_by"),
                   f"look '{level or 'level not named'}': {result or 'no result'}")  # fmt: skip
    if bool(sealed["is_accepted"]):
        yield Move("accepted", given(sealed, "accepted_on"), given(sealed, "accepted_by"),
                   f"inspection {given(sealed, 'inspection_id')}")  # fmt: skip
    if bool(sealed["is_changed"]):
        yield Move("changed", given(sealed, "changed_on"), given(sealed, "changed_by"),
                   given(sealed, "change_words"))  # fmt: skip


def _not_reached(seen: Evidence, design: Row) -> str:
    how = seen.how_seen(str(design["end_id"]))
    return f"not counted: {how or 'nobody has seen it'}"


def _not_measured(seen: Evidence, design: Row) -> str:
    how = seen.how_seen(str(design["end_id"]))
    return f"not measured: {how or 'inside size not given, or refused'}"


def _no_level(seen: Evidence, design: Row) -> str:
    return f"no level: {seen.reason(str(design['end_id'])) or 'no chain of steps is complete'}"


def _no_class(seen: Evidence, design: Row) -> str:
    end_id = str(design["end_id"])
    return f"{seen.level_class(end_id) or 'no class'}: {seen.reason(end_id) or 'see the questions'}"


def _no_design(seen: Evidence, design: Row) -> str:
    del seen
    if not bool(design["is_needed"]):
        return f"no seal is needed: {design['need_reason']}"
    return f"not designed: {given(design, 'not_designed_reason') or 'see its holds'}"


def _no_price(seen: Evidence, design: Row) -> str:
    del seen
    held = given(design, "hold_words")
    return f"held: {held}" if held else "in no package: its building cannot be ranked"


def _no_order(seen: Evidence, design: Row) -> str:
    if design["hold_reach"] == contract.HOLD_ORDER:
        return f"held for order: {design['hold_words']}"
    choice = seen.choice(given(design, "building_id"))
    if not choice or not bool(choice["is_chosen"]):
        return (
            f"not chosen: {given(choice, 'left_out_reason') or 'its building is not in the plan'}"
        )
    if not seen.is_chosen(str(design["end_id"])):
        return f"not in the chosen package {choice['package_id']}"
    latest = seen.order_by(given(design, "site_id"))
    by = f"; latest order date {latest}" if latest else ""
    return f"no order on record; drafts stand in the run folder{by}"


def _no_kit(seen: Evidence, design: Row) -> str:
    return f"no kit on record{_planned(seen, design)}"


def _not_sealed(seen: Evidence, design: Row) -> str:
    if design["hold_reach"] == contract.HOLD_WORK:
        return f"the crew waits for the release: {design['hold_words']}"
    return f"no install record{_planned(seen, design)}"


def _planned(seen: Evidence, design: Row) -> str:
    day = seen.work_day(str(design["end_id"]))
    return f"; work is planned on {day}" if day else ""


def _not_looked_at(seen: Evidence, design: Row) -> str:
    sealed = seen.sealed(str(design["end_id"]))
    due = given(sealed, "next_due_on")
    late = ", which has passed" if due < seen.planned else ""
    return f"no look on record; due by {due}{late}"


def _not_accepted(seen: Evidence, design: Row) -> str:
    return f"not accepted: {given(seen.sealed(str(design['end_id'])), 'why_open')}"


def _accepted(seen: Evidence, design: Row) -> str:
    sealed = seen.sealed(str(design["end_id"]))
    due = given(sealed, "next_due_on")
    if bool(sealed["is_overdue"]):
        return f"the look due on {due} is overdue: the end counts as open"
    return f"closed; next look by {due}"


def _changed(seen: Evidence, design: Row) -> str:
    sealed = seen.sealed(str(design["end_id"]))
    return f"open again: seal, record and look again ({given(sealed, 'change_words')})"


_STUCK: Final = {
    "known": _not_reached,
    "counted": _not_measured,
    "measured": _no_level,
    "levelled": _no_class,
    "assessed": _no_design,
    "designed": _no_price,
    "priced": _no_order,
    "ordered": _no_kit,
    "packed": _not_sealed,
    "sealed": _not_looked_at,
    "inspected": _not_accepted,
    "accepted": _accepted,
    "changed": _changed,
}

"""Checks of the records that come back, and the judgement of every end that was sealed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.acceptance import Judgement, judge, missing_to_close
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.record_sheets import DAY_OF, NAME_OF, given, hold_releases, ids_in
from pipeline.core.settings import Settings
from pipeline.intake.rows import Row
from pipeline.tables import Tables

CellOf = Callable[[Row, str], Cell]
_OF_ONE_END: Final = ("installs", "inspections", "cable_changes")
_OF_MANY: Final = ("orders_placed", "kits_packed")
_THINGS: Final = {
    "installs": "duct end", "inspections": "duct end", "cable_changes": "duct end",
    "orders_placed": "duct ends", "kits_packed": "duct ends",
    "releases": "end, building or site",
}  # fmt: skip
_WORDS: Final = {
    "installs": "The install record", "inspections": "The inspection", "releases": "The release",
    "cable_changes": "The change", "orders_placed": "The order line", "kits_packed": "The kit",
}  # fmt: skip
_PARENTS: Final = ("end_id", "building_id", "site_id")


@dataclass(frozen=True)
class Known:
    """What the survey knows: ids as they are written there, by their folded form; cables by end."""

    ids: Mapping[str, Mapping[str, str]]
    cables_count: Mapping[str, float]
    places: Mapping[str, tuple[str, str]]

    @classmethod
    def of(cls, tables: Tables) -> Known:
        """From the survey tables."""
        ends, entries = tables["ends"], tables["entries"]
        ids = {
            "end_id": [*ends["end_id"], *entries["entry_id"]],
            "building_id": list(tables["buildings"]["building_id"]),
            "site_id": list(tables["sites"]["site_id"]),
        }
        cables = tables["cables"]
        counts: dict[str, float] = {
            str(e): 0.0
            for e, c in zip(ends["end_id"], ends["contents"], strict=True)
            if c in ("empty", "draw cord only", "capped")
        }
        for end, count in zip(cables["end_id"], cables["cable_count"], strict=True):
            number = math.nan if pd.isna(count) else float(count)
            counts[str(end)] = counts.get(str(end), 0.0) + number
        places = {
            str(e): ("" if pd.isna(p) else str(p), "" if pd.isna(s) else str(s))
            for e, p, s in zip(ends["end_id"], ends["place_id"], ends["site_id"], strict=True)
        }
        folded = {k: {str(i).casefold(): str(i) for i in v} for k, v in ids.items()}
        return cls(folded, counts, places)


@dataclass
class _Say:
    """Gathers findings; a finding raises the state of its row."""

    cell: CellOf
    known: Known
    found: list[Finding] = field(default_factory=list)

    def add(self, code: str, row: Row, column: str, fill: Mapping[str, Any]) -> None:
        """Tell one fault of a row."""
        end = given(row.values, "end_id")
        place, site = self.known.places.get(end, ("", ""))
        finding = make(
            code,
            self.cell(row, column),
            key=f"{row.sheet}/{row.key}",
            place_id=place,
            site_id=site,
            as_read=row.raws.get(column, ""),
            fill={"record": f"{_WORDS[row.sheet]} {row.key}", "end": end, **fill},
        )
        row.worsen(finding.weight)
        if finding.weight == contract.STOP and column not in row.stopped:
            row.stopped.append(column)
        self.found.append(finding)


def check_records(
    rows: Mapping[str, list[Row]], cell: CellOf, known: Known, settings: Settings
) -> tuple[list[Finding], list[dict[str, Any]]]:
    """Check every record and judge every sealed end.

    Parameters
    ----------
    rows : mapping
        Record sheet -> typed rows. Each gets `is_used`: the record moves its end; releases get
        `is_in_force`.
    cell : callable
        Cell of a column of a row.
    known : Known
    settings : Settings

    Returns
    -------
    findings, rows of `sealed_ends`
    """
    say = _Say(cell, known)
    planned = settings.planning_date.isoformat()
    for sheet, own in rows.items():
        for row in own:
            row.values["is_used"] = (
                _has_things(say, row, known) & _has_day(say, row, planned) & _has_name(say, row)
            )
            if sheet == "releases":
                lifts = _lifts(say, row)
                until = given(row.values, "valid_until")
                in_time = not until or until >= planned
                row.values["is_in_force"] = row.values["is_used"] and lifts and in_time
    _say_equal_times(say, rows["installs"])
    return say.found, list(_sealed(say, rows, known, settings))


def _has_things(say: _Say, row: Row, known: Known) -> bool:
    if row.sheet in _OF_MANY:
        return _has_listed(say, row, known)
    names = ("end_id",) if row.sheet in _OF_ONE_END else _PARENTS
    named = [n for n in names if given(row.values, n)]
    if not named:
        if "end_id" not in row.stopped:
            say.add("record-02", row, "end_id", {"what": _THINGS[row.sheet]})
        return False
    for name in named:
        as_written = known.ids[name].get(given(row.values, name).casefold())
        if as_written is None:
            say.add("record-01", row, name, {"end": given(row.values, name)})
            return False
        row.values[name] = as_written
    return True


def _has_listed(say: _Say, row: Row, known: Known) -> bool:
    listed = ids_in(given(row.values, "end_ids"))
    if not listed:
        say.add("record-02", row, "end_ids", {"what": _THINGS[row.sheet]})
        return False
    as_written = [known.ids["end_id"].get(i.casefold(), "") for i in listed]
    lost = [i for i, found in zip(listed, as_written, strict=True) if not found]
    row.values["end_ids"] = ";".join(i for i in as_written if i) or None
    if lost:
        say.add("record-01", row, "end_ids", {"end": ", ".join(lost)})
    return len(lost) < len(listed)


def _has_day(say: _Say, row: Row, planned: str) -> bool:
    name = DAY_OF[row.sheet]
    day = given(row.values, name)
    if day and day <= planned:
        return True
    if name not in row.stopped:
        why = f"{day} is after the planning date {planned}" if day else "none can be read"
        say.add("record-03", row, name, {"why": why})
    return False


def _has_name(say: _Say, row: Row) -> bool:
    name = NAME_OF[row.sheet]
    if not given(row.values, name) and row.sheet != "releases":
        say.add("record-04", row, name, {})
    return True


def _lifts(say: _Say, row: Row) -> bool:
    """Whether a release lifts the hold that it names."""
    hold, role = given(row.values, "hold"), given(row.values, "role")
    rule = hold_releases().get(hold)
    if rule is None:
        say.add("record-10", row, "hold", {"raw": row.raws.get("hold") or "a blank"})
        return False
    if not rule.is_lifted_by_release:
        say.add("record-12", row, "hold", {"hold": hold, "instead": rule.instead})
        return False
    name = given(row.values, "released_by")
    if role in rule.roles and name:
        return True
    who = ", ".join(t for t in (name or "nobody named", role or "no role named") if t)
    column = "role" if name else "released_by"
    say.add("record-11", row, column, {"hold": hold, "roles": " or ".join(rule.roles), "who": who})
    return False


def _say_equal_times(say: _Say, installs: list[Row]) -> None:
    """Several ends with the same day, lead, start and finish may be written from memory."""
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in installs:
        at = [given(row.values, n) for n in ("seal_date", "lead", "start_time", "finish_time")]
        if row.values["is_used"] and at[2] and at[3]:
            groups.setdefault(tuple(at), []).append(row)
    for (day, _, start, finish), rows in sorted(groups.items(), key=lambda g: g[0]):
        ends = [given(r.values, "end_id") for r in rows]
        if len(set(ends)) < 2:
            continue
        for row in rows:
            row.values["is_time_doubtful"] = True
            row.worsen(contract.ASK)
        fill = {"n": len(rows), "date": day, "start": start, "finish": finish,
                "ends": ", ".join(sorted(set(ends)))}  # fmt: skip
        say.add("record-08", rows[0], "start_time", fill)


def _sealed(
    say: _Say, rows: Mapping[str, list[Row]], known: Known, settings: Settings
) -> Iterator[dict[str, Any]]:
    policy = settings.records
    if policy is None:
        return
    by_end: dict[str, dict[str, list[Row]]] = {}
    for sheet in _OF_ONE_END:
        for row in rows[sheet]:
            if row.values["is_used"]:
                own = by_end.setdefault(given(row.values, "end_id"), {n: [] for n in _OF_ONE_END})
                own[sheet].append(row)
    for end, own in sorted(by_end.items()):
        values = {n: [r.values for r in own[n]] for n in _OF_ONE_END}
        found = judge(
            values["installs"],
            values["inspections"],
            values["cable_changes"],
            policy=policy,
            planning_date=settings.planning_date,
            cables_count=known.cables_count.get(end, math.nan),
        )
        _say_looks(say, own, found)
        if found is not None:
            _say_judgement(say, end, own, found, policy.tolerance_mm)
            yield _sealed_row(end, found)


def _say_looks(say: _Say, own: Mapping[str, list[Row]], found: Judgement | None) -> None:
    first = min((given(r.values, "seal_date") for r in own["installs"]), default="")
    for row in own["inspections"]:
        day = given(row.values, "inspection_date")
        if found is None or day < first:
            say.add("record-14", row, "end_id", {"date": day})
        lacks = missing_to_close(row.values)
        closed = given(row.values, "snag_closed_on") or given(row.values, "snag_closed_by")
        if given(row.values, "snag") and closed and lacks:
            fill = {"snag": given(row.values, "snag"), "missing": lacks}
            say.add("record-21", row, "snag_closed_on", fill)


def _say_judgement(
    say: _Say, end: str, own: Mapping[str, list[Row]], found: Judgement, tolerance_mm: float
) -> None:
    install = _row_of(own["installs"], found.install)
    latest = _row_of(own["inspections"], found.latest) if found.latest else None
    for reason in found.reasons:
        if reason.code:
            column = {"record-07": "lot", "record-09": "between_cables"}.get(
                reason.code, "sealant_at_12_mm"
            )
            say.add(reason.code, install, column, reason.fill)
    if found.most_mm > found.need_mm + tolerance_mm:
        fill = {"most": f"{found.most_mm:g}", "need": f"{found.need_mm:g}"}
        say.add("record-22", install, "sealant_at_12_mm", fill)
    sealed = given(found.install, "seal_date")
    if found.change_id:
        change = next(r for r in own["cable_changes"] if r.key == found.change_id)
        fill = {"what": found.changed, "date": found.changed_on, "sealed": sealed}
        say.add("record-16", change, "change", fill)
    if latest is None:
        return
    if found.changed and not found.change_id:
        seen, _, recorded = found.changed.partition(" cables seen, ")
        fill = {"n": seen, "m": recorded.split(" ")[0], "date": found.changed_on}
        say.add("record-17", latest, "cables_seen_count", fill)
    if given(found.latest, "result") == "accepted" and found.reasons:
        why = "; ".join(r.words for r in found.reasons)
        say.add("record-15", latest, "result", {"date": _day(found.latest), "why": why})
    elif found.is_overdue:
        say.add("record-18", latest, "next_due_on", {"due": found.next_due_on, "end": end})


def _row_of(rows: list[Row], values: dict[str, Any]) -> Row:
    return next(r for r in rows if r.values is values)


def _day(look: dict[str, Any]) -> str:
    return given(look, "inspection_date")


def _sealed_row(end: str, found: Judgement) -> dict[str, Any]:
    install, latest = found.install, found.latest
    accepted = found.look if found.is_accepted else {}
    why = [r.words for r in found.reasons]
    if found.changed:
        why.append(f"{found.changed} on {found.changed_on}")
    if found.is_overdue:
        why.append(f"the look due on {found.next_due_on} is overdue")
    result = given(latest, "result")
    return {
        "end_id": end,
        "install_id": given(install, "install_id"),
        "sealed_on": given(install, "seal_date"),
        "sealed_by": given(install, "lead") or None,
        "least_mm": found.least_mm,
        "most_mm": found.most_mm,
        "need_mm": found.need_mm,
        "measured_count": found.measured_count,
        "lot": given(install, "lot") or None,
        "expires_on": given(install, "expires_on") or None,
        "surface": given(install, "surface") or None,
        "is_time_doubtful": bool(install.get("is_time_doubtful") or False),
        "inspection_id": given(latest, "inspection_id") or None,
        "inspected_on": _day(latest) or None,
        "inspected_by": given(latest, "inspector") or None,
        "inspect_level": given(latest, "level") or None,
        "result": result or None,
        "snag": given(latest, "snag") or None,
        "is_snag_open": bool(given(latest, "snag")) and bool(missing_to_close(latest)),
        "next_due_on": found.next_due_on,
        "is_overdue": found.is_overdue,
        "is_accepted": found.is_accepted,
        "accepted_on": _day(accepted) or None,
        "accepted_by": given(accepted, "inspector") or None,
        "is_changed": bool(found.changed),
        "changed_on": found.changed_on or None,
        "changed_by": found.changed_by or None,
        "change_words": found.changed or None,
        "cables_now_count": found.cables_now_count,
        "is_closed": found.is_closed,
        "is_made": not found.changed and result != "rejected",
        "why_open": "; ".join(why) or (None if found.is_closed else _waits(found)),
    }


def _waits(found: Judgement) -> str:
    if not found.latest:
        return "no look yet"
    return f"the last look found: {given(found.latest, 'result') or 'no result'}"

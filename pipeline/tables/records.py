"""Hand-over tables of the records that come back, and of the stage `records`."""

from __future__ import annotations

from typing import Any, Final

from pipeline.core.record_sheets import STATES, TABLE_OF_RECORD
from pipeline.tables.spec import Col, Table, flag, real, text, whole
from pipeline.tables.survey import sheet_table

_USED: Final = flag("is_used", "the record moves its end: end, day and name can be used")
_EXTRA: Final[dict[str, tuple[Col, ...]]] = {
    "installs": (_USED, flag("is_time_doubtful", "the same times stand at several ends")),
    "releases": (_USED, flag("is_in_force", "it lifts its hold on the planning date")),
}


def _record_table(sheet: str, name: str) -> Table:
    plain = sheet_table(sheet, name)
    return Table(
        name,
        f"records of sheet '{sheet}'",
        plain.key,
        (*plain.columns, *_EXTRA.get(sheet, (_USED,))),
    )


RECORD_TABLES: Final = {n: _record_table(s, n) for s, n in TABLE_OF_RECORD.items()}

SEALED_ENDS = Table(
    "sealed_ends",
    "one row per end that was sealed: what its records come to on the planning date",
    ("end_id",),
    (
        text("end_id", "duct end, or entry without ends"),
        text("install_id", "record of the latest seal", nullable=False),
        text("sealed_on", "day of it, ISO date", nullable=False),
        text("sealed_by", "crew lead"),
        real("least_mm", "least sealant depth of four clock positions, crew and inspector", lo=0),
        real("most_mm", "greatest of them", lo=0),
        real("need_mm", "depth asked for: nominal, or the sheet's where that is more", lo=0),
        whole("measured_count", "clock positions measured", lo=0, hi=4),
        text("lot", "lot, several joined by ';'"),
        text("expires_on", "expiry of the lot, ISO date"),
        text("surface", "surface when sealed"),
        flag("is_time_doubtful", "the same times stand at several ends", nullable=False),
        text("inspection_id", "latest look"),
        text("inspected_on", "day of it, ISO date"),
        text("inspected_by", "inspector"),
        text("inspect_level", "desk, visual, gauge or after flood"),
        text("result", "accepted, snag or rejected"),
        text("snag", "what has to be put right"),
        flag("is_snag_open", "the snag is not closed by day and photo", nullable=False),
        text("next_due_on", "day of the next look, ISO date"),
        flag("is_overdue", "that day has passed after an accepted look", nullable=False),
        flag("is_accepted", "accepted, and its record bears it", nullable=False),
        text("accepted_on", "day of acceptance, ISO date"),
        text("accepted_by", "who accepted"),
        flag("is_changed", "opened again after it was made", nullable=False),
        text("changed_on", "day of the change, ISO date"),
        text("changed_by", "who changed it"),
        text("change_words", "what was changed"),
        real("cables_now_count", "cables by the records; blank = not known", lo=0),
        flag("is_closed", "counts as closed to water", nullable=False),
        flag("is_made", "sealed, not opened again, not rejected", nullable=False),
        text("why_open", "why it does not count as closed; blank = it does"),
    ),
)

STATES_TABLE = Table(
    "states",
    "the state of every duct end, and of every entry without ends",
    ("end_id",),
    (
        text("end_id", "duct end, or entry without ends"),
        text("site_id", "site"),
        text("building_id", "building; blank for chamber ends"),
        text("region", "region"),
        text("state", "state that it is in", words=STATES, nullable=False),
        whole("state_no", "its number, 1 (known) to 13 (changed)", nullable=False, lo=1, hi=13),
        text("moved_on", "day of the last move, ISO date"),
        text("moved_by", "who moved it"),
        text("move_reason", "what moved it", nullable=False),
        text("stuck_reason", "why it is not in the next state", nullable=False),
        text("skipped", "earlier states that were not reached, joined by ';'"),
        text("ahead", "later states that were reached all the same, joined by ';'"),
        text("lifted_holds", "holds lifted by a release in force, joined by ';'"),
    ),
)

AS_BUILT = Table(
    "as_built",
    "one row per building with sealed ends: onset as found and with the accepted seals",
    ("building_id",),
    (
        text("building_id", "building"),
        text("site_id", "site"),
        text("region", "region"),
        whole("package_ends_count", "ends of the package that was ordered", lo=0, nullable=False),
        whole("accepted_count", "of these, accepted and closed", lo=0, nullable=False),
        text("accepted_ids", "accepted ends, joined by ';'"),
        text("open_ids", "ends of the package that are not accepted, joined by ';'"),
        flag(
            "is_complete",
            "all ends of the package are accepted, and no hold stands at one",
            nullable=False,
        ),
        real("found_level_m", "onset level as found"),
        real("found_chance_per_year", "chance of water inside as found", lo=0, hi=1),
        real("built_level_m", "onset level with the accepted seals"),
        real("built_chance_per_year", "the same chance with the accepted seals", lo=0, hi=1),
        text("next_gate", "opening that decides now, in words"),
        text("words", "what the figures leave out"),
    ),
)

INSPECTION_SAMPLE = Table(
    "inspection_sample",
    "made ends that wait for a look: which are drawn, and why",
    ("end_id",),
    (
        text("end_id", "duct end"),
        text("building_id", "building"),
        text("site_id", "site"),
        text("sealed_on", "ISO date"),
        text("look_by", "day by which to look, ISO date"),
        real("weight_count", "points of difficulty, 1 for an easy end", lo=0, nullable=False),
        flag("is_drawn", "in the sample", nullable=False),
        text("reasons", "what makes it hard, or that it was drawn as an easy one", nullable=False),
    ),
)

LOT_USES = Table(
    "lot_uses",
    "which lot went into which end",
    ("lot", "end_id", "install_id"),
    (
        text("lot", "lot"),
        text("end_id", "duct end"),
        text("install_id", "install record"),
        text("building_id", "building"),
        text("site_id", "site"),
        text("sealed_on", "ISO date"),
        text("expires_on", "ISO date"),
        flag("is_expired", "used after its expiry, or the expiry is not known", nullable=False),
        flag("is_latest", "this record is the seal that is in place", nullable=False),
    ),
)

ONSETS_FOUND = Table(
    "onsets_found",
    "onset of each building as found, without our accepted seals; empty where there are none",
    ("building_id",),
    (
        text("building_id", "building"),
        text("gate_id", "opening that decides; blank = none known"),
        real("level_m", "its let-in level"),
        real("chance_per_year", "chance of water inside", lo=0, hi=1),
        whole("unknown_count", "openings whose chance is not known", lo=0, nullable=False),
    ),
)

_STAGE: Final = (ONSETS_FOUND, STATES_TABLE, AS_BUILT, INSPECTION_SAMPLE, LOT_USES)
ALL: Final[dict[str, Any]] = {
    **RECORD_TABLES,
    SEALED_ENDS.name: SEALED_ENDS,
    **{t.name: t for t in _STAGE},
}

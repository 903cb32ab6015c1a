"""records.xlsx: where every end stands, snags, lots, as built, what to look at and when."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.materials import papers_say
from pipeline.core.record_sheets import STATES, given
from pipeline.core.settings import Settings
from pipeline.publish.book import Book, Column
from pipeline.tables import Tables

_STATES: Final = (
    Column("end_id", "Duct end", "", 18),
    Column("region", "Region", "", 9),
    Column("site_id", "Site", "", 9),
    Column("building_id", "Building", "", 12),
    Column("state_no", "No.", "0", 5),
    Column("state", "State", "", 11),
    Column("moved_on", "Since", "", 11),
    Column("moved_by", "By", "", 16),
    Column("move_reason", "What moved it", "", 34),
    Column("stuck_reason", "Why it is not in the next state", "", 60),
    Column("skipped", "Earlier states not on record", "", 20),
    Column("ahead", "Done all the same", "", 18),
    Column("lifted_holds", "Holds lifted", "", 18),
)
_SNAGS: Final = (
    Column("end_id", "Duct end", "", 18),
    Column("building_id", "Building", "", 12),
    Column("status", "State", "", 10),
    Column("snag", "What has to be put right", "", 60),
    Column("found_on", "Found on", "", 11),
    Column("found_by", "By", "", 16),
    Column("record", "Record", "", 14),
    Column("closed_on", "Closed on", "", 11),
    Column("closed_by", "By", "", 16),
    Column("photo", "Photo", "", 16),
)
_LOTS: Final = (
    Column("lot", "Lot", "", 16),
    Column("expires_on", "Expires on", "", 11),
    Column("end_id", "Duct end", "", 18),
    Column("building_id", "Building", "", 12),
    Column("site_id", "Site", "", 9),
    Column("sealed_on", "Sealed on", "", 11),
    Column("install_id", "Record", "", 14),
    Column("is_expired", "Expired, or expiry not known", "", 14),
    Column("is_latest", "In place now", "", 10),
)
_BUILT: Final = (
    Column("building_id", "Building", "", 12),
    Column("site_id", "Site", "", 9),
    Column("region", "Region", "", 9),
    Column("package_ends_count", "Ends of the package", "0", 10),
    Column("accepted_count", "Accepted", "0", 10),
    Column("found_level_m", "Onset as found (m)", "0.000", 11),
    Column("found_chance_per_year", "Chance a year as found", "0.0000", 11),
    Column("built_level_m", "Onset as built (m)", "0.000", 11),
    Column("built_chance_per_year", "Chance a year as built", "0.0000", 11),
    Column("next_gate", "What lets water in now", "", 40),
    Column("accepted_ids", "Accepted ends", "", 40),
    Column("open_ids", "Ends of the package still open", "", 40),
    Column("words", "Not in the figures", "", 40),
)
_SAMPLE: Final = (
    Column("end_id", "Duct end", "", 18),
    Column("building_id", "Building", "", 12),
    Column("site_id", "Site", "", 9),
    Column("is_drawn", "Look at it", "", 9),
    Column("look_by", "By", "", 11),
    Column("reasons", "Why", "", 60),
    Column("weight_count", "Weight in the draw", "0", 9),
    Column("sealed_on", "Sealed on", "", 11),
)
_LOOKS: Final = (
    Column("next_due_on", "Next look by", "", 12),
    Column("status", "On the planning date", "", 16),
    Column("end_id", "Duct end", "", 18),
    Column("building_id", "Building", "", 12),
    Column("kind", "Which look", "", 24),
    Column("install_id", "Record", "", 14),
    Column("sealed_on", "Sealed on", "", 11),
    Column("inspected_on", "Last look", "", 11),
    Column("inspected_by", "By", "", 16),
)
_COUNTS: Final = (
    Column("region", "Region", "", 12),
    *(Column(s, s.capitalize(), "0", 10) for s in STATES),
    Column("all", "All", "0", 8),
)


def write_records(path: Path, tables: Tables, settings: Settings, *, run_id: str) -> None:
    """Write the workbook of the records.

    Parameters
    ----------
    path : Path
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on every sheet.
    """
    planned = settings.planning_date.isoformat()
    said = papers_say(settings)
    label = f"Run {run_id}, planning date {planned}. {said[:1].upper()}{said[1:]}"
    book = Book(path, title="Records of sealed duct ends", run_label=label)
    policy = settings.records
    drawn = "No [records] in the settings." if policy is None else (
        f"{policy.sample_frac:.0%} of the made ends without a look, region by region, drawn at random "
        f"(seed {policy.sample_seed}); hard ends weigh more."
    )  # fmt: skip
    sheets: tuple[tuple[str, str, str, pd.DataFrame, tuple[Column, ...]], ...] = (
        ("Counts", "Duct ends by state",
         "Every duct end and every entry without ends stands in one state.",
         _counts(tables["states"]), _COUNTS),
        ("States", "The state of every duct end",
         "Each move has a day, a name and a reason; records beat what was calculated.",
         tables["states"], _STATES),
        ("Snags", "What has to be put right",
         "A snag is closed by a day and a photo; what a record does not bear stands here too.",
         _snags(tables), _SNAGS),
        ("Lots", "Which lot is in which end", "Filter the first column to trace a lot.",
         tables["lot_uses"], _LOTS),
        ("As built", "Onset as found and with the accepted seals",
         "Only accepted seals that stand are counted as closed.", tables["as_built"], _BUILT),
        ("Inspection sample", "Made ends to look at", drawn,
         _drawn_first(tables["inspection_sample"]), _SAMPLE),
        ("Re-inspection", "When each seal is to be looked at next",
         "A seal whose look is overdue no longer counts as closed.",
         _looks(tables, planned), _LOOKS),
    )  # fmt: skip
    for name, title, note, frame, columns in sheets:
        book.table(book.sheet(name, title, note, columns), frame, columns)
    book.close()


def _counts(states: pd.DataFrame) -> pd.DataFrame:
    """Ends by region and state, and their sum."""
    rows: list[dict[str, Any]] = []
    named = states["region"].fillna("not known")
    for region in [*sorted(set(named)), "all regions"]:
        own = states if region == "all regions" else states[named == region]
        found = own["state"].value_counts()
        rows.append(
            {"region": region, **{s: int(found.get(s, 0)) for s in STATES}, "all": len(own)}
        )
    return pd.DataFrame(rows)


def _buildings(tables: Tables) -> dict[str, str]:
    return {r["end_id"]: given(r, "building_id") for r in tables["states"].to_dict("records")}


def _snags(tables: Tables) -> pd.DataFrame:
    """Snags of every look, then accepted looks that the record does not bear; open ones first."""
    buildings = _buildings(tables)
    rows = [
        {
            "end_id": r["end_id"],
            "building_id": buildings.get(r["end_id"]),
            "status": "closed" if given(r, "snag_closed_on") and given(r, "snag_photo") else "open",
            "snag": given(r, "snag"),
            "found_on": given(r, "inspection_date"),
            "found_by": given(r, "inspector"),
            "record": r["inspection_id"],
            "closed_on": given(r, "snag_closed_on"),
            "closed_by": given(r, "snag_closed_by"),
            "photo": given(r, "snag_photo"),
        }
        for r in tables["inspections"].to_dict("records")
        if bool(r["is_used"]) and given(r, "snag")
    ]
    rows += [
        {
            "end_id": s["end_id"],
            "building_id": buildings.get(s["end_id"]),
            "status": "open",
            "snag": f"not closed: {given(s, 'why_open')}",
            "found_on": given(s, "changed_on") or given(s, "inspected_on"),
            "found_by": given(s, "changed_by") or given(s, "inspected_by"),
            "record": s["install_id"],
        }
        for s in tables["sealed_ends"].to_dict("records")
        if not bool(s["is_closed"])
        and (given(s, "result") in ("accepted", "rejected") or bool(s["is_changed"]))
    ]
    rows.sort(key=lambda r: (r["status"] != "open", r["end_id"], r["found_on"], r["record"]))
    return pd.DataFrame(rows, columns=[c.name for c in _SNAGS])


def _drawn_first(sample: pd.DataFrame) -> pd.DataFrame:
    drawn = ~sample["is_drawn"].astype(bool)
    return sample.assign(_later=drawn).sort_values(["_later", "look_by", "end_id"], kind="stable")


def _looks(tables: Tables, planned: str) -> pd.DataFrame:
    """Every sealed end that is in place, by the day of its next look."""
    buildings = _buildings(tables)
    sealed = tables["sealed_ends"]
    rows = [
        {
            **{n: given(s, n) for n in ("next_due_on", "end_id", "install_id", "sealed_on",
                                        "inspected_on", "inspected_by")},
            "building_id": buildings.get(s["end_id"]),
            "status": "overdue" if given(s, "next_due_on") < planned else "to come",
            "kind": "next look after acceptance" if bool(s["is_accepted"]) else "look to accept it",
        }
        for s in sealed.to_dict("records")
        if not bool(s["is_changed"])
    ]  # fmt: skip
    rows.sort(key=lambda r: (r["next_due_on"], r["end_id"]))
    return pd.DataFrame(rows, columns=[c.name for c in _LOOKS])

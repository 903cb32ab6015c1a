"""The records of the example's first autumn of work: typed, so that every state is reached.

One building (NA03-B1) has its whole package sealed and accepted; at another (S02-B1) each end of
the package stands in another state. Names and lots are invented.
"""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from typing import Any, Final

import openpyxl

from sample_surveys.example_files import save_csv, save_workbook
from sample_surveys.example_firms import about_sheet

Row = dict[str, Any]
_SEED: Final = 731
_CLOCK: Final = ("12", "3", "6", "9")
_NA03: Final = ("NA03-B1-E1-01", "NA03-B1-E1-02", "NA03-B1-E1-03")
_S02: Final = (
    "S02-B1-E1-01", "S02-B1-E1-02", "S02-B1-E1-03", "S02-B1-E1-04", "S02-B1-E2-01",
    "S02-B1-E2-02", "S02-B1-E2-03",
)  # fmt: skip
# end, day, start, finish, lot, surface, between cables
_MADE: Final = (
    ("NA03-B1-E1-01", "2025-10-14", "09:10", "10:20", "LOT-5107", "dry", "yes"),
    ("NA03-B1-E1-02", "2025-10-14", "10:40", "11:45", "LOT-5107", "dry", "yes"),
    ("NA03-B1-E1-03", "2025-10-14", "12:50", "13:35", "LOT-5107", "dry", "single cable or none"),
    ("S02-B1-E1-01", "2025-11-04", "09:00", "10:10", "LOT-5107", "dry", "yes"),
    ("S02-B1-E1-02", "2025-11-04", "10:25", "11:30", "LOT-5108", "dry", "yes"),
    ("S02-B1-E1-03", "2025-11-04", "12:40", "13:50", "LOT-5108", "damp", "yes"),
    ("S02-B1-E1-04", "2026-02-24", "09:05", "10:30", "LOT-5108", "damp", "yes"),
    ("S02-B1-E2-01", "2026-02-24", "10:50", "12:05", "LOT-5108", "dry", "yes"),
)
_CABLES: Final = {
    "NA03-B1-E1-01": 4, "NA03-B1-E1-02": 3, "NA03-B1-E1-03": 0, "S02-B1-E1-01": 2,
    "S02-B1-E1-02": 3, "S02-B1-E1-03": 3, "S02-B1-E1-04": 6, "S02-B1-E2-01": 4,
}  # fmt: skip
_EXPIRY: Final = {"LOT-5107": "2026-08-31", "LOT-5108": "2026-09-30"}
# end, day, level, result, snag
_LOOKS: Final = (
    ("NA03-B1-E1-01", "2025-10-28", "gauge", "accepted", None),
    ("NA03-B1-E1-02", "2025-10-28", "gauge", "accepted", None),
    ("NA03-B1-E1-03", "2025-10-28", "gauge", "accepted", None),
    ("S02-B1-E1-01", "2025-11-18", "gauge", "accepted", None),
    ("S02-B1-E1-02", "2025-11-18", "gauge", "accepted", None),
    ("S02-B1-E1-03", "2025-11-18", "gauge", "snag", "label missing; a cable lies bare of sealant"),
)
_HEADS: Final = {
    "installs": (
        "install_id", "end_id", "seal_date", "start_time", "finish_time", "lead", "crew",
        "air_test", "layer_drawn_mm", "found_as_drawn", "cables_found_count", "surface",
        "air_temp_deg", *(f"filler_at_{h}_mm" for h in _CLOCK),
        *(f"sealant_at_{h}_mm" for h in _CLOCK), "between_cables", "lot", "expires_on",
        "cartridges_count", "label_fixed", "photo_before", "photo_after", "leak_1h", "leak_24h",
        "signed_by",
    ),
    "inspections": (
        "inspection_id", "end_id", "install_id", "inspection_date", "inspector", "level", "result",
        *(f"sealant_at_{h}_mm" for h in _CLOCK), "between_cables", "cables_seen_count",
        "gap_around_duct", "water_passing", "snag",
    ),
    "cable_changes": (
        "change_id", "end_id", "change_date", "change", "cables_count", "diameter_mm", "done_by",
        "change_sheet",
    ),
    "orders_placed": (
        "order_line_id", "order_id", "building_id", "end_ids", "order_date", "approved_by",
    ),
    "kits_packed": ("kit_id", "building_id", "end_ids", "packed_date", "packed_by", "lots"),
}  # fmt: skip
_RELEASES: Final = (
    {
        "release_id": "R-001", "end_id": "NA03-B1-E1-03", "hold": "draw cord",
        "role": "owner's engineer", "released_by": "R. Vane", "release_date": "2025-10-06",
        "evidence": "letter NA03/7", "condition": "coil the cord on the dry side",
    },
    {
        "release_id": "R-002", "end_id": "N02-B1-E3-01", "hold": "fluid-filled",
        "role": "cable owner", "released_by": "M. Thorne", "release_date": "2026-02-11",
        "evidence": "method N02/2",
        "condition": "a person of the cable's owner stands by while the crew works",
    },
)  # fmt: skip


def _installs() -> list[Row]:
    dice = random.Random(_SEED)
    out = []
    for number, (end, day, start, finish, lot, surface, between) in enumerate(_MADE, start=1):
        row: Row = {
            "install_id": f"IN-{number:03d}", "end_id": end, "seal_date": day,
            "start_time": start, "finish_time": finish,
            "lead": "A. Holm" if end.startswith("NA") else "C. Reed", "crew": "crew 2",
            "air_test": "yes", "layer_drawn_mm": 20, "found_as_drawn": "yes",
            "cables_found_count": _CABLES[end], "surface": surface,
            "air_temp_deg": dice.randint(8, 15), "between_cables": between, "lot": lot,
            "expires_on": _EXPIRY[lot], "cartridges_count": 1, "label_fixed": "yes",
            "photo_before": f"PI-{number:03d}-a", "photo_after": f"PI-{number:03d}-b",
            "leak_1h": "none", "leak_24h": "none", "signed_by": "signed",
        }  # fmt: skip
        for hour in _CLOCK:
            row[f"sealant_at_{hour}_mm"] = dice.randint(20, 23)
            row[f"filler_at_{hour}_mm"] = dice.randint(24, 27)
        out.append(row)
    return out


def _inspections(installs: list[Row]) -> list[Row]:
    dice = random.Random(_SEED + 1)
    made = {r["end_id"]: r["install_id"] for r in installs}
    out = []
    for number, (end, day, level, result, snag) in enumerate(_LOOKS, start=1):
        row: Row = {
            "inspection_id": f"Q-{number:03d}", "end_id": end, "install_id": made[end],
            "inspection_date": day, "inspector": "D. Marsh", "level": level, "result": result,
            "between_cables": "yes" if _CABLES[end] > 1 else "single cable or none",
            "cables_seen_count": _CABLES[end], "gap_around_duct": "none",
            "water_passing": "none", "snag": snag,
        }  # fmt: skip
        for hour in _CLOCK:
            row[f"sealant_at_{hour}_mm"] = dice.randint(19, 23)
        out.append(row)
    return out


def _rows() -> dict[str, list[Row]]:
    installs = _installs()
    return {
        "installs": installs,
        "inspections": _inspections(installs),
        "cable_changes": [
            {
                "change_id": "CH-001", "end_id": "S02-B1-E1-02", "change_date": "2026-01-19",
                "change": "cable added", "cables_count": 1, "diameter_mm": 22,
                "done_by": "P. Lund", "change_sheet": "S02/4",
            }
        ],
        "orders_placed": [
            {
                "order_line_id": f"OL-{n}", "order_id": f"PO-25-{n}", "building_id": building,
                "end_ids": "; ".join(ends), "order_date": day, "approved_by": "E. Stone",
            }
            for n, building, ends, day in (
                (1, "NA03-B1", _NA03, "2025-09-08"), (2, "S02-B1", _S02, "2025-09-29"),
            )
        ],
        "kits_packed": [
            {
                "kit_id": f"KIT-{n}", "building_id": building, "end_ids": "; ".join(ends),
                "packed_date": day, "packed_by": "depot, F. Dale", "lots": lots,
            }
            for n, building, ends, day, lots in (
                (1, "NA03-B1", _NA03, "2025-10-10", "LOT-5107"),
                (2, "S02-B1", _S02[:3], "2025-10-31", "LOT-5107; LOT-5108"),
                (3, "S02-B1", _S02[3:6], "2026-02-20", "LOT-5108"),
            )
        ],
    }  # fmt: skip


def write_records(folder: Path) -> None:
    """The workbook of the records and the list of releases."""
    book = openpyxl.Workbook()
    about_sheet(book, {"programme": "example", "date_style": "year-month-day"})
    rows = _rows()
    for name, heads in _HEADS.items():
        sheet = book.create_sheet(name)
        sheet.append(list(heads))
        for row in rows[name]:
            sheet.append([_cell(h, row.get(h)) for h in heads])
    save_workbook(folder / "first_autumn.xlsx", book)
    heads = tuple(dict.fromkeys(k for r in _RELEASES for k in r))
    save_csv(folder / "releases.csv", heads, _RELEASES)


def _cell(heading: str, value: Any) -> Any:
    is_day = heading.endswith("_date") or heading == "expires_on"
    return dt.date.fromisoformat(value) if is_day and value else value

"""Releases against the holds that stand, and seals that were made under a hold."""

from __future__ import annotations

from typing import Any

from pipeline.core.findings import Cell, Finding, make
from pipeline.core.record_sheets import given
from pipeline.tables import Tables

Row = dict[str, Any]


def findings_of_holds(tables: Tables) -> list[Finding]:
    """Findings record-13 (a release that lifts nothing) and record-20 (sealed under a hold)."""
    designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
    letters = {
        (c["file"], c["sheet"], c["house_name"]): str(c["letter"])
        for c in tables["columns"].to_dict("records")
    }
    out = []
    for row in tables["releases"].to_dict("records"):
        if not row["is_in_force"]:
            continue
        thing = given(row, "end_id") or given(row, "building_id") or given(row, "site_id")
        scope = [d for d in designs.values() if _is_in(d, row) and bool(d["is_needed"])]
        if scope and not any(_has(d, "lifted_codes", str(row["hold"])) for d in scope):
            out.append(_say("record-13", row, letters, {"end": thing, "hold": row["hold"]}))
    installs = {str(r["install_id"]): r for r in tables["installs"].to_dict("records")}
    for sealed in tables["sealed_ends"].to_dict("records"):
        design = designs.get(str(sealed["end_id"]), {})
        standing = given(design, "standing_codes")
        if standing and not bool(sealed["is_changed"]):
            fill = {"end": sealed["end_id"], "date": sealed["sealed_on"],
                    "hold": standing.replace(";", ", ")}  # fmt: skip
            out.append(_say("record-20", installs[str(sealed["install_id"])], letters, fill))
    return out


def _is_in(design: Row, release: Row) -> bool:
    """Whether an end lies in what a release names; the narrowest thing counts."""
    name = next(n for n in ("end_id", "building_id", "site_id") if given(release, n))
    return given(design, name) == given(release, name)


def _has(design: Row, column: str, code: str) -> bool:
    return code in given(design, column).split(";")


def _say(
    code: str, row: Row, letters: dict[tuple[Any, Any, Any], str], fill: dict[str, Any]
) -> Finding:
    is_release = code == "record-13"
    column = "hold" if is_release else "end_id"
    letter = letters.get((row["file"], row["sheet"], column), "")
    sheet, name = ("releases", "release_id") if is_release else ("installs", "install_id")
    where = Cell(file=given(row, "file"), sheet=given(row, "sheet"), row=int(row["row"]),
                 column=column, cell=f"{letter}{int(row['row'])}" if letter else "")  # fmt: skip
    return make(
        code, where, key=f"{sheet}/{row[name]}", as_read=given(row, column),
        fill={"record": f"The release {row[name]}", **fill},
    )  # fmt: skip

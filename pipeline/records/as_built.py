"""What has been gained so far: onset of each building as found and with its accepted seals."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.core.onsets import building_onsets
from pipeline.core.record_sheets import given, ids_in
from pipeline.tables import Tables

Row = dict[str, Any]


def as_built_rows(tables: Tables) -> list[Row]:
    """Rows of `as_built`: every building that has a sealed end.

    Parameters
    ----------
    tables : Tables
        sealed_ends, designs, orders_placed, reach, reach_sources, onsets_found.

    Returns
    -------
    list of dict

    Notes
    -----
    The package is what was ordered for the building. Where no order is on record it is every end
    that was sealed or is still to be sealed: nothing is certified on less.
    """
    sealed = {str(s["end_id"]): s for s in tables["sealed_ends"].to_dict("records")}
    designs = tables["designs"].to_dict("records")
    by_building: dict[str, list[Row]] = {}
    for design in designs:
        by_building.setdefault(given(design, "building_id"), []).append(design)
    ordered = _ordered(tables)
    built = _onsets(building_onsets(tables["reach"], tables["reach_sources"]))
    # where no record closes an end the table is empty: as found and as built are the same
    found = _onsets(tables["onsets_found"])
    rows = []
    for building, own in sorted(by_building.items()):
        made = [str(d["end_id"]) for d in own if str(d["end_id"]) in sealed]
        if not building or not made:
            continue
        mine = {str(d["end_id"]) for d in own}
        package = mine & ordered.get(building, set())
        if not package:
            package = {str(d["end_id"]) for d in own if bool(d["is_needed"])} | set(made)
        closed = sorted(e for e in made if bool(sealed[e]["is_closed"]))
        accepted = [e for e in closed if e in package]
        still = sorted(package - set(closed))
        now = built.get(building, {})
        before = found.get(building, now)
        held = [str(d["end_id"]) for d in own if given(d, "standing_codes")]
        held = [e for e in held if e in package and e in closed]
        rows.append(
            {
                "building_id": building,
                "site_id": given(own[0], "site_id") or None,
                "region": given(own[0], "region") or None,
                "package_ends_count": len(package),
                "accepted_count": len(accepted),
                "accepted_ids": ";".join(closed) or None,
                "open_ids": ";".join(still) or None,
                "is_complete": not still and not held,
                "found_level_m": before.get("level_m"),
                "found_chance_per_year": before.get("chance_per_year"),
                "built_level_m": now.get("level_m"),
                "built_chance_per_year": now.get("chance_per_year"),
                "next_gate": _gate_words(now),
                "words": _left_out(now, sealed, made, held),
            }
        )
    return rows


def _ordered(tables: Tables) -> dict[str, set[str]]:
    """Ends that were ordered, by the building that each lies in."""
    places = {
        str(d["end_id"]): given(d, "building_id") for d in tables["designs"].to_dict("records")
    }
    out: dict[str, set[str]] = {}
    for row in tables["orders_placed"].to_dict("records"):
        if row["is_used"]:
            for end in ids_in(given(row, "end_ids")):
                out.setdefault(places.get(end, ""), set()).add(end)
    return out


def _onsets(frame: Any) -> dict[str, Row]:
    return {str(r["building_id"]): r for r in frame.to_dict("records")}


def _gate_words(now: Row) -> str | None:
    if not given(now, "gate_id"):
        return "none known" if now else None
    level = "no level" if pd.isna(now["level_m"]) else f"{now['level_m']:.3f} m"
    return f"{now['gate_id']} ({level}), {chance_words(float(now['chance_per_year']))}"


def chance_words(chance_per_year: float) -> str:
    """A chance a year in words."""
    return (
        "no known chance" if chance_per_year <= 0 else f"1 in {1.0 / chance_per_year:,.0f} a year"
    )


def _left_out(now: Row, sealed: dict[str, Row], made: list[str], held: list[str]) -> str | None:
    out = []
    if now and int(now["unknown_count"]):
        out.append(f"{int(now['unknown_count'])} openings of unknown chance are not in the figures")
    waiting = [e for e in made if not bool(sealed[e]["is_closed"])]
    if waiting:
        out.append(f"sealed and not counted as closed: {', '.join(sorted(waiting))}")
    if held:
        out.append(f"sealed while a hold stood, so no certificate: {', '.join(sorted(held))}")
    return "; ".join(out) or None

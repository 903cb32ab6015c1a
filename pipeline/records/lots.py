"""Which lot went into which end: one query when a lot is recalled."""

from __future__ import annotations

from typing import Any

from pipeline.core.record_sheets import given, ids_in
from pipeline.tables import Tables


def lot_rows(tables: Tables) -> list[dict[str, Any]]:
    """Rows of `lot_uses`: every lot of every install record that can be used.

    Parameters
    ----------
    tables : Tables
        installs, sealed_ends, designs.

    Returns
    -------
    list of dict
        Lots sorted; records whose lot is not known stand under 'not known'.
    """
    sealed = tables["sealed_ends"]
    latest = set(sealed["install_id"])
    places = {
        str(r["end_id"]): (given(r, "building_id") or None, given(r, "site_id") or None)
        for r in tables["designs"].to_dict("records")
    }
    rows = []
    for row in tables["installs"].to_dict("records"):
        if not row["is_used"]:
            continue
        expires, day = given(row, "expires_on"), given(row, "seal_date")
        building, site = places.get(str(row["end_id"]), (None, None))
        for lot in ids_in(given(row, "lot")) or ["not known"]:
            rows.append(
                {
                    "lot": lot,
                    "end_id": row["end_id"],
                    "install_id": row["install_id"],
                    "building_id": building,
                    "site_id": site,
                    "sealed_on": day,
                    "expires_on": expires or None,
                    "is_expired": not expires or expires < day,
                    "is_latest": row["install_id"] in latest,
                }
            )
    return rows

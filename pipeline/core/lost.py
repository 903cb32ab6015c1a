"""Openings that name no building: in which building each of them may be."""

from __future__ import annotations

from typing import Any

import pandas as pd


def book_of(file: str) -> str:
    """The workbook of a file: the folder, where the sheets are files of their own."""
    return file.rpartition("/")[0] if file.casefold().endswith(".csv") else file


def possible_buildings(tables: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    """Buildings that an opening without a known one may belong to.

    Parameters
    ----------
    tables : dict of DataFrame
        buildings, entries, ends, chambers.

    Returns
    -------
    dict
        Entry or end -> buildings of its site, or of its whole workbook where the site is not known
        either (law 1 of the house). Ends at chambers and openings with a building are left out.
    """
    buildings = tables["buildings"]
    known = set(buildings["building_id"].astype(str))
    by_site: dict[str, list[str]] = {}
    by_book: dict[str, list[str]] = {}
    for building, site, file in zip(
        buildings["building_id"], buildings["site_id"], buildings["file"], strict=True
    ):
        by_book.setdefault(book_of(str(file)), []).append(str(building))
        if not pd.isna(site):
            by_site.setdefault(str(site), []).append(str(building))
    out: dict[str, tuple[str, ...]] = {}

    def note(opening: str, building: Any, site: Any, file: Any) -> None:
        if not pd.isna(building) and str(building) in known:
            return
        named = by_site.get(str(site)) if not pd.isna(site) else None
        out[opening] = tuple(sorted(named or by_book.get(book_of(str(file)), [])))

    entries = tables["entries"]
    for entry, building, file in zip(
        entries["entry_id"], entries["building_id"], entries["file"], strict=True
    ):
        note(str(entry), building, None, file)
        note(f"{entry}/gap", building, None, file)
    chambers = set(tables["chambers"]["chamber_id"].astype(str))
    ends = tables["ends"]
    for end, kind, place, building, site, file in zip(
        ends["end_id"], ends["place_kind"], ends["place_id"], ends["building_id"], ends["site_id"],
        ends["file"], strict=True,
    ):  # fmt: skip
        if kind != "chamber" and str(place) not in chambers:
            note(str(end), building, site, file)
    return out

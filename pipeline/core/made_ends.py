"""Ends that are sealed by record: what is left to do at each, and where a crew has no work left."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pipeline.core.record_sheets import given

Row = dict[str, Any]


def is_made(sealed: Row) -> bool:
    """True for a seal that stands by its record: not opened again, not rejected."""
    return str(sealed.get("is_made")) == "True"


def open_snag(sealed: Row) -> str:
    """What has to be put right at a seal that stands; '' where no snag is open."""
    if not is_made(sealed) or str(sealed.get("is_snag_open")) != "True":
        return ""
    return given(sealed, "snag") or "the snag is not described: ask the inspector"


def made_words(sealed: Row) -> str:
    """Day of a seal that stands, and what its record comes to."""
    day = given(sealed, "sealed_on")
    if str(sealed.get("is_closed")) == "True":
        looked = given(sealed, "accepted_on")
        return f"{day}, accepted" + (f" {looked}" if looked else "")
    due, why = given(sealed, "next_due_on"), given(sealed, "why_open") or "not accepted"
    return f"{day}, {why}" + (f", due by {due}" if due and why == "no look yet" else "")


def work_of(end_ids: Iterable[str], sealed: dict[str, Row]) -> list[str]:
    """Of some ends those where a crew has work: to seal, or a snag to make good."""
    return [e for e in end_ids if not is_made(sealed.get(e, {})) or open_snag(sealed[e])]


def sites_without_work(tables: dict[str, Any]) -> list[str]:
    """Sites whose chosen packages are all sealed by record, without an open snag: no work pack.

    Parameters
    ----------
    tables : dict
        choices, packages, sealed_ends.

    Returns
    -------
    list of str
        In order.
    """
    sealed = {str(s["end_id"]): s for s in tables["sealed_ends"].to_dict("records")}
    ends = dict(zip(tables["packages"]["package_id"], tables["packages"]["end_ids"], strict=True))
    left: dict[str, bool] = {}
    for row in tables["choices"].to_dict("records"):
        if bool(row["is_chosen"]):
            ids = [e for e in str(ends[row["package_id"]]).split(";") if e]
            site = str(row["site_id"])
            left[site] = left.get(site, False) or bool(work_of(ids, sealed))
    return sorted(site for site, has_work in left.items() if not has_work)

"""What may still change the quantities: holds, designs not possible, prices, dates."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from pipeline.core import contract
from pipeline.procurement.needs import waiting_ends
from pipeline.tables import Tables, blank


def open_risks(tables: Tables, lines: pd.DataFrame) -> pd.DataFrame:
    """Rows of the sheet 'Open risks'.

    Parameters
    ----------
    tables : Tables
        designs, packages, choices.
    lines : DataFrame
        Table `order_lines`.

    Returns
    -------
    DataFrame
        Table `open_risks`.

    """
    rows = [*_ends(tables), *_waiting(tables), *_structure(tables), *_lines(lines)]
    if not rows:
        return blank("open_risks")
    return pd.DataFrame(rows).drop_duplicates(["region", "risk", "subject"])


def _ends(tables: Tables) -> Iterator[dict[str, Any]]:
    """Ends of chosen buildings whose quantity is held or only estimated."""
    regions = sorted(set(tables["choices"]["region"].dropna()))
    waiting: dict[str, str] = {}
    for region in regions:
        waiting |= waiting_ends(tables, str(region))
    designs = tables["designs"]
    for row in designs[designs["end_id"].isin(waiting)].to_dict("records"):
        held = row["firmness"] == contract.HELD
        why = row["hold_words"] if held else row["not_designed_reason"]
        yield {
            "region": row["region"],
            "risk": _waits(held=held, belongs_to=waiting[str(row["end_id"])]),
            "subject": row["end_id"],
            "words": "no reason noted" if pd.isna(why) else str(why),
            "quantity": row["sealant_ml"],
            "unit": "ml of sealant",
        }


def _waits(*, held: bool, belongs_to: str) -> str:
    """The kind of a risk of an end, by what it waits for and whether its step is chosen."""
    if belongs_to == contract.LATER_STEP:
        return (
            "held in a step that is not chosen: bought after release and choice"
            if held
            else "provisional in a step that is not chosen"
        )
    return (
        "held in the chosen package: bought after release" if held else "provisional: not measured"
    )


def _waiting(tables: Tables) -> Iterator[dict[str, Any]]:
    """Buildings left out because ends must be released first: their release adds quantity."""
    choices, packages = tables["choices"], tables["packages"]
    out = set(choices.loc[~choices["is_chosen"].astype(bool), "building_id"])
    designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
    waiting = packages[packages["building_id"].isin(out) & (packages["held_count"] > 0)]
    last = waiting.sort_values("step_no").groupby("building_id").tail(1)
    for row in last.to_dict("records"):
        ends = str(row["end_ids"]).split(";")
        mine = [designs[e] for e in ends if e in designs]
        known = [float(d["sealant_ml"]) for d in mine if not _blank(d["sealant_ml"])]
        said = [f"{row['held_count']} of {row['ends_count']} ends held", _until(row), *_why(mine)]
        yield {
            "region": row["region"],
            "risk": "left out until released",
            "subject": row["building_id"],
            "words": "; ".join(said),
            "quantity": sum(known),
            "unit": "ml of sealant",
        }


def _why(designs: list[dict[str, Any]]) -> list[str]:
    """What holds each end back from design or order, ends of one reason together."""
    ends: dict[str, list[str]] = {}
    for row in designs:
        if row.get("hold_reach") in (contract.HOLD_DESIGN, contract.HOLD_ORDER):
            words = row.get("hold_words")
            ends.setdefault("no reason noted" if _blank(words) else str(words), []).append(
                str(row["end_id"])
            )
    return [f"{', '.join(ids)} held: {words}" for words, ids in ends.items()]


def _until(package: dict[str, Any]) -> str:
    """The part of a package's words that tells what a release would bring."""
    said = [] if _blank(package["assumed"]) else str(package["assumed"]).split("; ")
    return "; ".join(p for p in said if "until released" in p) or "no gain known yet"


def _structure(tables: Tables) -> Iterator[dict[str, Any]]:
    """Chosen packages with a structural hold: the engineer may change or stop them."""
    choices, packages = tables["choices"], tables["packages"]
    chosen = set(choices.loc[choices["is_chosen"].astype(bool), "package_id"].dropna())
    held = packages[packages["package_id"].isin(chosen) & packages["hold"].notna()]
    for row in held.to_dict("records"):
        yield {
            "region": row["region"],
            "risk": "structural hold",
            "subject": row["building_id"],
            "words": row["hold"],
            "quantity": row["ends_count"],
            "unit": "ends",
        }


def _lines(lines: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Order windows that clash, prices that are missing or end before the line is needed."""
    for row in lines.to_dict("records"):
        subject = f"{row['item_id']} {row['month']}"
        line = {
            "region": row["region"],
            "subject": subject,
            "quantity": row["pieces_net_count"],
            "unit": "pieces",
        }
        if not _blank(row.get("clash")):
            kind = "no price" if _blank(row.get("line_minor")) else "order window"
            yield {**line, "risk": kind, "words": row["clash"]}
        end, needed = row.get("price_valid_to"), row.get("need_by")
        if not _blank(end) and str(end) < str(needed):
            yield {
                **line,
                "risk": "price ends",
                "words": f"price valid to {end}, goods needed by {needed}: order by then",
            }


def _blank(value: Any) -> bool:
    return value is None or bool(pd.isna(value))

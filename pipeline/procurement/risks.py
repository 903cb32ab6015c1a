"""What may still change the quantities: holds, designs not possible, prices, dates."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from pipeline.core import contract
from pipeline.core.settings import Settings
from pipeline.tables import Tables, blank


def open_risks(tables: Tables, lines: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Rows of the sheet 'Open risks'.

    Parameters
    ----------
    tables : Tables
        designs, choices.
    lines : DataFrame
        Table `order_lines`.
    settings : Settings

    Returns
    -------
    DataFrame
        Table `open_risks`.

    """
    rows = [*_ends(tables), *_lines(lines, settings)]
    if not rows:
        return blank("open_risks")
    return pd.DataFrame(rows).drop_duplicates(["region", "risk", "subject"])


def _ends(tables: Tables) -> Iterator[dict[str, Any]]:
    """Ends of chosen buildings whose quantity is held or only estimated."""
    choices, designs = tables["choices"], tables["designs"]
    chosen = set(choices.loc[choices["is_chosen"].astype(bool), "building_id"])
    waiting = designs[designs["building_id"].isin(chosen) & designs["is_needed"].astype(bool)]
    for row in waiting.to_dict("records"):
        if row["firmness"] == contract.FIRM:
            continue
        held = row["firmness"] == contract.HELD
        why = row["hold_words"] if held else row["not_designed_reason"]
        yield {
            "region": row["region"],
            "risk": "held: bought after release" if held else "provisional: not measured",
            "subject": row["end_id"],
            "words": "no reason noted" if pd.isna(why) else str(why),
            "quantity": row["sealant_ml"],
            "unit": "ml of sealant",
        }


def _lines(lines: pd.DataFrame, settings: Settings) -> Iterator[dict[str, Any]]:
    del settings
    for row in lines.to_dict("records"):
        clash = row.get("clash")
        if clash is not None and not pd.isna(clash):
            yield {
                "region": row["region"],
                "risk": "order window",
                "subject": f"{row['item_id']} {row['month']}",
                "words": clash,
                "quantity": row["pieces_net_count"],
                "unit": "pieces",
            }

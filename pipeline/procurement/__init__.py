"""Turns pieces into packs, dates and order lines by region."""

from __future__ import annotations

from pipeline.core.buying import Buying
from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.procurement.lines import order_lines
from pipeline.procurement.needs import needs_table
from pipeline.procurement.risks import open_risks
from pipeline.tables import Tables


def procurement(
    tables: Tables, settings: Settings, *, materials: Materials, buying: Buying
) -> Tables:
    """Count what the chosen work needs, and turn it into order lines.

    Parameters
    ----------
    tables : Tables
        designs, pieces, packages, choices, crew_days.
    settings : Settings
    materials : Materials
        Counting level, spare rule and unit of every item.
    buying : Buying
        Prices, depots, stock, calendar.

    Returns
    -------
    Tables
        needs, order_lines, open_risks.

    """
    needs = needs_table(tables, settings, materials, buying)
    lines = order_lines(needs, tables, settings, materials=materials, buying=buying)
    risks = open_risks(tables, lines)
    return {"needs": needs, "order_lines": lines, "open_risks": risks}


__all__ = ["procurement"]

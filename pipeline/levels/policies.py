"""The policy of each site: value on its row, then its class, then the programme's."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pipeline.core.settings import Policy, Settings
from pipeline.tables import Tables, blank

_PARTS: Final = ("design_aep", "climate", "defences", "freeboard_m")


def policy_table(tables: Tables, settings: Settings) -> pd.DataFrame:
    """Design event, climate, defences and freeboard of every site, each with its origin.

    Parameters
    ----------
    tables : Tables
        Needs `sites`.
    settings : Settings

    Returns
    -------
    DataFrame
        Table `policies`.

    Notes
    -----
    A site of no stated class, or one that names an event the settings do not know, gets the
    strictest of all policies (rarest event, largest freeboard); so does a part whose value on the
    site row could not be used.

    """
    rows = [_of_site(row, settings) for row in tables["sites"].to_dict("records")]
    return pd.DataFrame(rows) if rows else blank("policies")


def _of_site(row: dict[str, Any], settings: Settings) -> dict[str, Any]:
    flood = settings.flood
    named, origin = _named(row, settings)
    parts: dict[str, Any] = {}
    words = []
    for part in _PARTS:
        value = getattr(named, part) if named is not None else None
        where = origin
        if value is None:
            value, where = getattr(flood, part), "[flood]"
        parts[part] = value
        words.append(f"{part} from {where}")
    stated = row.get("freeboard_m")
    if "freeboard_m" in _listed(row, "stopped"):
        parts["freeboard_m"] = strictest(settings).freeboard_m
        words[-1] = "freeboard_m the largest of all policies (the one on the site row is not used)"
    elif stated is not None and not pd.isna(stated):
        parts["freeboard_m"] = float(stated)
        if "freeboard_m" in _listed(row, "doubted"):  # used as typed, but it clears nothing
            parts["freeboard_m"] = max(parts["freeboard_m"], strictest(settings).freeboard_m)
        words[-1] = (
            f"freeboard_m from the site row ({row['file']}, {row['sheet']} row {row['row']})"
        )
    return {
        "site_id": row["site_id"],
        "design_aep_per_year": parts["design_aep"],
        "climate": parts["climate"],
        "defences": parts["defences"],
        "freeboard_m": parts["freeboard_m"],
        "origin": "; ".join(words),
    }


def _named(row: dict[str, Any], settings: Settings) -> tuple[Policy | None, str]:
    policies = settings.flood.policy
    if "design_event" in _listed(row, "stopped"):
        return strictest(settings), "the strictest policy (design_event of the row is not used)"
    event = _text(row.get("design_event"))
    if event:
        if event in policies:
            return policies[event], f"design_event '{event}' of the site row"
        return strictest(settings), f"the strictest policy (design_event '{event}' is not known)"
    critical = _text(row.get("critical_class"))
    if not critical:
        return strictest(settings), "the strictest policy (class of the site is blank)"
    if critical in policies:
        return policies[critical], f"[flood.policy.{critical}]"
    return None, "[flood]"


def _listed(row: dict[str, Any], which: str) -> list[str]:
    """Columns of a row whose value is taken out of use, or asked about."""
    return _text(row.get(which)).split(";")


def strictest(settings: Settings) -> Policy:
    """Rarest event and largest freeboard over all policies."""
    flood = settings.flood
    every = list(flood.policy.values())
    aeps = [flood.design_aep, *(p.design_aep for p in every if p.design_aep is not None)]
    boards = [flood.freeboard_m, *(p.freeboard_m for p in every if p.freeboard_m is not None)]
    return Policy(
        design_aep=min(aeps),
        climate=flood.climate,
        defences=flood.defences,
        freeboard_m=max(boards),
    )


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value).strip()

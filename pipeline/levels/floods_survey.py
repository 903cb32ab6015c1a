"""Flood levels of the survey sheet: reports, marks and gauges, attached to the places they name."""

from __future__ import annotations

import math
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.cells import Addresses
from pipeline.core.lost import book_of
from pipeline.core.settings import Settings
from pipeline.levels.datums import to_working_datum
from pipeline.levels.floods_grid import Place, Places
from pipeline.tables import Tables

_NEAR_M: Final = 50.0
PAST: Final = -2.0
EVERY: Final = -1.0
_VALUES: Final = frozenset({"value_m", "ground_m"})
_NOWHERE: Final = "the place it names is not in the survey"
_NOTHING_NEAR: Final = f"no chamber or building lies within {_NEAR_M:.0f} m of its coordinates"


def survey_rows(
    places: Places, tables: Tables, settings: Settings, default_u_m: dict[str, float]
) -> list[dict[str, Any]]:
    """Rows of sheet flood_levels at every place that they name.

    Parameters
    ----------
    places : Places
    tables : Tables
        Needs flood_levels, columns.
    settings : Settings
    default_u_m : dict
        Doubt by kind where none is stated (m).

    Returns
    -------
    list of dict

    Notes
    -----
    A row that cannot be used (blank value, unreadable event, datum without shift, a refused
    value) leaves the places it names *not modelled* and marks them (`is_refused`): whatever another
    source says, they are at best without a flood level (law 1 of the house).

    """
    addresses = Addresses(tables["columns"])
    rows = []
    for record in tables["flood_levels"].to_dict("records"):
        named, problem = _named(record, places)
        rows += [_row(record, p, settings, default_u_m, addresses, problem) for p in named]
    return rows


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value).strip()


def _named(record: dict[str, Any], places: Places) -> tuple[list[Place], str]:
    """Places that a row applies to, and why its value is not used there.

    A row that names nothing known may mean any place of its workbook: all of them are at best
    without a flood level, and its value is given to none.
    """
    if not pd.isna(record["x_m"]):
        x, y = float(record["x_m"]), float(record["y_m"])
        near = [
            p for p in places.all
            if math.isfinite(p.x_m) and math.hypot(p.x_m - x, p.y_m - y) <= _NEAR_M
        ]  # fmt: skip
        return (near, "") if near else (_of_book(record, places), _NOTHING_NEAR)
    name = _text(record["applies_to"])
    found = [p for p in places.all if name and name in (p.site_id, p.place_id)]
    if found:
        return found, ""
    return _of_book(record, places), _NOWHERE


def _of_book(record: dict[str, Any], places: Places) -> list[Place]:
    return [p for p in places.all if book_of(p.file) == book_of(_text(record["file"]))]


def _mechanism(record: dict[str, Any]) -> str:
    source = _text(record["source"])
    return "river" if source in ("past flood", "") else source


def _row(
    record: dict[str, Any],
    place: Place,
    settings: Settings,
    default_u_m: dict[str, float],
    addresses: Addresses,
    problem: str,
) -> dict[str, Any]:
    past = bool(_text(record["past_date"])) or _text(record["source"]) == "past flood"
    aep = record["aep_per_year"]
    if pd.isna(aep):
        aep = PAST if past else EVERY
    level, shift_u_m, fault = _level(record, settings)
    problem = problem or fault
    if aep == EVERY and _mechanism(record) != "groundwater":
        problem = problem or "its event could not be read"
    u = record["u_m"]
    kind = _text(record["kind"])
    default = default_u_m.get(kind, 0.20)
    climate = _text(record["climate"])
    if climate == "included":
        climate = _text(record["climate_name"]) or "included"
    assumed = [f"this flood row could not be used ({problem})"] if problem else []
    if pd.isna(u) and not problem:
        assumed.append(f"doubt taken as {default:.2f} m, the usual figure of a {kind or 'report'}")
    cell = addresses.cell(record["file"], record["sheet"], "value_m", record["row"])
    return {
        "place_kind": place.kind,
        "place_id": place.place_id,
        "site_id": place.site_id or None,
        "source_id": f"survey:{record['flood_id']}",
        "mechanism": _mechanism(record),
        "aep_per_year": float(aep),
        "event": _text(record["event"]) or "not stated",
        "climate": climate or "unknown",
        "defences": _text(record["defences"]) or "not stated",
        "answer": contract.LEVEL if not problem else contract.NOT_MODELLED,
        "level_m": level if not problem else None,
        "u_m": None if problem else math.hypot(default if pd.isna(u) else float(u), shift_u_m),
        "is_nearest": False,
        "is_refused": bool(problem) or _is_doubted(record),
        "distance_m": 0.0,
        "ground_m": place.ground_m,
        "datum": _text(record["datum"]) or "unknown",
        "origin": cell or f"{record['file']} {record['sheet']} row {record['row']}",
        "assumed": "; ".join(assumed) or None,
    }


def _is_doubted(record: dict[str, Any]) -> bool:
    """Whether its value is asked about: it may wet as typed, and it clears nothing."""
    return bool(set(_text(record.get("doubted")).split(";")) & _VALUES)


def _level(record: dict[str, Any], settings: Settings) -> tuple[float | None, float, str]:
    """Level on the working datum, the doubt of its shift, or why there is no level."""
    value = record["value_m"]
    if pd.isna(value):
        return None, 0.0, "no value"
    shift = to_working_datum(_text(record["datum"]), settings)
    if shift is None:
        return (
            None,
            0.0,
            f"its height datum '{_text(record['datum']) or 'not stated'}' has no known shift",
        )
    level = float(value)
    kind = _text(record["value_is"])
    if kind not in ("level", "depth above ground"):
        return None, 0.0, "level or depth is not stated"
    if kind == "depth above ground":
        if pd.isna(record["ground_m"]):
            return None, 0.0, "a depth without the model's own ground"
        level += float(record["ground_m"])
    inside = record["freeboard_in_m"]
    taken = float(inside) if _text(record["freeboard_in"]) == "yes" and not pd.isna(inside) else 0.0
    return round(level - taken + shift[0], 6), shift[1], ""

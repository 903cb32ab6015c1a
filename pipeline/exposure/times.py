"""Flow by opening and hours by building at the policy level: for information, never a class."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.exposure.filling import Rooms, hours_to_critical_h
from pipeline.exposure.flow import conductance_l_per_s
from pipeline.exposure.links import Heights, text
from pipeline.exposure.openings_flow import ducts_of, opening_flows
from pipeline.tables import Tables
from pipeline.tables.ingress import FILLING
from pipeline.tables.spec import conform

_COUNTED_KINDS: Final = ("duct end", "entry")
_Row = dict[str, Any]


def ingress(
    tables: Tables, reach: pd.DataFrame, links: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """How much water comes in by each opening, and how soon it stands at the equipment.

    Parameters
    ----------
    tables : Tables
        Survey tables (`buildings`, `entries`, `ends`, `cables`) and `levels`.
    reach, links : pandas.DataFrame
        Hand-over tables of the water's way.

    Returns
    -------
    ingress, filling : pandas.DataFrame
        One row per opening in a wall, one row per building.

    Notes
    -----
    Every flow is the most that can come, so that hours are "not sooner than". Hours of a building
    stand only where every opening that may let water in is counted; those through the openings
    counted alone stand beside. The outside level is the highest of them and stays; a pump gets no
    credit; plan area and equipment come from the survey or the hours are not known.
    """
    flows = opening_flows(tables, reach, links)
    rooms = _rooms(tables)
    if rooms.empty:
        return flows, conform(FILLING, rooms, stage="exposure")
    counted = flows[(flows["flow_l_per_s"] > 0.0) & flows["building_id"].isin(rooms.index)]
    groups = {str(b): g for b, g in counted.groupby("building_id")}
    rooms["outside_level_m"] = [
        float(groups[b]["outside_level_m"].max()) if b in groups else math.nan for b in rooms.index
    ]
    rooms["ducts_alone_h"] = _hours(rooms, counted)
    rooms["inflow_l_per_s"] = [
        float(groups[b]["flow_l_per_s"].sum()) if b in groups else 0.0 for b in rooms.index
    ]
    rooms["counted_count"] = [len(groups.get(b, ())) for b in rooms.index]
    listed = set(reach["building_id"].dropna())
    open_ways = _uncounted(reach, flows)
    lost = open_ways[open_ways["building_id"].isna()]
    rows = []
    for building, room in rooms.to_dict("index").items():
        here = open_ways["building_id"] == building
        # one that names no building may be in any of its site, or in any at all
        here |= open_ways.index.isin(
            lost.index[(lost["site_id"] == room["site_id"]) | lost["site_id"].isna()]
        )
        rows.append(
            {
                "building_id": building,
                **room,
                **_answer(room, open_ways[here], is_listed=building in listed),
            }
        )
    return flows, conform(FILLING, pd.DataFrame(rows), stage="exposure")


def _rooms(tables: Tables) -> pd.DataFrame:
    heights = Heights(tables["levels"])
    rows = []
    for row in tables["buildings"].to_dict("records"):
        building = text(row["building_id"])
        floor = heights.get("lowest floor", building).level_m
        depth = heights.get("equipment", building).level_m - floor
        rows.append(
            {
                "building_id": building,
                "site_id": text(row["site_id"]) or None,
                "floor_area_m2": float(row["floor_area_m2"]),
                "floor_level_m": floor,
                "critical_depth_m": round(depth, 6),
            }
        )
    return pd.DataFrame(rows).set_index("building_id") if rows else pd.DataFrame()


def _hours(rooms: pd.DataFrame, counted: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Hours through the openings counted: all rooms at once, one row per room."""
    ordered = counted.sort_values(["building_id", "opening_id"], kind="stable")
    row = rooms.index.get_indexer(ordered["building_id"])
    column = ordered.groupby("building_id").cumcount().to_numpy(int)
    shape = (len(rooms), int(column.max()) + 1 if len(column) else 1)
    outside = rooms["outside_level_m"].to_numpy(float)
    floor = rooms["floor_level_m"].to_numpy(float)
    invert = ordered["inlet_level_m"].to_numpy(float)
    head = outside[row] - np.fmax(floor[row], invert)
    # friction at the largest head: the earliest hours
    flow = np.where(head > 0.0, conductance_l_per_s(ducts_of(ordered), head), 0.0)
    inlet, conductance = np.zeros(shape), np.zeros(shape)
    inlet[row, column], conductance[row, column] = invert, flow
    return hours_to_critical_h(
        Rooms(
            rooms["floor_area_m2"].to_numpy(float),
            floor,
            rooms["critical_depth_m"].to_numpy(float),
            outside,
        ),
        inlet,
        conductance,
    )


def _uncounted(reach: pd.DataFrame, flows: pd.DataFrame) -> pd.DataFrame:
    """Openings that may let water in and whose flow is not worked out."""
    wet = reach[(reach["level_class"] != contract.ABOVE) & (reach["opening_kind"] != "chamber end")]
    known = set(
        flows.loc[flows["flow_l_per_s"].notna() & flows["building_id"].notna(), "opening_id"]
    )
    return wet[~wet["opening_id"].isin(known)].reset_index(drop=True)


def _answer(room: Mapping[str, Any], uncounted: pd.DataFrame, *, is_listed: bool) -> _Row:
    """What can be said of a building's time, in one word and in a sentence."""
    alone, missing = float(room["ducts_alone_h"]), _missing(room)
    none_in = room["counted_count"] == 0
    if none_in:
        alone, missing = math.inf, [] if is_listed else ["no opening of it is listed"]
    if len(uncounted):
        kinds = ", ".join(
            f"{n} x {k}" for k, n in sorted(uncounted["opening_kind"].value_counts().items())
        )
        missing = [*missing, f"not counted although water may come in: {kinds}"]
    if missing and alone != 0.0:
        answer, words = "not known", "; ".join(missing)
    elif alone == 0.0:
        answer, words = "at once", "the equipment stands no higher than the floor"
    elif math.isinf(alone):
        answer = "not reached"
        words = (
            "no opening lets water in at its policy level" if none_in
            else "the water outside stands lower than the equipment"
        )  # fmt: skip
    else:
        answer, words = "hours", f"not sooner than {_in_words(alone)}"
    return {
        "answer": answer,
        "words": words,
        "uncounted_count": len(uncounted),
        "earliest_h": alone if answer in ("hours", "at once") else math.nan,
        "ducts_alone_h": alone if math.isfinite(alone) else math.nan,
    }


def _missing(room: Mapping[str, Any]) -> list[str]:
    names = {
        "floor_area_m2": "plan area not known",
        "floor_level_m": "lowest floor without level",
        "critical_depth_m": "height of the equipment not known",
    }
    return [words for name, words in names.items() if math.isnan(float(room[name]))]


def _in_words(hours: float) -> str:
    """Whole minutes below two hours, else tenths of an hour; rounded down: not sooner."""
    if hours < 2.0:
        return f"{math.floor(hours * 60.0)} min"
    return f"{math.floor(hours * 10.0) / 10.0:.1f} h"

"""The error finder: the single number of a site that best explains why its levels disagree."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core.cells import Addresses
from pipeline.core.doubts import usual_u_m
from pipeline.levels.network import adjust_shared, suspects
from pipeline.levels.visits import GNSS, Visits, text
from pipeline.tables import Tables, blank

_SHOWN: Final = 3
_LEAST_U_M: Final = 0.002


@dataclass(frozen=True)
class Number:
    """One measured number: what it ties together, its value and doubt (m), and its cell."""

    nodes: tuple[tuple[str, float], ...]
    value_m: float
    u_m: float
    words: str
    key: str
    column: str
    cell: str
    shared: tuple[str, float] = ("", 0.0)
    """Error that it shares with the other satellite levels of its visit: name and doubt (m)."""


def network_table(tables: Tables, working_datum: str) -> pd.DataFrame:
    """Every point of every site by all its numbers together.

    Parameters
    ----------
    tables : Tables
        Survey tables with `columns`.
    working_datum : str
        Levels are given on it; points that only hang on another datum stay open.

    Returns
    -------
    DataFrame
        Table `network`: level points and covers, no mouths.
    """
    zero = _zero(working_datum)
    rows = [
        row
        for site, numbers in sorted(_by_site(tables).items())
        for row in _adjusted(site, numbers, zero)
    ]
    return pd.DataFrame(rows) if rows else blank("network")


def _adjusted(site: str, numbers: list[Number], zero: str) -> Iterator[dict[str, Any]]:
    nodes = dict.fromkeys(k for x in numbers for k, _ in x.nodes if k != zero)
    at = {n: i for i, n in enumerate(nodes)}
    parts = {n: i for i, n in enumerate(dict.fromkeys(x.shared[0] for x in numbers))}
    design, shared = np.zeros((len(numbers), len(at))), np.zeros((len(numbers), len(parts)))
    own = np.array([n.u_m for n in numbers])
    for r, number in enumerate(numbers):
        for node, sign in number.nodes:
            if node != zero:
                design[r, at[node]] += sign
        shared[r, parts[number.shared[0]]] = number.shared[1]
        own[r] = math.sqrt(max(own[r] ** 2 - number.shared[1] ** 2, _LEAST_U_M**2))
    found = adjust_shared(design, [n.value_m for n in numbers], own, shared)
    agree = "they agree" if found.is_believable else "they do NOT agree"
    check = (
        f"{found.spare_count} of its {len(numbers)} numbers check others, and {agree} within their "
        "doubts" if found.spare_count else "no number of the site checks another"
    )  # fmt: skip
    for node, i in at.items():
        if "/" in node or node.startswith("zero of "):
            continue
        level, u = float(found.level_m[i]), float(found.u_m[i])
        said = "open: no chain from the working datum" if math.isnan(level) else (
            f"{level:.3f} m, give or take {u * 1000.0:.0f} mm"
        )  # fmt: skip
        yield {
            "site_id": site,
            "point_id": node,
            "adjusted_m": level if math.isnan(level) else round(level, 6),
            "adjusted_u_m": u,
            "numbers_count": len(numbers),
            "spare_count": found.spare_count,
            "is_believable": found.is_believable,
            "words": f"{node} {said}; {check}",
        }


def suspects_table(tables: Tables) -> pd.DataFrame:
    """Suspected numbers of every site whose levels disagree.

    Parameters
    ----------
    tables : Tables
        Survey tables with `columns`.

    Returns
    -------
    DataFrame
        Table `suspects`, at most three numbers a site, the likeliest first.
    """
    rows = [
        row for site, numbers in sorted(_by_site(tables).items()) for row in _of_site(site, numbers)
    ]
    return pd.DataFrame(rows) if rows else blank("suspects")


def _of_site(site: str, numbers: list[Number]) -> Iterator[dict[str, Any]]:
    nodes = {n: i for i, n in enumerate(dict.fromkeys(k for x in numbers for k, _ in x.nodes))}
    design = np.zeros((len(numbers), len(nodes)))
    for r, number in enumerate(numbers):
        for node, sign in number.nodes:
            design[r, nodes[node]] += sign
    found = suspects(design, [n.value_m for n in numbers], [n.u_m for n in numbers])
    for rank, one in enumerate(found[:_SHOWN], start=1):
        number = numbers[one.row]
        tied = [numbers[i].words for i in one.tied]
        others = f"; cannot be told apart from {', '.join(tied)}" if tied else ""
        yield {
            "site_id": site,
            "rank": rank,
            "key": number.key,
            "column": number.column,
            "cell": number.cell or None,
            "value_m": number.value_m,
            "change_m": round(one.change_m, 3),
            "left_mm": round(one.left_m * 1000.0, 1),
            "words": f"{number.words} {number.value_m:.3f}: with {one.change_m:+.3f} m on it all "
            f"other numbers of {site} agree within {one.left_m * 1000.0:.0f} mm{others}",
        }


def _by_site(tables: Tables) -> dict[str, list[Number]]:
    at = Addresses(tables["columns"])
    out: dict[str, list[Number]] = {}
    covers = {}
    for row in tables["chambers"].to_dict("records"):
        covers[text(row["chamber_id"])] = text(row["cover_point_id"]) or text(row["chamber_id"])
    visits = Visits(tables)
    for site, number in chain(
        _points(tables, at, visits), _covers(tables, at, visits),
        _mouths(tables, at, "ends", covers), _mouths(tables, at, "entries", covers),
    ):  # fmt: skip
        if site and math.isfinite(number.value_m):
            out.setdefault(site, []).append(number)
    return out


def _on_datum(node: str, datum: str) -> tuple[tuple[str, float], ...]:
    """A stated level ties a point to its datum; heights on two datums never mix.

    The zero of each datum is one more unknown, so that only differences within it count.
    """
    return ((node, 1.0), (_zero(datum), -1.0))


def _zero(datum: str) -> str:
    return f"zero of {datum.casefold() or 'a datum not stated'}"


def _u(row: dict[str, Any], column: str, usual_m: float) -> float:
    stated = row.get(column)
    return max(usual_m, _LEAST_U_M, 0.0 if stated is None or pd.isna(stated) else float(stated))


def _points(tables: Tables, at: Addresses, visits: Visits) -> Iterator[tuple[str, Number]]:
    for row in tables["points"].to_dict("records"):
        point, site = text(row["point_id"]), text(row["site_id"])
        usual = usual_u_m(text(row["method"]) or "unknown")
        if not pd.isna(row["level_m"]):
            visit = visits.of(row, site)
            datum = text(row["datum"]) or visit.datum
            number = _number(row, "level_m", _on_datum(point, datum), _u(row, "u_m", usual),
                             f"level of {point}", f"level_points/{point}", at)  # fmt: skip
            if text(row["method"]) in GNSS:
                number = replace(
                    number, shared=(f"geoid {visit.visit_id}", usual_u_m("geoid model"))
                )
            yield site, number
        start = text(row["from_point_id"])
        if start and not pd.isna(row["rise_m"]):
            yield site, _number(row, "rise_m", ((point, 1.0), (start, -1.0)), usual,
                                f"rise from {start} to {point}", f"level_points/{point}", at)  # fmt: skip


def _covers(tables: Tables, at: Addresses, visits: Visits) -> Iterator[tuple[str, Number]]:
    for row in tables["chambers"].to_dict("records"):
        if not pd.isna(row["cover_level_m"]):
            chamber = text(row["chamber_id"])
            node = text(row["cover_point_id"]) or chamber
            site = text(row["site_id"])
            visit = visits.of(row, site)
            yield site, _number(
                row, "cover_level_m", _on_datum(node, visit.datum), visit.method_u_m(visit.method),
                f"cover of {chamber}", f"chambers/{chamber}", at,
            )  # fmt: skip


def _mouths(
    tables: Tables, at: Addresses, name: str, covers: dict[str, str]
) -> Iterator[tuple[str, Number]]:
    """Chains to a mouth; all of them end where it was measured, so its size cancels."""
    buildings = dict(
        zip(tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True)
    )
    sheet, key = ("ducts", "end_id") if name == "ends" else ("entries", "entry_id")
    for row in tables[name].to_dict("records"):
        thing = text(row[key])
        site = text(row.get("site_id")) or text(buildings.get(text(row.get("building_id"))))
        node, of = f"{sheet}/{thing}", f"{sheet}/{thing}"
        ref = text(row["ref_point_id"]) or covers.get(text(row.get("place_id")), "")
        u = _u(row, "level_u_m", usual_u_m("dip"))
        if ref and not pd.isna(row["dip_down_m"]):
            yield site, _number(row, "dip_down_m", ((ref, 1.0), (node, -1.0)), u,
                                f"dip to {thing}", of, at)  # fmt: skip
        if ref and not pd.isna(row["above_m"]):
            yield site, _number(row, "above_m", ((node, 1.0), (ref, -1.0)),
                                _u(row, "level_u_m", usual_u_m("offset")),
                                f"height of {thing} above {ref}", of, at)  # fmt: skip
        check = text(row.get("check_point_id"))
        if check and not pd.isna(row.get("check_dip_down_m", math.nan)):
            yield site, _number(row, "check_dip_down_m", ((check, 1.0), (node, -1.0)), u,
                                f"check dip to {thing}", of, at)  # fmt: skip


def _number(  # noqa: PLR0913 - one number with all that leads back to its cell
    row: dict[str, Any],
    column: str,
    nodes: tuple[tuple[str, float], ...],
    u_m: float,
    words: str,
    key: str,
    at: Addresses,
) -> Number:
    cell = at.cell(row["file"], row["sheet"], column, row["row"])
    return Number(nodes, float(row[column]), u_m, words, key, column, cell)

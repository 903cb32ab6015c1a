"""The table `closing_lines`: the cheapest seals that shut a building or a site off, and proof."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from pipeline.core import contract
from pipeline.core.policy_key import policy_key
from pipeline.programme.closing import (
    NO_SEAL,
    Line,
    Sources,
    WaterNet,
    closing_line,
    edges_left,
)
from pipeline.programme.costs import CostBook
from pipeline.tables import Tables
from pipeline.tables.closing import CLOSING_LINES

IntArray = npt.NDArray[np.int64]
_CHAMBER_END: Final = "chamber end"


@dataclass(frozen=True)
class Prices:
    """Cost of each end that a seal is drawn for (minor units), and of one confined-space entry.

    `by_other_end`: chamber ends whose seal is priced as that of the other end of their duct.
    `chamber_sites`: sites where an engineer has opted for chamber ends; elsewhere they enter only
    on ways that no wall end closes.
    """

    end_minor: Mapping[str, int]
    entry_minor: int
    by_other_end: frozenset[str] = frozenset()
    chamber_sites: frozenset[str] = frozenset()


def end_prices(
    tables: Tables, book: CostBook, *, entry_minor: int, chamber_sites: Iterable[str] = ()
) -> Prices:
    """Prices of all ends from their designs: what each adds to a visit that takes place anyway.

    Parameters
    ----------
    tables : Tables
        designs, links, reach.
    book : CostBook
    entry_minor : int
        Cost of one confined-space entry (minor units): no default, it is the user's figure.
    chamber_sites : iterable of str
        Sites where an engineer has opted for chamber ends.

    Returns
    -------
    Prices

    Notes
    -----
    A chamber end without a seal of its own is priced as the other end of its duct, the same bore
    and cables. Each chamber end bears a whole entry: with several ends in one chamber the line is
    priced too high, never too low.

    """
    none = book.of([]).cost_minor
    designs = tables["designs"]
    drawn = sorted(str(e) for e in designs.loc[designs["is_designed"].astype(bool), "end_id"])
    own = {e: max(0, book.of([e]).cost_minor - none) for e in drawn}
    reach = tables["reach"]
    chamber = set(reach.loc[reach["opening_kind"] == _CHAMBER_END, "opening_id"].astype(str))
    lent: dict[str, int] = {}
    pairs = tables["links"].dropna(subset=["end_b_id"])
    for a, b in zip(pairs["end_a_id"].astype(str), pairs["end_b_id"].astype(str), strict=True):
        for end, other in ((a, b), (b, a)):
            if end in chamber and end not in own and other in own:
                lent[end] = max(own[other], lent.get(end, 0))
    return Prices({**own, **lent}, entry_minor, frozenset(lent), frozenset(chamber_sites))


@dataclass(frozen=True)
class _Survey:
    """What all lines share."""

    edges: pd.DataFrame
    reach: Mapping[str, Mapping[str, Any]]
    designs: Mapping[str, Mapping[str, Any]]
    prices: Prices
    kept: frozenset[str]
    unsurveyed: Mapping[str, Sequence[str]]
    group: Mapping[str, int]
    edges_of: Mapping[int, IntArray]


def closing_lines(
    tables: Tables, prices: Prices, *, unsurveyed: Mapping[str, Sequence[str]]
) -> pd.DataFrame:
    """Cheapest closing line of every building and of every site.

    Parameters
    ----------
    tables : Tables
        sites, buildings, policies, reach, designs, links, way_edges, way_waters.
    prices : Prices
    unsurveyed : mapping
        For each building the kinds of opening that nobody looked for: with one of them it is not
        known whether seals alone close it.

    Returns
    -------
    DataFrame
        `closing_lines`; a building whose site has no policy has no row.

    """
    survey = _survey(tables, prices, unsurveyed)
    waters = dict(list(tables["way_waters"].groupby("policy_id")))
    region = dict(zip(tables["sites"]["site_id"], tables["sites"]["region"], strict=True))
    policies = {
        str(r["site_id"]): policy_key(
            float(r["design_aep_per_year"]), str(r["climate"]), str(r["defences"]),
            float(r["freeboard_m"]),
        )
        for r in tables["policies"].to_dict("records")
    }  # fmt: skip
    sites: dict[str, list[str]] = {}
    for b, s in zip(
        tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True
    ):
        sites.setdefault(str(s), []).append(str(b))
    none = tables["way_waters"].iloc[:0]
    rows = []
    for site in sorted(s for s in sites if s in policies):
        own = sorted(sites[site])
        targets = [("site", site, own), *(("building", b, [b]) for b in own)]
        for kind, place, buildings in targets:
            by_leave = site in prices.chamber_sites
            # the line of a site with one building is that building's
            if kind == "site" or len(own) > 1:
                row = _row(survey, waters.get(policies[site], none), buildings, by_leave=by_leave)
            rows.append({"kind": kind, "place_id": place, "site_id": site,
                         "region": region.get(site), **row})  # fmt: skip
    return pd.DataFrame(rows, columns=list(CLOSING_LINES.names))


def _survey(tables: Tables, prices: Prices, unsurveyed: Mapping[str, Sequence[str]]) -> _Survey:
    edges = tables["way_edges"].reset_index(drop=True)
    names = sorted({*edges["tail_id"], *edges["head_id"]})
    at = {n: i for i, n in enumerate(names)}
    tail, head = (edges[c].map(at).to_numpy(dtype=np.int64) for c in ("tail_id", "head_id"))
    size = max(1, len(names))
    graph = csr_array((np.ones(len(edges)), (tail, head)), shape=(size, size))
    label = connected_components(graph, directed=False)[1]
    of_edge = label[tail]
    order = np.argsort(of_edge, kind="stable")
    cuts = np.flatnonzero(np.diff(of_edge[order])) + 1
    return _Survey(
        edges=edges,
        reach={str(r["opening_id"]): r for r in tables["reach"].to_dict("records")},
        designs={str(r["end_id"]): r for r in tables["designs"].to_dict("records")},
        prices=prices,
        kept=_kept(tables["links"]),
        unsurveyed=unsurveyed,
        group={n: int(label[i]) for n, i in at.items()},
        edges_of={int(of_edge[part[0]]): np.sort(part)
                  for part in np.split(order, cuts) if part.size},
    )  # fmt: skip


def _kept(links: pd.DataFrame) -> frozenset[str]:
    """Ends of ducts that a dated, inspected, rated and sound seal closes already."""
    shut = links[links["is_blocked"].astype(bool)]
    return frozenset({*shut["end_a_id"].dropna(), *shut["end_b_id"].dropna()})


@dataclass(frozen=True)
class _Case:
    """The network around some buildings, its water, and the names of ends and places."""

    edges: pd.DataFrame
    places: list[str]
    protected: IntArray
    sources: Sources

    def net(self, ends: Sequence[str], prices: Prices, in_chamber: Iterable[str]) -> WaterNet:
        """The network with seals offered at some ends, numbered in their order."""
        number = {e: i for i, e in enumerate(ends)}
        entry = set(in_chamber)
        at = {p: i for i, p in enumerate(self.places)}

        def numbers(column: str, of: Mapping[str, int]) -> IntArray:
            found = self.edges[column].map(of).fillna(NO_SEAL)
            return np.asarray(found, dtype=np.int64)

        cost = [prices.end_minor[e] + (prices.entry_minor if e in entry else 0) for e in ends]
        return WaterNet(
            len(self.places), numbers("tail_id", at), numbers("head_id", at),
            self.edges["crest_level_m"].fillna(-np.inf).to_numpy(dtype=np.float64),
            numbers("seal_tail_id", number), numbers("seal_head_id", number),
            np.array(cost, dtype=np.int64),
        )  # fmt: skip


def _case(survey: _Survey, waters: pd.DataFrame, buildings: list[str]) -> _Case:
    groups = sorted({survey.group[b] for b in buildings if b in survey.group})
    numbers = [survey.edges_of[g] for g in groups if g in survey.edges_of]
    edges = survey.edges.iloc[np.concatenate(numbers)] if numbers else survey.edges.iloc[:0]
    places = sorted({*edges["tail_id"], *edges["head_id"], *buildings})
    at = {p: i for i, p in enumerate(places)}
    here = waters[waters["place_id"].isin(at)]
    return _Case(
        edges.reset_index(drop=True),
        places,
        np.array([at[b] for b in buildings], dtype=np.int64),
        Sources(
            here["place_id"].map(at).to_numpy(dtype=np.int64),
            here["level_m"].fillna(np.inf).to_numpy(dtype=np.float64),
        ),
    )


def _row(
    survey: _Survey, waters: pd.DataFrame, buildings: list[str], *, by_leave: bool
) -> dict[str, Any]:
    case = _case(survey, waters, buildings)
    ends, in_chamber, line = _best(survey, case, buildings, by_leave=by_leave)
    chosen = [ends[i] for i in line.seals]
    entered = [e for e in chosen if e in in_chamber]
    walls = _all_walls(survey, buildings)
    unseen = _unseen(survey, buildings)
    priced = [e for e in walls if e in survey.prices.end_minor]
    return {
        "end_ids": ";".join(sorted(chosen)) or None,
        "ends_count": len(chosen),
        "chamber_ends_count": len(entered),
        "cost_minor": line.cost_minor,
        "gap_frac": line.gap_frac,
        # unknown is never closed: what nobody looked for may let water in
        "is_possible": None if line.is_possible and unseen else line.is_possible,
        "cannot_close": _cannot(survey, case, line) or None,
        "all_wall_count": len(walls),
        "all_wall_cost_minor": sum(survey.prices.end_minor[e] for e in priced),
        "all_wall_without_price": ";".join(sorted(set(walls) - set(priced))) or None,
        "conditions": "; ".join([*_conditions(survey, case, chosen, entered, line), *unseen])
        or None,
        "method": line.method,
    }


def _best(
    survey: _Survey, case: _Case, buildings: list[str], *, by_leave: bool
) -> tuple[list[str], frozenset[str], Line]:
    """The line by wall ends; chamber ends enter by choice, or on ways that no wall end closes."""
    prices = survey.prices
    mouths = {*case.edges["seal_tail_id"].dropna(), *case.edges["seal_head_id"].dropna()}
    offered = sorted(mouths & set(prices.end_minor) & set(survey.reach))
    chamber = [e for e in offered if survey.reach[e]["opening_kind"] == _CHAMBER_END]
    own = set(buildings)
    walls = sorted(
        (e for e in offered if _is_wall(survey.reach[e])),
        key=lambda e: (survey.reach[e]["building_id"] not in own, e),
    )  # of lines of one cost the one at the own walls
    net = case.net(walls, prices, ())
    line = closing_line(net, case.sources, case.protected)
    enter = chamber if by_leave else []
    if not enter and not line.is_possible:
        left = case.edges.iloc[edges_left(net, case.sources, line)]
        on_ways = {*left["seal_tail_id"].dropna(), *left["seal_head_id"].dropna()}
        enter = [e for e in chamber if e in on_ways]
    if not enter:
        return walls, frozenset(), line
    ends = [*walls, *enter]
    return ends, frozenset(enter), closing_line(
        case.net(ends, prices, enter), case.sources, case.protected
    )  # fmt: skip


def _is_wall(opening: Mapping[str, Any]) -> bool:
    return bool(opening["is_sealable"]) and opening["opening_kind"] != _CHAMBER_END


def _all_walls(survey: _Survey, buildings: list[str]) -> list[str]:
    return sorted(
        o for o, r in survey.reach.items()
        if r["building_id"] in buildings and _is_wall(r) and o not in survey.kept
        and r["level_class"] != contract.ABOVE
    )  # fmt: skip


def _cannot(survey: _Survey, case: _Case, line: Line) -> str:
    """Ways that no seal closes, by the opening where each comes out."""
    said: dict[str, str] = {}
    for row in case.edges.iloc[line.open_edges].to_dict("records"):
        name = row["opening_id"] if isinstance(row["opening_id"], str) else row["head_id"]
        said.setdefault(str(name), f"{name}: {row['words']}{_undrawn(survey, str(name))}")
    for node in set(line.open_nodes.tolist()) & set(case.sources.node.tolist()):
        said.setdefault(case.places[node], f"{case.places[node]}: water stands inside")
    return "; ".join(said[k] for k in sorted(said))


def _undrawn(survey: _Survey, opening: str) -> str:
    design = survey.designs.get(opening)
    if design is None or opening in survey.prices.end_minor:
        return ""
    why = design["not_designed_reason"]
    return f" ({why})" if isinstance(why, str) else " (no seal drawn)"


def _conditions(
    survey: _Survey, case: _Case, chosen: list[str], entered: list[str], line: Line
) -> list[str]:
    """What a line rests on."""
    said = []
    if not line.is_possible:
        said.append("closes the other ways only: what no seal closes must be closed by other means")
    if entered:
        named = ", ".join(f"{e} in {survey.reach[e]['chamber_id']}" for e in sorted(entered))
        said.append(f"needs confined-space entry: {named}")
    lent = sorted(set(chosen) & survey.prices.by_other_end)
    if lent:
        said.append("priced as the other end of the duct: " + ", ".join(lent))
    held = [
        e for e in sorted(chosen) if _hold(survey, e) in (contract.HOLD_DESIGN, contract.HOLD_ORDER)
    ]
    if held:
        said.append("held until released: " + ", ".join(held))
    own = case.edges[~case.edges["is_proved"].astype(bool)]
    unproved = {*own["seal_tail_id"].dropna(), *own["seal_head_id"].dropna()} & set(chosen)
    if unproved:
        said.append("link unproved: " + ", ".join(sorted(unproved)))
    away = [e for e in sorted(chosen) if e not in entered and _elsewhere(survey, case, e)]
    if away:
        said.append("rests on seals in other buildings: " + ", ".join(away))
    return said


def _unseen(survey: _Survey, buildings: list[str]) -> list[str]:
    """Openings that nobody looked for, in words."""
    said = []
    has_ends = {r["building_id"] for r in survey.reach.values() if _is_wall(r)}
    for building in buildings:
        kinds = [*survey.unsurveyed.get(building, ())]
        if building not in has_ends:
            kinds.insert(0, "duct end or entry")
        if kinds:
            said.append(f"not surveyed at {building}: {', '.join(kinds)}")
    return said


def _hold(survey: _Survey, end: str) -> str:
    design = survey.designs.get(end)
    return str(design["hold_reach"]) if design is not None else contract.HOLD_NONE


def _elsewhere(survey: _Survey, case: _Case, end: str) -> bool:
    own = {case.places[i] for i in case.protected}
    return survey.reach[end]["building_id"] not in own


__all__ = ["Prices", "closing_lines", "end_prices"]

"""The network of mouths for the closing line: `way_edges` and `way_waters`.

Everything is taken as in the distrusted run: what lacks pedigree or proof is no obstacle, so that
a closed line is dry for the same reasons that make an opening `above`. A mouth that could not be
`above` whatever is sealed elsewhere (own level without pedigree, link not proved, nearest water)
has water of its own: only its own seal closes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.policy_key import policy_key
from pipeline.core.settings import Settings
from pipeline.core.units import down_mm, up_mm
from pipeline.exposure.inlets import Inlet, Walls, inlets
from pipeline.exposure.links import UNKNOWN_FAR, Link, text
from pipeline.exposure.network import DISTRUSTED, Mouth, Waterworks, assemble, four, mouths
from pipeline.exposure.openings import Place, openings
from pipeline.exposure.water import GROUNDWATER, Policy, Water, Waters
from pipeline.tables import Tables

_CHAMBER_END: Final = "chamber end"
_UNKNOWN: Final = "unknown far end of "
# reasons of a class that sealing elsewhere does not take away
_STAYS: Final = ("nearest water", "the freeboard is smaller")
_NOT_KNOWN: Final = math.inf


@dataclass
class _Net:
    """What is gathered: edges as rows, water that stands in every policy, and ducts' mouths."""

    works: Waterworks
    mouths: dict[str, Mouth]
    places: list[Place]
    site_of: dict[str, str]
    rows: list[dict[str, Any]] = field(default_factory=list)
    always: dict[str, str] = field(default_factory=dict)

    def edge(
        self, tail: str, head: str, crest_m: float, seals: tuple[str, str], **more: Any
    ) -> None:
        """Add a step; one that nothing passes, or back into its own place, is none."""
        if crest_m != math.inf and tail != head:
            self.rows.append(
                {
                    "tail_id": tail,
                    "head_id": head,
                    "crest_level_m": crest_m if math.isfinite(crest_m) else math.nan,
                    "seal_tail_id": seals[0] or None,
                    "seal_head_id": seals[1] or None,
                    "opening_id": None,
                    "is_proved": True,
                    **more,
                }
            )


def closing_tables(
    tables: Tables, links: list[Link], reach: pd.DataFrame, settings: Settings
) -> Tables:
    """Lay out the network of mouths and the water of every policy.

    Parameters
    ----------
    tables : Tables
        Survey tables, levels, floods, policies and ground.
    links : list of Link
    reach : DataFrame
        Classes of the openings.
    settings : Settings

    Returns
    -------
    Tables
        way_edges, way_waters.

    """
    works = assemble(tables, links, settings)
    hung = mouths(tables, links, works)
    sites = dict(
        zip(tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True)
    )
    net = _Net(works, hung, openings(tables, hung), {str(b): text(s) for b, s in sites.items()})
    _between_places(net)
    _through_mouths(net)
    _one_sided(net, tables, links)
    _at_walls(net)
    _not_cleared(net, reach)
    ways_in = inlets(tables, links, works)
    waters = [
        {"policy_id": name, "place_id": place, "level_m": level if math.isfinite(level) else math.nan,
         "words": words}
        for name, policy in _policies(tables)
        for place, (level, words) in sorted(_water(net, tables, ways_in, settings, policy).items())
    ]  # fmt: skip
    edges = pd.DataFrame(net.rows)
    if len(edges):
        edges.insert(0, "edge_id", [f"{i:08d}" for i in range(len(edges))])
    return {"way_edges": edges, "way_waters": pd.DataFrame(waters)}


def _policies(tables: Tables) -> list[tuple[str, Policy]]:
    found = {}
    for row in tables["policies"].to_dict("records"):
        policy = Policy(
            float(row["design_aep_per_year"]), text(row["climate"]), text(row["defences"]),
            float(row["freeboard_m"]),
        )  # fmt: skip
        name = policy_key(policy.design_aep, policy.climate, policy.defences, policy.freeboard_m)
        found[name] = policy
    return sorted(found.items())


def _between_places(net: _Net) -> None:
    """Steps that no end closes: into unknown far ends, and inside of buildings not told apart."""
    works = net.works
    for i, end in enumerate(works.edge_end):
        if not end:
            tail, head = works.nodes[works.tail[i]], works.nodes[works.head[i]]
            crest = float(works.crest_m[DISTRUSTED][i])
            net.edge(tail, head, crest, ("", ""), words=works.edge_words[i])


def _through_mouths(net: _Net) -> None:
    """Out of every listed mouth: from the far place through both mouths, or from the unknown."""
    for opening, mouth in sorted(net.mouths.items()):
        for node, crest, link in mouth.places:
            far = net.works.nodes[node]
            other = "" if link is None or far.startswith(_UNKNOWN) else _other(link, opening)
            net.edge(
                far, mouth.building_id, crest[DISTRUSTED], (other, opening),
                opening_id=opening, is_proved=link is not None and link.is_proved,
                words=f"duct {link.link_id}" if link is not None else f"from {far}",
            )  # fmt: skip


def _other(link: Link, opening: str) -> str:
    other = link.end_b if opening == link.end_a else link.end_a
    return "" if other == opening else other


def _one_sided(net: _Net, tables: Tables, links: list[Link]) -> None:
    """Into chambers whose own mouth is not listed: only the other end closes such a duct."""
    building_of = {
        text(r["entry_id"]): text(r["building_id"]) or text(r["entry_id"])
        for r in tables["entries"].to_dict("records")
    }
    for link in links:
        is_listed = bool(link.end_b) or not link.place_b or link.place_b in building_of
        if is_listed or link.blocked_by or link.kind == UNKNOWN_FAR:
            continue
        crest = four_of(link)
        here = building_of.get(link.place_a, link.place_a)
        net.edge(
            here, link.place_b, crest, (link.end_a, ""), is_proved=link.is_proved,
            words=f"duct {link.link_id}",
        )  # fmt: skip


def four_of(link: Link) -> float:
    """Crest of a link as far as it can be trusted (m)."""
    if not link.is_proved or not link.crests:
        return -math.inf
    return max(four(h)[DISTRUSTED] for h in link.crests)


def _walls(net: _Net) -> list[Place]:
    """Openings of buildings that no rated seal of old closes."""
    return [
        p for p in net.places
        if p.kind != _CHAMBER_END and not (p.mouth and p.mouth.is_closed_by)
    ]  # fmt: skip


def _home(place: Place) -> str:
    return place.mouth.building_id if place.mouth else place.building_id or place.entry_id


def _at_walls(net: _Net) -> None:
    """Water straight at an opening, and groundwater that gets into a duct along its way."""
    for place in _walls(net):
        seal = place.opening_id if place.is_sealable else ""
        crest = four(place.height)[DISTRUSTED]
        for building in place.may_be_in or tuple(filter(None, [place.building_id])):
            for tail in (_wall(building), *([_drain(building)] if place.kind == "drain" else [])):
                net.edge(tail, _home(place), crest, ("", seal), opening_id=place.opening_id,
                         words=f"{tail}, {place.kind} {place.opening_id}")  # fmt: skip
    for place in net.places:
        if place.mouth is not None and place.mouth.ducts:
            net.edge(
                _in_duct(place), place.mouth.building_id, four(place.height)[DISTRUSTED],
                ("", place.opening_id), opening_id=place.opening_id,
                words=f"groundwater along the duct of {place.opening_id}",
            )  # fmt: skip


def _wall(building: str) -> str:
    return f"water at the wall of {building}"


def _drain(building: str) -> str:
    return f"drain of {building}"


def _in_duct(place: Place) -> str:
    return f"groundwater in the duct of {place.opening_id}"


def _not_cleared(net: _Net, reach: pd.DataFrame) -> None:
    """Openings that stay not cleared whatever is sealed elsewhere have water of their own."""
    said = {
        str(o): (str(c), str(r))
        for o, c, r in zip(reach["opening_id"], reach["level_class"], reach["reason"], strict=True)
    }
    for place in _walls(net):
        level_class, reason = said.get(place.opening_id, (contract.NO_LEVEL, "no class known"))
        why = _why_not(place, reason)
        if level_class == contract.ABOVE or not why:
            continue
        name = f"not cleared: {place.opening_id}"
        proved = place.mouth.is_proved if place.mouth else True
        net.always[name] = why
        net.edge(
            name, _home(place), -math.inf, ("", place.opening_id if place.is_sealable else ""),
            opening_id=place.opening_id, is_proved=proved, words=f"{place.kind}: {why}",
        )  # fmt: skip


def _why_not(place: Place, reason: str) -> str:
    if not place.height.is_known:
        return "its level is not known"
    if not place.height.has_pedigree:
        return "its own level cannot clear"
    if place.mouth is not None and place.mouth.is_unknown:
        return "where its duct leads is not known"
    if place.mouth is not None and not place.mouth.is_proved:
        return "link unproved"
    return reason if reason.startswith(_STAYS) else ""


def _water(
    net: _Net, tables: Tables, ways_in: list[Inlet], settings: Settings, policy: Policy
) -> dict[str, tuple[float, str]]:
    """Highest policy line at every place of the network, and its words."""
    waters = Waters(tables, policy)
    found: dict[str, tuple[float, str]] = {}

    def note(place: str, level_m: float, inlet_m: float, words: str) -> None:
        if math.isnan(level_m) or up_mm(level_m) < down_mm(inlet_m):
            return  # it stays dry, or does not get in
        if place not in found or level_m > found[place][0]:
            found[place] = (level_m, words)

    _at_inlets(ways_in, net, waters, note)
    walls = Walls(tables, settings, waters)
    for building in sorted(net.site_of):
        _at_wall(building, net, walls, policy, note)
    for place in net.places:
        for node, _ in place.mouth.ducts if place.mouth else ():
            for water in waters.at(net.works.nodes[node], (GROUNDWATER,)):
                note(_in_duct(place), _line_m(water, policy), -math.inf, "groundwater in the duct")
    for name, why in net.always.items():
        note(name, _NOT_KNOWN, -math.inf, why)
    return found


def _line_m(water: Water, policy: Policy) -> float:
    """Policy line of a water (m, whole mm up); NaN = dry here, inf = may stand anywhere."""
    if not math.isfinite(water.design_m):
        return water.design_m
    return float(up_mm(water.design_m + policy.freeboard_m)) / 1000.0


def _at_inlets(rows: list[Inlet], net: _Net, waters: Waters, note: Any) -> None:
    first: set[int] = set()
    for inlet in rows:
        place = net.works.nodes[inlet.node]
        if inlet.node not in first and not waters.is_modelled(*inlet.water_places):
            note(place, _NOT_KNOWN, -math.inf, f"the flood is not modelled at {place}")
        first.add(inlet.node)
        water = inlet.water(waters)
        if water is not None:
            note(place, _line_m(water, waters.policy), inlet.inlet_m[DISTRUSTED], inlet.words)


def _at_wall(building: str, net: _Net, walls: Walls, policy: Policy, note: Any) -> None:
    if not walls.is_modelled(building):
        note(_wall(building), _NOT_KNOWN, -math.inf, f"the flood is not modelled at {building}")
    for direct in walls.at(building, net.site_of[building], "drain"):
        place = _drain(building) if direct.mechanism == "drain" else _wall(building)
        note(place, _line_m(direct.water, policy), direct.inlet_m[DISTRUSTED], direct.words)

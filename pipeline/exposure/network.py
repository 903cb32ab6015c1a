"""The network that water moves in: chambers, building interiors, and the unknown far ends.

Every crest stands four times: as it is, raised and lowered by its doubt, and *distrusted*: what
lacks pedigree or proof is no obstacle at all. Dry in the distrusted network is the only ground
for `above` (law 1 of the house: less knowledge never dries anything).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pipeline.core.settings import Settings
from pipeline.core.units import down_mm
from pipeline.exposure.links import UNKNOWN_FAR, Height, Heights, Link, place_spots, text
from pipeline.exposure.search import Network, build
from pipeline.tables import Tables

FloatArray = npt.NDArray[np.float64]
RUNS: Final = ("as is", "raised", "lowered", "distrusted")
AS_IS, RAISED, LOWERED, DISTRUSTED = range(4)
NO_OBSTACLE: Final = -math.inf


def four(height: Height) -> tuple[float, float, float, float]:
    """A level in the four runs, whole millimetres as metres; unknown = no obstacle."""
    if not height.is_known:
        return (NO_OBSTACLE,) * 4
    level, limit = float(down_mm(height.level_m)), float(down_mm(height.limit_m))
    low = (level - limit) / 1000.0
    trusted = low if height.has_pedigree else NO_OBSTACLE
    return level / 1000.0, (level + limit) / 1000.0, low, trusted


def highest(heights: Iterable[Height], *, is_proved: bool) -> tuple[float, float, float, float]:
    """The crest of a link in the four runs: the highest of its levels, each with its own doubt."""
    rows = [four(h) for h in heights]
    if not rows:
        return (NO_OBSTACLE,) * 4
    best = [max(column) for column in zip(*rows, strict=True)]
    # a raised crest must not fall below the plain one, a lowered one not rise above it
    distrusted = best[DISTRUSTED] if is_proved else NO_OBSTACLE
    return best[AS_IS], best[RAISED], best[LOWERED], distrusted


@dataclass(frozen=True)
class Mouth:
    """How one opening hangs on the network.

    `places` are (place, crest in four runs, link): water that stands at the place and passes the
    crest is at the opening. `ducts` are (far place, link): groundwater gets in along them, also
    where the far mouth is sealed.
    """

    opening_id: str
    building_id: str
    places: tuple[tuple[int, tuple[float, float, float, float], Link | None], ...]
    is_unknown: bool
    is_proved: bool
    is_closed_by: str = ""
    ducts: tuple[tuple[int, Link | None], ...] = ()


@dataclass
class Waterworks:
    """The assembled network.

    `crest_m` has shape (4, edges). `nodes` names every place; `node_of` finds it. `members` are
    the chambers that stand behind an unknown far end, by place.
    """

    network: Network
    tail: npt.NDArray[np.int64]
    head: npt.NDArray[np.int64]
    crest_m: FloatArray
    edge_words: list[str]
    edge_end: list[str]
    nodes: list[str]
    node_of: dict[str, int]
    members: dict[str, list[str]] = field(default_factory=dict)


class _Builder:
    def __init__(self) -> None:
        self.nodes: list[str] = []
        self.node_of: dict[str, int] = {}
        self.tail: list[int] = []
        self.head: list[int] = []
        self.crest: list[tuple[float, float, float, float]] = []
        self.words: list[str] = []
        self.ends: list[str] = []

    def node(self, name: str) -> int:
        if name not in self.node_of:
            self.node_of[name] = len(self.nodes)
            self.nodes.append(name)
        return self.node_of[name]

    def one_way(
        self, a: str, b: str, crest: tuple[float, float, float, float], words: str, end: str
    ) -> None:
        self.tail.append(self.node(a))
        self.head.append(self.node(b))
        self.crest.append(crest)
        self.words.append(words)
        self.ends.append(end)

    def both_ways(
        self, a: str, b: str, crest: tuple[float, float, float, float], words: str, end: str
    ) -> None:
        self.one_way(a, b, crest, words, end)
        self.one_way(b, a, crest, words, end)


def unknown_node(place: str) -> str:
    """Name of the place behind the unknown far ends of a place."""
    return f"unknown far end of {place}"


def assemble(tables: Tables, links: list[Link], settings: Settings) -> Waterworks:
    """Build the network of a survey.

    Parameters
    ----------
    tables : Tables
        Survey tables and levels.
    links : list of Link
    settings : Settings

    Returns
    -------
    Waterworks

    """
    heights = Heights(tables["levels"])
    building_of = {
        text(r["entry_id"]): text(r["building_id"]) or text(r["entry_id"])
        for r in tables["entries"].to_dict("records")
    }
    make = _Builder()
    for chamber in sorted(tables["chambers"]["chamber_id"]):
        make.node(str(chamber))
    for building in sorted(tables["buildings"]["building_id"]):
        make.node(str(building))
    unsure: dict[str, list[tuple[Link, Height]]] = {}
    for link in links:
        if link.blocked_by:
            continue
        a = building_of.get(link.place_a, link.place_a)
        b = building_of.get(link.place_b, link.place_b)
        if link.kind != UNKNOWN_FAR and a != b:
            make.both_ways(a, b, _crest(link), _words(link), link.end_a)
        if not link.is_proved:
            for end, place in ((link.end_a, a), (link.end_b, b)):
                if end:
                    unsure.setdefault(place, []).append((link, _own(heights, end)))
    _join_homeless(make, tables)
    members = _members(tables, settings, links, sorted(unsure))
    _join_unknown(make, unsure, members)
    tail, head = np.array(make.tail, dtype=np.int64), np.array(make.head, dtype=np.int64)
    crest = np.array(make.crest, dtype=np.float64).reshape(-1, 4).T
    return Waterworks(
        build(len(make.nodes), tail, head), tail, head, crest, make.words, make.ends,
        make.nodes, make.node_of, members,
    )  # fmt: skip


def _own(heights: Heights, end: str) -> Height:
    height = heights.get("duct end", end)
    return height if height.is_known else heights.get("entry", end)


def _crest(link: Link) -> tuple[float, float, float, float]:
    return highest(link.crests, is_proved=link.is_proved)


def _words(link: Link) -> str:
    crest = _crest(link)[AS_IS]
    at = "crest not known" if crest == NO_OBSTACLE else f"crest {crest:.3f}"
    proof = "" if link.is_proved else ", not proved"
    return f"duct {link.link_id}, {at}{proof}"


def _join_unknown(
    make: _Builder, unsure: dict[str, list[tuple[Link, Height]]], members: dict[str, list[str]]
) -> None:
    """Join every place with unknown far ends to all chambers that may stand behind them.

    An end that is only *unproved* keeps its link and is joined to the unknown in the distrusted
    run alone; an end without any far place is joined in all four.
    """
    for place, rows in sorted(unsure.items()):
        behind = unknown_node(place)
        for chamber in members.get(place, ()):
            if chamber != place:
                make.one_way(
                    chamber, behind, (NO_OBSTACLE,) * 4, f"unknown duct from {chamber}", ""
                )
        for link, own in rows:
            crest = four(own)
            if link.kind != UNKNOWN_FAR:
                crest = (math.inf, math.inf, math.inf, crest[DISTRUSTED])
            words = f"end {link.end_a or link.end_b}, far end not known"
            make.one_way(behind, place, crest, words, link.end_a)


def _join_homeless(make: _Builder, tables: Tables) -> None:
    """An entry whose building is not in the survey may belong to any building of its workbook."""
    buildings: dict[str, list[str]] = {}
    for building, file in zip(
        tables["buildings"]["building_id"], tables["buildings"]["file"], strict=True
    ):
        buildings.setdefault(text(file), []).append(text(building))
    known = set(tables["buildings"]["building_id"].astype(str))
    for row in tables["entries"].to_dict("records"):
        own = text(row["building_id"])
        if own in known:
            continue
        home = own or text(row["entry_id"])
        for building in buildings.get(text(row["file"]), ()):
            make.both_ways(home, building, (NO_OBSTACLE,) * 4, f"inside of {building}", "")


def _members(
    tables: Tables, settings: Settings, links: list[Link], places: list[str]
) -> dict[str, list[str]]:
    """Chambers and buildings that may stand behind the unknown far ends of each place.

    The site's own chambers, all chambers within the larger of the settings' radius and the
    longest duct between named places of the programme, and chambers that have no position. The
    longest *named* duct is taken, not only proved ones: a proof that gets lost must not make the
    circle smaller.
    """
    chambers = tables["chambers"].to_dict("records")
    spots = place_spots(tables)
    lengths = [k.length_m for k in links if k.kind != UNKNOWN_FAR and not math.isnan(k.length_m)]
    radius = max([settings.flood.link_radius_m, *lengths])
    sites = {
        text(r["building_id"]): text(r["site_id"]) for r in tables["buildings"].to_dict("records")
    }
    sites |= {text(r["chamber_id"]): text(r["site_id"]) for r in chambers}
    ids = [text(r["chamber_id"]) for r in chambers]
    # a wet building may send water on through a duct that nobody knows the other end of
    ids += [text(b) for b in tables["buildings"]["building_id"]]
    at = np.array([spots.get(i, (math.nan, math.nan)) for i in ids]).reshape(-1, 2)
    out: dict[str, list[str]] = {}
    for place in places:
        spot = spots.get(place)
        if spot is None:
            near = np.ones(len(ids), dtype=np.bool_)
        else:
            near = ~(
                np.hypot(at[:, 0] - spot[0], at[:, 1] - spot[1]) > radius
            )  # NaN counts as near
        own = sites.get(place, "")
        out[place] = [
            i for i, is_near in zip(ids, near, strict=True)
            if is_near or (own and sites[i] == own)
        ]  # fmt: skip
    return out


def mouths(  # noqa: C901 - one pass over links, with a case for each kind of far end
    tables: Tables, links: list[Link], works: Waterworks
) -> dict[str, Mouth]:
    """Every end and bare entry as a mouth on the network: what stands outside of it.

    Parameters
    ----------
    tables : Tables
    links : list of Link
    works : Waterworks

    Returns
    -------
    dict of str to Mouth
        By end id, or entry id for entries without ends.

    """
    building_of = {
        text(r["entry_id"]): text(r["building_id"]) or text(r["entry_id"])
        for r in tables["entries"].to_dict("records")
    }
    sides: dict[str, list[tuple[Link, str, str]]] = {}
    for link in links:
        sides.setdefault(link.end_a, []).append((link, link.place_a, link.place_b))
        if link.end_b:
            sides.setdefault(link.end_b, []).append((link, link.place_b, link.place_a))
        elif link.place_b:
            # a link that only the other side listed: it comes out at the entry as a whole
            sides.setdefault(f"at {link.place_b}", []).append((link, link.place_b, link.place_a))
    out: dict[str, Mouth] = {}
    heights = Heights(tables["levels"])
    for end, rows in sides.items():
        if end.startswith("at "):
            continue
        building = building_of.get(rows[0][1], rows[0][1])
        places: list[tuple[int, tuple[float, float, float, float], Link | None]] = []
        closed = next((k.blocked_by for k, _, _ in rows if end in k.blocked_ends), "")
        ducts: list[tuple[int, Link | None]] = []
        for link, here, far in rows:
            if link.blocked_by:
                if link.kind != UNKNOWN_FAR and far and not closed:
                    ducts.append((works.node_of[building_of.get(far, far)], link))
                continue
            if link.kind != UNKNOWN_FAR and far:
                node = works.node_of[building_of.get(far, far)]
                places.append((node, _crest(link), link))
            behind = works.node_of.get(unknown_node(building_of.get(here, here)))
            if behind is not None and not link.is_proved:
                crest = four(_own(heights, end))
                if link.kind != UNKNOWN_FAR:
                    crest = (math.inf, math.inf, math.inf, crest[DISTRUSTED])
                places.append((behind, crest, link))
        out[end] = Mouth(
            end, building, tuple(places),
            is_unknown=any(k.kind == UNKNOWN_FAR for k, _, _ in rows),
            is_proved=all(k.is_proved for k, _, _ in rows),
            is_closed_by=closed,
            ducts=(*ducts, *((node, link) for node, _, link in places)),
        )  # fmt: skip
    _share_one_sided(out, sides, tables, works, building_of)
    return out


def _share_one_sided(
    out: dict[str, Mouth],
    sides: dict[str, list[tuple[Link, str, str]]],
    tables: Tables,
    works: Waterworks,
    building_of: dict[str, str],
) -> None:
    """A duct that only a chamber's row says runs to an entry may be any mouth there not proved."""
    at_entry: dict[str, list[str]] = {}
    for end, place in zip(tables["ends"]["end_id"], tables["ends"]["place_id"], strict=True):
        at_entry.setdefault(text(place), []).append(text(end))
    for name, rows in sides.items():
        if not name.startswith("at "):
            continue
        entry = name.removeprefix("at ")
        if entry not in building_of:
            continue
        unproved = [e for e in at_entry.get(entry, []) if e in out and not out[e].is_proved]
        # all listed mouths are proved to lead elsewhere: then this duct has a mouth of its own
        for end in unproved or [entry]:
            extra = tuple(
                (works.node_of[building_of.get(far, far)], _crest(link), link)
                for link, _, far in rows
                if not link.blocked_by
            )
            mouth = out.get(
                end, Mouth(entry, building_of[entry], (), is_unknown=False, is_proved=False)
            )
            out[end] = replace(
                mouth,
                places=(*mouth.places, *extra),
                ducts=(*mouth.ducts, *((node, link) for node, _, link in extra)),
            )


def is_blank(value: object) -> bool:
    """Whether a cell holds nothing."""
    return value is None or bool(pd.isna(value))

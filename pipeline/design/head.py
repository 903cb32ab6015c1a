"""The head of water that a seal is designed for."""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from dataclasses import dataclass
from typing import Final

from pipeline.core.materials import Duration
from pipeline.core.units import down_mm, up_mm
from pipeline.design.facts import Facts, number, records, text
from pipeline.design.stress import sea_head_m
from pipeline.tables import Tables

# Sources that stand for hours, and those that rise and fall against the seal (house rule); all
# others are taken to stand for days.
_SHORT: Final = ("surface water",)
_CYCLIC: Final = ("sea",)
_STANDING: Final = ("groundwater", "seen water")
NOT_KNOWN: Final = "not known: "
ASSUMED: Final = "assumed: "
NO_OWN_LEVEL: Final = "its own level is missing"


@dataclass(frozen=True)
class Head:
    """Design head of an end: metres of fresh water over the invert, and where it came from."""

    head_m: float  # NaN = not known
    water_level_m: float
    words: str
    durations: tuple[Duration, ...]
    assumed: str = ""


def first_remedy(head: Head) -> str:
    """What has to be done first about a head that is not known or assumed; '' for a known one."""
    if not head.assumed:
        return ""
    do = "measure its level" if NO_OWN_LEVEL in head.words else "find the water level there"
    return f"head {head.words}: {do} first"


class Waters:
    """Standing water and overflow levels by place, for the heads of all ends."""

    def __init__(self, tables: Tables) -> None:
        self.covers: dict[str, float] = {}
        self.inverts: dict[str, float] = {}
        for row in records(tables, "levels"):
            level, kind = number(row, "level_m"), text(row, "thing_kind")
            if math.isnan(level):
                continue
            if kind == "cover":
                self.covers[text(row, "thing_id")] = level
            elif kind in ("duct end", "entry"):
                self.inverts[text(row, "thing_id")] = level
        self.standing: dict[str, tuple[float, str]] = {}
        for row in records(tables, "floods"):
            level, mechanism = number(row, "level_m"), text(row, "mechanism")
            if mechanism in _STANDING and not math.isnan(level):
                place = text(row, "place_id")
                if level > self.standing.get(place, (-math.inf, ""))[0]:
                    self.standing[place] = (level, mechanism)
        self.chambers = {text(r, "chamber_id") for r in records(tables, "chambers")}
        self.ways: dict[str, list[tuple[str, float]]] = defaultdict(list)
        for row in records(tables, "links"):
            a, b = text(row, "place_a_id"), text(row, "place_b_id")
            if a in self.chambers and b in self.chambers:
                crest = number(row, "crest_level_m")
                crest = -math.inf if math.isnan(crest) else crest
                self.ways[a].append((b, crest))
                self.ways[b].append((a, crest))
        self._overflow: dict[str, float] = {}

    def overflow_m(self, chamber_id: str) -> float:
        """Lowest level at which water in a chamber spills over a cover; NaN = none known.

        The lowest cover among the chambers that it is joined to by ducts, each with the highest
        crest on the way there.
        """
        if chamber_id not in self._overflow:
            self._overflow[chamber_id] = self._spill(chamber_id)
        return self._overflow[chamber_id]

    def _spill(self, start: str) -> float:
        lowest, seen = math.inf, set[str]()
        queue = [(-math.inf, start)] if start in self.chambers else []
        while queue:
            crest, place = heapq.heappop(queue)
            if crest >= lowest:
                break
            if place in seen:
                continue
            seen.add(place)
            lowest = min(lowest, max(crest, self.covers.get(place, math.inf)))
            for other, over in self.ways[place]:
                if other not in seen:
                    heapq.heappush(queue, (max(crest, over), other))
        return lowest if math.isfinite(lowest) else math.nan


def head_of(facts: Facts, waters: Waters) -> Head:
    """Design head of one end.

    Parameters
    ----------
    facts : Facts
    waters : Waters

    Returns
    -------
    Head
        `head_m` is NaN when the invert or every water level is unknown.

    Notes
    -----
    The highest of the policy levels of all sources to the rarest modelled event, the lowest
    overflow of the connected chambers, seen water and groundwater, less the invert. Water up,
    invert down to whole millimetres. Sea water presses 1.025 times as much; the factor is taken
    where the sea is among the sources, on the whole head.
    """
    levels = list(_levels(facts, waters))
    # a source without a level here is not modelled here, or dry: it presses nothing
    arriving = [s for s in facts.sources if not math.isnan(number(s, "policy_level_m"))]
    mechanisms = {text(s, "mechanism") for s in [*arriving, facts.reach]}
    durations = _durations(mechanisms - {""})
    invert = waters.inverts.get(facts.end_id, number(facts.reach, "opening_level_m"))
    if not levels or math.isnan(invert):
        missing = NO_OWN_LEVEL if math.isnan(invert) else "the water level is missing"
        return Head(math.nan, math.nan, f"{NOT_KNOWN}{missing}", durations)
    level, words = max(levels)
    head = max(float(up_mm(level) - down_mm(invert)) / 1000.0, 0.0)
    is_sea = "sea" in mechanisms
    head = sea_head_m(head, is_sea=is_sea)
    return Head(head, level, words + (", sea water x 1.025" if is_sea else ""), durations)


def _levels(facts: Facts, waters: Waters) -> list[tuple[float, str]]:
    reach = facts.reach
    every = [
        (number(reach, "rarest_level_m"), "policy level of the rarest modelled event"),
        (number(reach, "policy_level_m"), "policy level of the design event"),
    ]
    every += [
        (number(s, "policy_level_m"), f"policy level of {text(s, 'mechanism')}")
        for s in facts.sources
    ]
    places = (
        facts.place_id,
        text(facts.end, "far_place_id"),
        text(facts.building, "building_id"),
        text(facts.chamber, "chamber_id"),
    )
    for place in places:
        level, mechanism = waters.standing.get(place, (math.nan, ""))
        every.append((level, mechanism))
    for place in (text(facts.end, "far_place_id"), text(facts.chamber, "chamber_id")):
        if place:
            every.append((waters.overflow_m(place), "overflow of the connected chambers"))
    return [(level, words) for level, words in every if not math.isnan(level)]


def _durations(mechanisms: set[str]) -> tuple[Duration, ...]:
    out: set[Duration] = set()
    for mechanism in mechanisms or {"unknown"}:
        if mechanism in _SHORT:
            out.add("short")
        elif mechanism in _CYCLIC:
            out |= {"cyclic", "long"}
        else:
            out.add("long")
    return tuple(sorted(out))

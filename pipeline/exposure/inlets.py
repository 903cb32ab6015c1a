"""Where water gets in: over covers, by drains, through joints, straight at the wall."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from pipeline.core.settings import Settings
from pipeline.exposure.links import Height, Heights, Link, text
from pipeline.exposure.network import NO_OBSTACLE, Waterworks, four
from pipeline.exposure.water import DRAIN, GROUNDWATER, SEEN, SURFACE, Water, Waters
from pipeline.tables import Tables

FREE: Final = (NO_OBSTACLE,) * 4
_NO_DRAIN: Final = ("none",)
_NO_WATER_BY_DRAIN: Final = ("none", "soakaway")
_BY_DRAIN_TO: Final = {"sewer": ("sewer",), "river": ("river",), "tide": ("sea",)}
_WATER_STANDS: Final = ("standing", "running", "full")


@dataclass(frozen=True)
class Inlet:
    """One way in at one place: the lowest level that passes, in the four runs, and the water.

    `node` is -1 for water straight at one opening. `water` names the mechanism and the place
    whose level counts; `words` tells the step. `is_assumed`: it is taken as a way in, or as open
    so low, because something is not known.
    """

    node: int
    inlet_m: tuple[float, float, float, float]
    mechanism: str
    place_id: str
    water_places: tuple[str, ...]
    mechanisms: tuple[str, ...]
    words: str
    fixed_m: float = math.nan
    is_assumed: bool = False

    def water(self, waters: Waters) -> Water | None:
        """The water of this inlet under a policy; None where there is none."""
        if not math.isnan(self.fixed_m):
            return seen_water(self.place_id, self.fixed_m)
        found = waters.highest(self.water_places, self.mechanisms)
        if found is not None:
            return found
        known = [w for p in self.water_places for w in waters.at(p, self.mechanisms)]
        return known[0] if known else None


def seen_water(place: str, level_m: float) -> Water:
    """Water that was seen at a place: it counts in every event."""
    return Water(
        SEEN, place, design_m=level_m, design_u_m=0.0, is_modelled=True, rarest_m=level_m,
        source_id=f"seen:{place}",
    )  # fmt: skip


def inlets(tables: Tables, links: list[Link], works: Waterworks) -> list[Inlet]:
    """All inlets into chambers and unknown far ends.

    Parameters
    ----------
    tables : Tables
    links : list of Link
    works : Waterworks

    Returns
    -------
    list of Inlet
        In the order of their chambers.

    """
    heights = Heights(tables["levels"])
    site_places = _places_of_sites(tables)
    joints = _lowest_joints(tables, links, heights)
    out: list[Inlet] = []
    for row in tables["chambers"].to_dict("records"):
        chamber, site = text(row["chamber_id"]), text(row["site_id"])
        node = works.node_of[chamber]
        here = site_places.get(site, (chamber,))
        # without a position the chamber may stand wherever its site floods deepest
        surface_at = (chamber,) if not pd.isna(row["x_m"]) else (chamber, *here)
        cover = heights.get("cover", chamber)
        at = f"{cover.level_m:.3f}" if cover.is_known else "level not known"
        for mechanism in SURFACE:
            out.append(
                Inlet(node, four(cover), mechanism, chamber, surface_at, (mechanism,),
                      f"{mechanism} over cover {chamber} ({at})",
                      is_assumed=not cover.is_known or len(surface_at) > 1)
            )  # fmt: skip
        out += _drain(row, node, chamber, here)
        out.append(
            Inlet(node, joints.get(chamber, FREE), GROUNDWATER, chamber, (chamber,),
                  (GROUNDWATER,), f"groundwater through joints of {chamber}",
                  is_assumed=joints.get(chamber, FREE) == FREE)
        )  # fmt: skip
        out += _seen(row, node, chamber, cover, heights)
    known = set(tables["chambers"]["chamber_id"].astype(str))
    for place, behind in sorted(works.members.items()):
        chambers = [c for c in behind if c in known]
        name = f"unknown far end of {place}"
        if name not in works.node_of:
            continue
        for mechanism in SURFACE:
            out.append(
                Inlet(works.node_of[name], FREE, mechanism, place, tuple(chambers), (mechanism,),
                      f"{mechanism} at the worst of {len(chambers)} chambers nearby",
                      is_assumed=True)
            )  # fmt: skip
    return out


def _places_of_sites(tables: Tables) -> dict[str, tuple[str, ...]]:
    out: dict[str, list[str]] = {}
    for name, key in (("chambers", "chamber_id"), ("buildings", "building_id")):
        for place, site in zip(tables[name][key], tables[name]["site_id"], strict=True):
            out.setdefault(text(site), []).append(text(place))
    return {site: tuple(sorted(places)) for site, places in out.items()}


def _lowest_joints(
    tables: Tables, links: list[Link], heights: Heights
) -> dict[str, tuple[float, float, float, float]]:
    """Lowest invert of a chamber's ducts in the four runs; one unknown = no obstacle."""
    ends: dict[str, list[Height]] = {}
    for end, place in zip(tables["ends"]["end_id"], tables["ends"]["place_id"], strict=True):
        ends.setdefault(text(place), []).append(heights.get("duct end", text(end)))
    for link in links:
        if link.place_b and not link.end_b:
            # a mouth that only the other side listed: its invert is not known here
            ends.setdefault(link.place_b, []).append(Height(link.lowest_invert_m))
    out = {}
    for place, rows in ends.items():
        runs = [four(h) for h in rows]
        out[place] = tuple(min(column) for column in zip(*runs, strict=True))
    return out


def _drain(row: dict[str, Any], node: int, chamber: str, here: tuple[str, ...]) -> list[Inlet]:
    """A drain brings its level in under the cover; one that is not known of may be there."""
    is_wet_well = text(row["kind"]) == "wet well"
    to = text(row["drain_to"])
    has_none = text(row["drain"]) in _NO_DRAIN or to in _NO_WATER_BY_DRAIN
    if has_none and not is_wet_well:
        return []
    mechanisms = _BY_DRAIN_TO.get(to, DRAIN)
    what = "wet well" if is_wet_well else f"drain to {to or 'not known'}"
    is_assumed = to not in _BY_DRAIN_TO or text(row["drain"]) != "present"
    return [Inlet(node, FREE, "drain", chamber, here, mechanisms, f"{what} at {chamber}",
                  is_assumed=is_assumed and not is_wet_well)]  # fmt: skip


def _seen(
    row: dict[str, Any], node: int, chamber: str, cover: Height, heights: Heights
) -> list[Inlet]:
    """Water that was seen standing: in every event, and with the policy's freeboard.

    Water without a height may stand up to the cover.
    """
    seen = heights.get("water seen", chamber)
    stands = text(row["water_state"]) in _WATER_STANDS or heights.has("water seen", chamber)
    level = seen.level_m
    if math.isnan(level) and stands:
        level = cover.level_m if cover.is_known else math.inf
    if math.isnan(level):
        return []
    words = f"water seen in {chamber}" + ("" if seen.is_known else " (depth not measured)")
    return [Inlet(node, FREE, SEEN, chamber, (), (), words, fixed_m=level,
                  is_assumed=not seen.is_known)]  # fmt: skip


@dataclass(frozen=True)
class Direct:
    """Water straight at one opening, not through a duct."""

    inlet_m: tuple[float, float, float, float]
    mechanism: str
    place_id: str
    water: Water
    words: str
    is_assumed: bool = False


class Walls:
    """Water at the walls of buildings under one policy."""

    def __init__(self, tables: Tables, settings: Settings, waters: Waters) -> None:
        self._heights = Heights(tables["levels"])
        self._waters = waters
        ground = tables["ground"]
        ground = ground[ground["place_kind"] == "building"]
        self._ring = {
            text(p): float(low) if not pd.isna(low) else float(at)
            for p, low, at in zip(
                ground["place_id"], ground["ring_low_m"], ground["ground_m"], strict=True
            )
        }
        self._ground_limit = settings.flood.k * settings.ground.u_m
        self._site_places = _places_of_sites(tables)
        self._drain_to = {
            text(r["building_id"]): text(r["drain_to"])
            for r in tables["buildings"].to_dict("records")
        }

    def ring(self, building: str) -> tuple[float, float, float, float]:
        """Lowest ground outside in the four runs; unknown = no obstacle."""
        level = self._ring.get(building, math.nan)
        height = Height(level, self._ground_limit, has_pedigree=False)
        return four(height) if height.is_known else FREE

    def at(self, building: str, site: str, kind: str) -> list[Direct]:
        """Water straight at an opening of a kind in a building."""
        out = []
        ring = self.ring(building)
        for water in self._waters.at(building, SURFACE):
            is_near = water.is_nearest and not math.isnan(water.design_m)
            # the ring is dry; the nearest water is not at the wall
            here = replace(water, design_m=math.nan) if is_near else water
            words = f"{water.mechanism} at the wall of {building}"
            out.append(
                Direct(ring, water.mechanism, building, here, words, is_assumed=ring == FREE)
            )
        for water in self._waters.at(building, (GROUNDWATER,)):
            out.append(Direct(FREE, GROUNDWATER, building, water, f"groundwater at {building}"))
        out += self._seen(building)
        if kind == "drain":
            out += self._by_drain(building, site)
        return out

    def _seen(self, building: str) -> list[Direct]:
        """Water or a mark that was seen in the building: by which opening is not known, so by all.

        Without a readable height it may have stood anywhere.
        """
        if not self._heights.has("water seen", building):
            return []
        seen = self._heights.get("water seen", building)
        words = f"water seen in {building}" + ("" if seen.is_known else " (height not measured)")
        level_m = seen.level_m if seen.is_known else math.inf
        water = seen_water(building, level_m)
        return [Direct(FREE, SEEN, building, water, words, is_assumed=not seen.is_known)]

    def _by_drain(self, building: str, site: str) -> list[Direct]:
        to = self._drain_to.get(building, "")
        if to in _NO_WATER_BY_DRAIN:
            return []
        mechanisms = _BY_DRAIN_TO.get(to, DRAIN)
        water = self._waters.highest(self._site_places.get(site, ()), mechanisms)
        if water is None:
            return []
        return [
            Direct(
                FREE,
                "drain",
                building,
                water,
                f"drain of {building} to {to or 'not known'}",
                is_assumed=to not in _BY_DRAIN_TO,
            )
        ]

    def nearest(self, building: str) -> Water | None:
        """Reference water of a building whose ring is dry."""
        found = [
            w
            for w in self._waters.at(building, SURFACE)
            if w.is_nearest and not math.isnan(w.design_m)
        ]
        return max(found, key=lambda w: w.design_m, default=None)

    def is_modelled(self, building: str) -> bool:
        """Whether any surface source says something of the building."""
        return self._waters.is_modelled(building)

"""All openings: duct ends, bare entries, gaps beside ducts, doors, vents, drains, hatches."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from pipeline.core.lost import possible_buildings
from pipeline.exposure.links import Height, Heights, text
from pipeline.exposure.network import Mouth
from pipeline.tables import Tables

_BUILDING_OPENINGS: Final = ("door", "vent", "drain", "hatch", "crack")
_CLOSED_GAP: Final = "none"


@dataclass(frozen=True)
class Place:
    """Where an opening is and what it is, before any water.

    `may_be_in`: buildings that one without a known building may belong to.
    """

    opening_id: str
    kind: str
    end_id: str
    entry_id: str
    building_id: str
    chamber_id: str
    site_id: str
    region: str
    is_sealable: bool
    height: Height
    gap_words: str
    mouth: Mouth | None
    note: str = ""
    may_be_in: tuple[str, ...] = ()


def openings(tables: Tables, mouths: dict[str, Mouth]) -> list[Place]:
    """List every opening of a survey.

    Parameters
    ----------
    tables : Tables
    mouths : dict of str to Mouth
        How ends and bare entries hang on the network.

    Returns
    -------
    list of Place
        Sorted by opening_id.

    """
    heights = Heights(tables["levels"])
    gaps = _pedigree_gaps(tables["levels"])
    regions = dict(zip(tables["sites"]["site_id"], tables["sites"]["region"], strict=True))
    out = _ends(tables, mouths, heights, gaps, regions)
    out += _entries(tables, mouths, heights, gaps, regions)
    out += _of_buildings(tables, gaps, regions)
    lost = possible_buildings(tables)
    out = [replace(p, may_be_in=lost.get(p.opening_id, ())) for p in out]
    return sorted(out, key=lambda p: p.opening_id)


def _pedigree_gaps(levels: pd.DataFrame) -> dict[tuple[str, str], str]:
    return {
        (text(k), text(i)): text(g)
        for k, i, g in zip(
            levels["thing_kind"], levels["thing_id"], levels["pedigree_gap"], strict=True
        )
    }


def _ends(
    tables: Tables,
    mouths: dict[str, Mouth],
    heights: Heights,
    gaps: dict[tuple[str, str], str],
    regions: dict[str, str],
) -> list[Place]:
    chambers = set(tables["chambers"]["chamber_id"])
    region_of = dict(
        zip(tables["chambers"]["chamber_id"], tables["chambers"]["region"], strict=True)
    )
    out = []
    for row in tables["ends"].to_dict("records"):
        end, place, site = text(row["end_id"]), text(row["place_id"]), text(row["site_id"])
        in_chamber = place in chambers or text(row["place_kind"]) == "chamber"
        region = text(regions.get(site, region_of.get(place, "")))
        out.append(
            Place(
                opening_id=end,
                kind="chamber end" if in_chamber else "duct end",
                end_id=end,
                entry_id="" if in_chamber else place,
                building_id="" if in_chamber else text(row["building_id"]),
                chamber_id=place if in_chamber else "",
                site_id=site,
                region=region,
                is_sealable=not in_chamber,
                height=heights.get("duct end", end),
                gap_words=gaps.get(("duct end", end), ""),
                mouth=mouths.get(end),
            )
        )
    return out


def _entries(
    tables: Tables,
    mouths: dict[str, Mouth],
    heights: Heights,
    gaps: dict[tuple[str, str], str],
    regions: dict[str, str],
) -> list[Place]:
    with_ends = set(tables["ends"]["place_id"])
    site_of = dict(
        zip(tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True)
    )
    out = []
    for row in tables["entries"].to_dict("records"):
        entry, building = text(row["entry_id"]), text(row["building_id"])
        site = text(site_of.get(building, ""))
        place = Place(
            opening_id=entry,
            kind="entry",
            end_id="",
            entry_id=entry,
            building_id=building,
            chamber_id="",
            site_id=site,
            region=text(regions.get(site, "")),
            is_sealable=True,
            height=heights.get("entry", entry),
            gap_words=gaps.get(("entry", entry), ""),
            mouth=mouths.get(entry),
        )
        if entry not in with_ends or entry in mouths:
            out.append(place)
        gap = text(row["gap_around_duct"])
        if gap != _CLOSED_GAP:
            changes = {
                "opening_id": f"{entry}/gap",
                "kind": "gap beside duct",
                "is_sealable": False,
                "mouth": None,
                "note": "a gap beside the duct was seen"
                if gap and gap != "not seen"
                else "whether water can pass beside the duct was not seen",
            }
            out.append(Place(**{**place.__dict__, **changes}))
    return out


def _of_buildings(
    tables: Tables, gaps: dict[tuple[str, str], str], regions: dict[str, str]
) -> list[Place]:
    site_of = dict(
        zip(tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True)
    )
    out = []
    for row in tables["levels"].to_dict("records"):
        kind, building = text(row["thing_kind"]), text(row["thing_id"])
        if kind not in _BUILDING_OPENINGS:
            continue
        level = float(row["level_m"])
        limit = 0.0 if pd.isna(row["limit_mm"]) else float(row["limit_mm"]) / 1000.0
        site = text(site_of.get(building, row["site_id"]))
        out.append(
            Place(
                opening_id=f"{building}/{kind}",
                kind=kind,
                end_id="",
                entry_id="",
                building_id=building,
                chamber_id="",
                site_id=site,
                region=text(regions.get(site, "")),
                is_sealable=False,
                height=Height(level, limit, bool(row["has_pedigree"]))
                if not math.isnan(level)
                else Height(),
                gap_words=gaps.get((kind, building), ""),
                mouth=None,
            )
        )
    return out

"""Ducts as links: two rows that name each other are one link, one row alone is a link too."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.settings import Settings
from pipeline.tables import Tables

BOTH_ENDS: Final = "both ends seen"
ONE_END: Final = "one end seen"
UNKNOWN_FAR: Final = "unknown far end"
BARE_ENTRY: Final = "entry without ends"
TAKEN_AS_CLOSED: Final = "taken as closed"
_NO_PLACE: Final = {"", "unknown", "buried", "none", "not seen"}


@dataclass(frozen=True)
class Height:
    """A level with its doubt limit and pedigree; level NaN = not known."""

    level_m: float = math.nan
    limit_m: float = 0.0
    has_pedigree: bool = False

    @property
    def is_known(self) -> bool:
        """Whether there is a level."""
        return not math.isnan(self.level_m)


UNKNOWN: Final = Height()


class Heights:
    """The levels table by kind and id."""

    def __init__(self, levels: pd.DataFrame) -> None:
        self._by: dict[tuple[str, str], Height] = {}
        for row in levels.to_dict("records"):
            level = float(row["level_m"])
            limit = 0.0 if pd.isna(row["limit_mm"]) else float(row["limit_mm"]) / 1000.0
            self._by[str(row["thing_kind"]), str(row["thing_id"])] = Height(
                level, limit, bool(row["has_pedigree"])
            )

    def get(self, kind: str, thing_id: str) -> Height:
        """The level of a thing; unknown when there is none."""
        return self._by.get((kind, thing_id), UNKNOWN)

    def has(self, kind: str, thing_id: str) -> bool:
        """Whether the thing is listed, with or without a level."""
        return (kind, thing_id) in self._by

    def of_kind(self, kind: str) -> dict[str, Height]:
        """All things of a kind, by id."""
        return {i: h for (k, i), h in self._by.items() if k == kind}


@dataclass(frozen=True)
class Link:
    """One duct between two places; an empty place_b is an unknown far end."""

    link_id: str
    kind: str
    end_a: str
    end_b: str
    place_a: str
    place_b: str
    crests: tuple[Height, ...]
    lowest_invert_m: float
    proof: str
    is_proved: bool
    blocked_by: str = ""
    blocked_ends: tuple[str, ...] = ()
    length_m: float = math.nan
    notes: tuple[str, ...] = field(default_factory=tuple)


def text(value: Any) -> str:
    """Text of a cell; blank where there is none."""
    return "" if value is None or pd.isna(value) else str(value).strip()


def make_links(tables: Tables, settings: Settings, closed_ends: Collection[str] = ()) -> list[Link]:
    """Make the links of a survey.

    Parameters
    ----------
    tables : Tables
        Survey tables and levels.
    settings : Settings
    closed_ends : collection of str
        Ends taken as closed by a seal that holds, beside those of the survey (a what-if).

    Returns
    -------
    list of Link
        Sorted by link_id. Every end stands in exactly one link, or in two where rows disagree.

    """
    heights = Heights(tables["levels"])
    ends = [_end(row) for row in tables["ends"].to_dict("records")]
    by_id = {e["end_id"]: e for e in ends}
    places = _places(tables)
    blocked = blocked_ends(tables, settings, heights)
    blocked |= dict.fromkeys(sorted(closed_ends), TAKEN_AS_CLOSED)
    links: list[Link] = []
    paired: set[str] = set()
    for end in ends:
        other = by_id.get(end["far_end_id"])
        both_placed = other is not None and {end["place_id"], other["place_id"]} <= places
        if (
            other is not None
            and both_placed
            and other is not end
            and other["far_end_id"] == end["end_id"]
        ):
            if end["end_id"] < other["end_id"]:
                links.append(_pair(end, other, heights, blocked))
            paired.add(end["end_id"])
    unpaired = [e for e in ends if e["end_id"] not in paired]
    naming = _naming(unpaired, by_id)
    links += [_single(e, by_id, places, naming, heights, blocked) for e in unpaired]
    links += _bare_entries(tables, ends, places, heights, blocked)
    return sorted(_with_lengths(links, tables, by_id), key=lambda link: link.link_id)


def _end(row: Mapping[str, Any]) -> dict[str, Any]:
    wanted = ("end_id", "place_id", "far_place_id", "far_end_id", "far_proof")
    out: dict[str, Any] = {k: text(row[k]) for k in wanted}
    out["high_point_m"] = row["high_point_m"]
    out["length_m"] = row["length_m"]
    out["is_refused"] = any(
        c in text(row["stopped"]).split(";") for c in ("far_place_id", "far_end_id", "end_id")
    )
    return out


def _places(tables: Tables) -> set[str]:
    return set(tables["chambers"]["chamber_id"]) | set(tables["entries"]["entry_id"])


def _far_place(end: dict[str, Any], by_id: dict[str, dict[str, Any]]) -> str:
    """The place at the other mouth, as far as this row says."""
    if end["is_refused"]:
        return ""
    other = by_id.get(end["far_end_id"])
    if other is not None and other is not end and other["place_id"]:
        return str(other["place_id"])
    place = str(end["far_place_id"])
    return "" if place.lower() in _NO_PLACE else place


def _naming(
    unpaired: list[dict[str, Any]], by_id: dict[str, dict[str, Any]]
) -> dict[tuple[str, str], list[str]]:
    """Unpaired ends at a place that name another: (place, place named) -> ends."""
    out: dict[tuple[str, str], list[str]] = {}
    for end in unpaired:
        far = _far_place(end, by_id)
        if far:
            out.setdefault((end["place_id"], far), []).append(end["end_id"])
    return out


def _high_point(end: dict[str, Any], heights: Heights) -> Height | None:
    height = heights.get("high point", end["end_id"])
    return height if height.is_known else None


def _pair(
    one: dict[str, Any], other: dict[str, Any], heights: Heights, blocked: Mapping[str, str]
) -> Link:
    inverts = [heights.get("duct end", e["end_id"]) for e in (one, other)]
    tops = [h for h in (_high_point(one, heights), _high_point(other, heights)) if h]
    proofs = [e["far_proof"] for e in (one, other) if e["far_proof"]]
    proved = next((p for p in proofs if p in contract.PROVED), "")
    return Link(
        link_id=f"{one['end_id']} - {other['end_id']}",
        kind=BOTH_ENDS,
        end_a=one["end_id"],
        end_b=other["end_id"],
        place_a=one["place_id"],
        place_b=other["place_id"],
        crests=tuple(h for h in (*inverts, *tops) if h.is_known),
        lowest_invert_m=_lowest(inverts),
        proof=proved or (proofs[0] if proofs else ""),
        is_proved=bool(proved) and all(e["far_proof"] in contract.PROVED for e in (one, other)),
        blocked_by=blocked.get(one["end_id"]) or blocked.get(other["end_id"]) or "",
        blocked_ends=tuple(e["end_id"] for e in (one, other) if e["end_id"] in blocked),
        length_m=_first(one["length_m"], other["length_m"]),
    )


def _single(
    end: dict[str, Any],
    by_id: dict[str, dict[str, Any]],
    places: set[str],
    naming: dict[tuple[str, str], list[str]],
    heights: Heights,
    blocked: Mapping[str, str],
) -> Link:
    own = heights.get("duct end", end["end_id"])
    far = _far_place(end, by_id)
    if not far or far not in places:
        note = () if not far else (f"{far} is not in the survey",)
        return Link(
            link_id=end["end_id"],
            kind=UNKNOWN_FAR,
            end_a=end["end_id"],
            end_b="",
            place_a=end["place_id"],
            place_b="",
            crests=(own,) if own.is_known else (),
            lowest_invert_m=_lowest([own]),
            proof="",
            is_proved=False,
            blocked_by=blocked.get(end["end_id"], ""),
            blocked_ends=tuple({end["end_id"]} & blocked.keys()),
            notes=note,
        )
    there = naming.get((far, end["place_id"]), [])
    crests = [own] if own.is_known else []
    notes: list[str] = []
    if there:
        over = [heights.get("duct end", e) for e in there]
        # a missing invert over there is no obstacle
        if all(h.is_known for h in over):
            crests.append(min(over, key=lambda h: h.level_m))
    top = _high_point(end, heights)
    other = by_id.get(end["far_end_id"])
    disagrees = other is not None and bool(other["far_end_id"])
    if disagrees:
        notes.append("rows at both ends disagree: both ways let water in, neither is proof")
    elif top is not None:
        crests.append(top)
    return Link(
        link_id=f"{end['end_id']} - {far}",
        kind=ONE_END,
        end_a=end["end_id"],
        end_b="",
        place_a=end["place_id"],
        place_b=far,
        crests=tuple(crests),
        lowest_invert_m=_lowest(crests),
        proof=end["far_proof"],
        is_proved=end["far_proof"] in contract.PROVED and not disagrees,
        blocked_by=blocked.get(end["end_id"], ""),
        blocked_ends=tuple({end["end_id"]} & blocked.keys()),
        length_m=_first(end["length_m"]),
        notes=tuple(notes),
    )


def _bare_entries(
    tables: Tables,
    ends: list[dict[str, Any]],
    places: set[str],
    heights: Heights,
    blocked: Mapping[str, str],
) -> list[Link]:
    """Entries without duct rows are openings themselves; `leads_to` is their link."""
    with_ends = {e["place_id"] for e in ends}
    out = []
    for row in tables["entries"].to_dict("records"):
        entry = text(row["entry_id"])
        if entry in with_ends:
            continue
        far = text(row["leads_to"])
        own = heights.get("entry", entry)
        known = far in places
        if far.lower() == "buried":
            continue
        out.append(
            Link(
                link_id=f"{entry} - {far}" if known else entry,
                kind=BARE_ENTRY if known else UNKNOWN_FAR,
                end_a=entry,
                end_b="",
                place_a=entry,
                place_b=far if known else "",
                crests=(own,) if own.is_known else (),
                lowest_invert_m=_lowest([own]),
                proof="",
                is_proved=False,
                blocked_by=blocked.get(entry, ""),
                blocked_ends=tuple({entry} & blocked.keys()),
            )
        )
    return out


def blocked_ends(tables: Tables, settings: Settings, heights: Heights) -> dict[str, str]:
    """Ends closed by a seal that may be counted on: end or entry -> seal.

    A seal blocks only with an inspection within the policy age, sound, no water passing, and a
    rated head not below the highest head that any modelled water of its place can put on it; or
    where a record of ours was accepted and stands (`sealed_ends`).
    """
    out = _closed_by_record(tables)
    water = _highest_water(tables)
    places = dict(zip(tables["ends"]["end_id"], tables["ends"]["place_id"], strict=True))
    for row in tables["seals"].to_dict("records"):
        name = text(row["end_id"]) or text(row["entry_id"])
        if not name or text(row["stopped"]):
            continue
        own = heights.get("duct end", name)
        own = own if own.is_known else heights.get("entry", name)
        place = places.get(name, name)
        head = water.get(place, math.inf) - own.level_m if own.is_known else math.inf
        if (
            _is_recent(text(row["inspected_on"]), settings)
            and text(row["condition"]) == "sound"
            and text(row["water_passing"]) == "none"
            and not pd.isna(row["rated_head_m"])
            and float(row["rated_head_m"]) >= head
        ):
            out[name] = text(row["seal_id"])
    return out


def _closed_by_record(tables: Tables) -> dict[str, str]:
    """Ends that count as closed by our own accepted records: end -> record."""
    sealed = tables.get("sealed_ends")
    if sealed is None or sealed.empty:
        return {}
    closed = sealed[sealed["is_closed"].astype(bool)]
    return {
        str(end): f"accepted seal {record}"
        for end, record in zip(closed["end_id"], closed["install_id"], strict=True)
    }


def _is_recent(inspected: str, settings: Settings) -> bool:
    if not inspected:
        return False
    age_days = (pd.Timestamp(settings.planning_date) - pd.Timestamp(inspected)).days
    return bool(0 <= age_days <= settings.surveys.seal_age_years * 365.25)


def _highest_water(tables: Tables) -> dict[str, float]:
    """Highest modelled water + freeboard of the site of each place (m)."""
    floods, policies = tables["floods"], tables["policies"]
    freeboard = float(policies["freeboard_m"].max()) if len(policies) else 0.0
    known = floods[floods["level_m"].notna()]
    by_place = known.groupby("place_id")["level_m"].max() + freeboard
    site_of = dict(
        zip(tables["buildings"]["building_id"], tables["buildings"]["site_id"], strict=True)
    )
    site_of |= dict(
        zip(tables["chambers"]["chamber_id"], tables["chambers"]["site_id"], strict=True)
    )
    by_site: dict[str, float] = {}
    for place, level in by_place.items():
        site = str(site_of.get(place, ""))
        by_site[site] = max(by_site.get(site, -math.inf), float(level))
    entry_site = {
        text(r["entry_id"]): str(site_of.get(text(r["building_id"]), ""))
        for r in tables["entries"].to_dict("records")
    }
    out = {p: by_site.get(str(s), math.inf) for p, s in site_of.items()}
    out |= {e: by_site.get(s, math.inf) for e, s in entry_site.items()}
    return out


def _lowest(heights: list[Height]) -> float:
    if not heights or any(not h.is_known for h in heights):
        return math.nan
    return min(h.level_m for h in heights)


def _first(*values: Any) -> float:
    return next((float(v) for v in values if v is not None and not pd.isna(v)), math.nan)


def _with_lengths(
    links: list[Link], tables: Tables, by_id: dict[str, dict[str, Any]]
) -> list[Link]:
    """Fill missing lengths with the straight distance between the places."""
    del by_id
    spots = place_spots(tables)
    out = []
    for link in links:
        one, other = spots.get(link.place_a), spots.get(link.place_b)
        if math.isnan(link.length_m) and one and other:
            length = math.hypot(one[0] - other[0], one[1] - other[1])
            out.append(Link(**{**link.__dict__, "length_m": round(length, 2)}))
        else:
            out.append(link)
    return out


def place_spots(tables: Tables) -> dict[str, tuple[float, float]]:
    """Where chambers, buildings and (at their building) entries are (m); unknown ones left out."""
    out: dict[str, tuple[float, float]] = {}
    for name, key in (("chambers", "chamber_id"), ("buildings", "building_id")):
        frame = tables[name]
        for place, x, y in zip(frame[key], frame["x_m"], frame["y_m"], strict=True):
            if not (pd.isna(x) or pd.isna(y)):
                out[str(place)] = (float(x), float(y))
    for entry, building in zip(
        tables["entries"]["entry_id"], tables["entries"]["building_id"], strict=True
    ):
        if text(building) in out:
            out[str(entry)] = out[text(building)]
    return out

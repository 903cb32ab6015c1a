"""Every opening against every water that can get to it: the tables `reach` and `reach_sources`."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.progress import Progress
from pipeline.core.settings import Settings
from pipeline.exposure.classify import Opening, Reaching, Verdict, chance_below, classify
from pipeline.exposure.inlets import Inlet, Walls, inlets
from pipeline.exposure.links import Link, text
from pipeline.exposure.network import AS_IS, LOWERED, Mouth, Waterworks, assemble, four, mouths
from pipeline.exposure.openings import Place, openings
from pipeline.exposure.search import NOWHERE
from pipeline.exposure.water import GROUNDWATER, SEEN, Policy, Water, Waters
from pipeline.exposure.ways import Way, Ways
from pipeline.tables import Tables

_RUNS: Final = range(4)
# how the steps of a way say that they are taken as open because nobody knows
_NOT_KNOWN: Final = ("not known", "unknown duct", "inside of")
_UNDER_GROUND: Final = (GROUNDWATER, SEEN)
# where level or flood is not known, nobody can tell the chance: unknown is never zero
_CHANCE_UNKNOWN: Final = (contract.NO_LEVEL, contract.NO_FLOOD)


@dataclass(frozen=True)
class _Survey:
    """What the rows of one run share."""

    tables: Tables
    settings: Settings
    works: Waterworks
    ways: Ways
    inlets: list[Inlet]
    inlets_at: dict[int, list[Inlet]]


def reach_tables(
    tables: Tables,
    links: list[Link],
    settings: Settings,
    progress: Progress,
    *,
    only: frozenset[str] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Class, margin, way and chance of every opening.

    Parameters
    ----------
    tables : Tables
    links : list of Link
    settings : Settings
    progress : Progress
    only : frozenset of str, optional
        Buildings whose openings are asked for; the water is followed through all of them.

    Returns
    -------
    reach, reach_sources : DataFrame

    """
    works = assemble(tables, links, settings)
    all_inlets = inlets(tables, links, works)
    at: dict[int, list[Inlet]] = {}
    for inlet in all_inlets:
        at.setdefault(inlet.node, []).append(inlet)
    survey = _Survey(tables, settings, works, Ways(works), all_inlets, at)
    places = openings(tables, mouths(tables, links, works))
    places = [p for p in places if only is None or p.building_id in only]
    policies = _policies(tables)
    strictest = _strictest(policies, settings)
    waters: dict[Policy, tuple[Waters, Walls]] = {}
    rows: list[dict[str, Any]] = []
    sources: list[dict[str, Any]] = []
    for done, place in enumerate(places):
        if done % 50 == 0:
            progress(done, len(places))
        policy = policies.get(place.site_id, strictest)
        if policy not in waters:
            here = Waters(tables, policy)
            waters[policy] = (here, Walls(tables, settings, here))
        row, more = _opening(survey, place, policy, *waters[policy])
        rows.append(row)
        sources += more
    progress(len(places), max(len(places), 1))
    return pd.DataFrame(rows), pd.DataFrame(sources)


def _policies(tables: Tables) -> dict[str, Policy]:
    return {
        text(r["site_id"]): Policy(
            float(r["design_aep_per_year"]), text(r["climate"]), text(r["defences"]),
            float(r["freeboard_m"]),
        )
        for r in tables["policies"].to_dict("records")
    }  # fmt: skip


def _strictest(policies: dict[str, Policy], settings: Settings) -> Policy:
    """Policy of openings whose site is not known: rarest event, largest freeboard."""
    flood = settings.flood
    every = [
        Policy(flood.design_aep, flood.climate, flood.defences, flood.freeboard_m),
        *policies.values(),
    ]
    first = every[0]
    return replace(
        first,
        design_aep=min(p.design_aep for p in every),
        freeboard_m=max(p.freeboard_m for p in every),
    )


def _opening(
    survey: _Survey, place: Place, policy: Policy, waters: Waters, walls: Walls
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    found, missing = _reaching(survey, place, waters, walls)
    opening = _facts(place, walls, missing)
    verdict = classify(opening, found, freeboard_m=policy.freeboard_m, k=survey.settings.flood.k)
    onset, bound = _onset(found, waters)
    if verdict.level_class in _CHANCE_UNKNOWN or any(r.water.is_refused for r in found):
        onset, bound = math.nan, ""
    row = _row(place, verdict, found, policy, survey.settings.flood.k)
    row["onset_chance_per_year"], row["onset_bound"] = onset, bound
    return row, _source_rows(place, found, policy, waters, survey.settings.flood.k)


def _facts(place: Place, walls: Walls, missing: str) -> Opening:
    mouth = place.mouth
    return Opening(
        level_m=place.height.level_m,
        limit_mm=place.height.limit_m * 1000.0,
        has_pedigree=place.height.has_pedigree,
        pedigree_gap=place.gap_words,
        is_proved=mouth.is_proved if mouth else True,
        is_unknown_far=mouth.is_unknown if mouth else False,
        is_modelled=not missing,
        missing_place=missing,
        closed_by=mouth.is_closed_by if mouth else "",
        nearest=walls.nearest(place.building_id) if place.building_id else None,
    )


def _reaching(
    survey: _Survey, place: Place, waters: Waters, walls: Walls
) -> tuple[list[Reaching], str]:
    """Every source that can get to an opening, and the first place that is not modelled."""
    found: list[Reaching] = []
    missing: list[str] = []
    own = four(place.height)
    closed = bool(place.mouth and place.mouth.is_closed_by)
    # one that names no building stands wherever the water is worst (law 1 of the house)
    for building in () if closed else (place.may_be_in or tuple(filter(None, [place.building_id]))):
        if not walls.is_modelled(building):
            missing.append(building)
        for direct in walls.at(building, place.site_id, place.kind):
            control = tuple(max(i, o) for i, o in zip(direct.inlet_m, own, strict=True))
            found.append(
                Reaching(control, _mechanism(direct.mechanism, direct.water), direct.place_id, direct.water,  # type: ignore[arg-type]
                         (direct.words, f"{place.kind} {place.opening_id}"),
                         (direct.place_id,), is_direct=direct.mechanism not in _UNDER_GROUND,
                         is_proved=True, is_assumed=direct.is_assumed or bool(place.may_be_in))
            )  # fmt: skip
    if place.mouth is not None:
        ways, gone = _through_ducts(survey, place, own, waters)
        found += ways
        missing += gone
    if survey.works.node_of.get(place.chamber_id, NOWHERE) in survey.inlets_at:
        ways, gone = _in_chamber(survey, place, own, waters)
        found += ways
        missing += gone
    return found, missing[0] if missing else ""


def _through_ducts(
    survey: _Survey, place: Place, own: tuple[float, float, float, float], waters: Waters
) -> tuple[list[Reaching], list[str]]:
    mouth = place.mouth
    assert mouth is not None
    works, ways = survey.works, survey.ways
    without = works.node_of.get(place.building_id, NOWHERE) if place.building_id else NOWHERE
    if place.chamber_id:
        without = works.node_of.get(place.chamber_id, NOWHERE)
    components = {int(ways.component[node]) for node, _, _ in mouth.places}
    starts = [n for n in survey.inlets_at if int(ways.component[n]) in components]
    into = ways.into(mouth, without)
    found: list[Reaching] = []
    missing: list[str] = []
    for start in sorted(starts):
        way = into.from_place(start)
        if way is None:
            continue
        for inlet in survey.inlets_at[start]:
            reaching = _one(survey, place, own, inlet, way, waters)
            if reaching is not None:
                found.append(reaching)
        first = survey.inlets_at[start][0]
        if not _is_modelled(first, waters):
            missing.append(works.nodes[start])
    found += _groundwater_in_duct(place, own, mouth, waters, works)
    return found, missing


def _is_modelled(inlet: Inlet, waters: Waters) -> bool:
    """Whether the surface water of an inlet's place is known at the design event."""
    return waters.is_modelled(*inlet.water_places)


def _one(
    survey: _Survey,
    place: Place,
    own: tuple[float, float, float, float],
    inlet: Inlet,
    way: Way,
    waters: Waters,
) -> Reaching | None:
    water = inlet.water(waters)
    if water is None:
        return None
    control = tuple(max(i, c, o) for i, c, o in zip(inlet.inlet_m, way.control_m, own, strict=True))
    words = [inlet.words, *(survey.works.edge_words[e] for e in way.edges)]
    if way.link is not None:
        words.append(_link_words(way.link))
    words.append(f"{place.kind} {place.opening_id}")
    nodes = [inlet.place_id, *(survey.works.nodes[survey.works.head[e]] for e in way.edges)]
    chambers = {n for n in nodes if n in survey.works.node_of and not n.startswith("unknown far")}
    return Reaching(
        control, _mechanism(inlet.mechanism, water), inlet.place_id, water,  # type: ignore[arg-type]
        tuple(words), tuple(n for n in nodes if not n.startswith("unknown far")),
        is_direct=False, is_proved=way.is_proved, chambers_count=len(chambers),
        is_assumed=inlet.is_assumed or any(u in w for w in words[1:] for u in _NOT_KNOWN),
    )  # fmt: skip


def _mechanism(inlet: str, water: Water) -> str:
    """Mechanism of a source; a drain brings river, sea or sewer in, it is no water of its own."""
    return water.mechanism if inlet == "drain" else inlet


def _link_words(link: Link) -> str:
    known = [h.level_m for h in link.crests]
    at = f"crest {max(known):.3f}" if known else "crest not known"
    return f"duct {link.link_id}, {at}{'' if link.is_proved else ', not proved'}"


def _groundwater_in_duct(
    place: Place,
    own: tuple[float, float, float, float],
    mouth: Mouth,
    waters: Waters,
    works: Waterworks,
) -> list[Reaching]:
    """Groundwater gets into a duct anywhere along it and to the mouth at the mouth's own invert."""
    out = []
    for node, link in mouth.ducts:
        far = works.nodes[node]
        for water in waters.at(far, ("groundwater",)):
            out.append(
                Reaching(own, "groundwater", far, water,
                         (f"groundwater along duct {link.link_id if link else ''} at {far}",
                          f"{place.kind} {place.opening_id}"),
                         (far,), is_direct=False, is_proved=True)
            )  # fmt: skip
    return out


def _in_chamber(
    survey: _Survey, place: Place, own: tuple[float, float, float, float], waters: Waters
) -> tuple[list[Reaching], list[str]]:
    """Water in the chamber itself stands at its own ends."""
    node = survey.works.node_of[place.chamber_id]
    here = Mouth(place.opening_id, "", ((node, (-math.inf,) * 4, None),), is_unknown=False,
                 is_proved=True)  # fmt: skip
    way = survey.ways.into(here, NOWHERE).from_place(node)
    found: list[Reaching] = []
    missing: list[str] = []
    if way is not None:
        for inlet in survey.inlets_at.get(node, ()):
            reaching = _one(survey, place, own, inlet, way, waters)
            if reaching is not None:
                found.append(reaching)
        if not _is_modelled(survey.inlets_at[node][0], waters):
            missing.append(place.chamber_id)
    return found, missing


def _onset(found: list[Reaching], waters: Waters) -> tuple[float, str]:
    """Chance a year that water comes in: the worst per mechanism, mechanisms independent."""
    worst: dict[str, tuple[float, str]] = {}
    for r in found:
        chance, bound = r.water.chance(r.control_m[AS_IS], waters.most_frequent)
        if chance > worst.get(r.mechanism, (-1.0, ""))[0]:
            worst[r.mechanism] = (chance, bound)
    dry = math.prod(1.0 - chance for chance, _ in worst.values())
    bounds = {bound for chance, bound in worst.values() if bound and chance > 0}
    total = 1.0 - dry
    if "more often than" in bounds:
        return total, "more often than"
    return total, "rarer than" if bounds and total > 0 else ""


def _row(
    place: Place, verdict: Verdict, found: list[Reaching], policy: Policy, k: float
) -> dict[str, Any]:
    decides = verdict.decides or min(
        (r for r in found if math.isfinite(r.control_m[AS_IS])),
        key=lambda r: (r.control_m[AS_IS], r.place_id),
        default=None,
    )
    row: dict[str, Any] = {
        "opening_id": place.opening_id,
        "opening_kind": place.kind,
        "end_id": place.end_id or None,
        "entry_id": place.entry_id or None,
        "building_id": place.building_id or None,
        "chamber_id": place.chamber_id or None,
        "site_id": place.site_id or None,
        "region": place.region or None,
        "is_sealable": place.is_sealable,
        "opening_level_m": place.height.level_m,
        "level_class": verdict.level_class,
        "margin_mm": verdict.margin_mm if math.isfinite(verdict.margin_mm) else math.nan,
        "margin_is_bound": verdict.is_bound,
        "reason": "; ".join(p for p in (verdict.reason, place.note) if p),
        "way": verdict.way,
        "freeboard_m": policy.freeboard_m,
        "has_pedigree": place.height.has_pedigree,
        "is_proved_way": place.mouth.is_proved if place.mouth else True,
    }
    if decides is not None:
        row |= _decides(place, decides, found, policy, k)
    return row


def _decides(
    place: Place, decides: Reaching, found: list[Reaching], policy: Policy, k: float
) -> dict[str, Any]:
    control = decides.control_m[AS_IS]
    level = decides.policy_mm(policy.freeboard_m) / 1000.0
    limit = control - decides.control_m[LOWERED]
    finite = math.isfinite(limit)
    rarest = [_rarest(r, policy) for r in found if math.isfinite(r.control_m[AS_IS])]
    rarest = [v for v in rarest if not math.isnan(v)]
    top = max(rarest, default=math.nan)
    chance = math.nan
    if not math.isnan(decides.water.design_m):
        u_c = limit / k if finite else 0.0
        chance = chance_below(control, u_c, decides.water.design_m, decides.water.design_u_m)
    own = place.height.level_m
    return {
        "limit_mm": round(limit * 1000.0) if finite else math.nan,
        "way_words": " -> ".join(decides.words),
        "way_places": " > ".join(dict.fromkeys(decides.places)),
        "let_in_level_m": control if math.isfinite(control) else math.nan,
        "policy_level_m": level if math.isfinite(level) else math.nan,
        "water_level_m": decides.water.design_m
        if math.isfinite(decides.water.design_m)
        else math.nan,
        "source_id": decides.water.source_id or None,
        "source_place_id": decides.place_id,
        "mechanism": decides.mechanism,
        "chance_below_frac": chance,
        "head_m": max(0.0, level - own) if math.isfinite(level - own) else math.nan,
        "rarest_level_m": top if math.isfinite(top) else math.nan,
    }


def _rarest(r: Reaching, policy: Policy) -> float:
    """Highest level of a source that may stand at the opening, with freeboard."""
    levels = [v for v in (r.water.design_m, r.water.rarest_m) if math.isfinite(v)]
    if not levels:
        return math.nan
    top = max(levels) + policy.freeboard_m
    return top if top >= r.control_m[LOWERED] else math.nan


def _u_m(r: Reaching, k: float) -> float:
    """Doubt of a control level with its bias (m, one standard deviation)."""
    down = r.control_m[AS_IS] - r.control_m[LOWERED]
    return down / k if math.isfinite(down) else math.nan


def _without_source(water: Water) -> str:
    """A water without a level in the design event is dry only where somebody modelled it."""
    return "dry" if water.is_modelled else "not modelled"


def _source_rows(
    place: Place, found: list[Reaching], policy: Policy, waters: Waters, k: float
) -> list[dict[str, Any]]:
    """One row per source, the lowest control level where several ways lead from it."""
    best: dict[tuple[str, str], Reaching] = {}
    sure: dict[tuple[str, str], float] = {}
    for r in found:
        key = (r.mechanism, r.place_id)
        if key not in best or r.control_m[AS_IS] < best[key].control_m[AS_IS]:
            best[key] = r
        if not r.is_assumed:
            chance, _ = r.water.chance(r.control_m[AS_IS], waters.most_frequent)
            sure[key] = max(chance, sure.get(key, 0.0))
    rows = []
    for (mechanism, source_place), r in sorted(best.items()):
        control = r.control_m[AS_IS]
        chance, bound = r.water.chance(control, waters.most_frequent)
        margin = r.margin_mm(AS_IS, policy.freeboard_m)
        level = r.policy_mm(policy.freeboard_m) / 1000.0
        rows.append(
            {
                "opening_id": place.opening_id,
                "source_id": f"{mechanism}:{r.water.source_id or _without_source(r.water)}",
                "source_place_id": source_place,
                "mechanism": mechanism,
                "control_level_m": control if math.isfinite(control) else math.nan,
                "control_u_m": _u_m(r, k),
                "water_level_m": r.water.design_m if math.isfinite(level) else math.nan,
                "water_u_m": r.water.design_u_m,
                "policy_level_m": level if math.isfinite(level) else math.nan,
                "margin_mm": margin if math.isfinite(margin) else math.nan,
                "chance_per_year": chance,
                "chance_bound": bound or None,
                "sure_chance_per_year": sure.get((mechanism, source_place), 0.0),
                "way_places": " > ".join(dict.fromkeys(r.places)),
                "chambers_count": r.chambers_count,
            }
        )
    return rows

"""What the map shows, as plain data: places in latitude and longitude, words of the tables."""

from __future__ import annotations

import json
from functools import partial
from typing import Any, Final

import numpy as np

from pipeline.core import contract
from pipeline.core.settings import Settings
from pipeline.publish import map_pack as pack
from pipeline.publish import map_places as where
from pipeline.publish.map_openings import as_columns, opening_spots, openings
from pipeline.publish.map_sections import sections
from pipeline.publish.map_states import NO_SEAL, PLAN_WORDS, STATE_WORDS
from pipeline.tables import Tables

_CLASS_WORDS: Final = {
    contract.BELOW: "below: the policy flood lets water in",
    contract.CLOSE: "too close to call: within the doubt; treated as below",
    contract.ABOVE: "above: clear of the policy line, proved",
    contract.NO_LEVEL: "no level: not measured; treated as below",
    contract.NO_FLOOD: "no flood level: not modelled; not the same as dry",
}
_HOLD_WORDS: Final = {
    contract.HOLD_DESIGN: "held: design",
    contract.HOLD_ORDER: "held: order",
    contract.HOLD_WORK: "held: work",
    contract.HOLD_NONE: "no hold",
    NO_SEAL: "no seal planned",
}


def map_data(tables: Tables, settings: Settings) -> dict[str, Any]:
    """Everything the map's script needs, ready for JSON.

    Parameters
    ----------
    tables : Tables
        Tables of a whole run.
    settings : Settings

    Returns
    -------
    dict
        `page`: words, lists and regions; `rows`: sites, buildings, chambers, links and openings by
        column, to be packed.

    """
    degrees = where.Degrees(settings.reference.working_crs)
    sites = where.sites(tables, degrees)
    buildings = where.buildings(tables, degrees, settings.programme.currency)
    chambers = where.chambers(tables, degrees)
    known = [b["building_id"] for b in buildings] + [c["chamber_id"] for c in chambers]
    number = {place: i for i, place in enumerate(known)}
    place_at = [p["at"] for p in buildings + chambers]
    rows = openings(tables, degrees, number, place_at)
    regions = where.regions(tables, degrees)
    return {
        "page": {
            "classes": list(contract.CLASSES),
            "colours": dict(contract.CLASS_COLOURS),
            "lists": _lists(regions, rows, settings),
            "events": _events(tables, settings),
            "regions": regions,
            "first_site": _first_site(tables),
            "bounds": _bounds(sites, regions),
        },
        "rows": {
            "sites": pack.of_records(sites, dict.fromkeys(sites[0] if sites else (), pack.raw)),
            "buildings": _buildings(buildings),
            "chambers": _chambers(chambers),
            "links": _links(where.links(tables, number), known),
            "openings": as_columns(rows),
            "sections": sections(tables, rows),
        },
    }


def as_json(data: dict[str, Any]) -> str:
    """JSON that cannot end its script element: '<' and the line separators are escaped."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _lists(
    regions: list[dict[str, Any]], rows: list[dict[str, Any]], settings: Settings
) -> dict[str, list[dict[str, str]]]:
    """What can be filtered by: values and their words, in the order of the tables."""

    def used(name: str, words: dict[str, str]) -> list[dict[str, str]]:
        values = {r[name] for r in rows}
        return [{"value": v, "words": w} for v, w in words.items() if v in values]

    critical = [*settings.programme.critical_classes]
    critical += sorted({r["critical_class"] for r in rows} - {*critical, ""})
    months = sorted({r["month"] for r in rows} - {""})
    return {
        "level_class": [{"value": c, "words": _CLASS_WORDS[c]} for c in contract.CLASSES],
        "region": _region_list(regions, rows),
        "critical_class": used(
            "critical_class", {**{c: c for c in critical}, "": "class of site not given"}
        ),
        "state": used("state", STATE_WORDS),
        "plan": used("plan", PLAN_WORDS),
        "hold": used("hold", _HOLD_WORDS),
        "month": used("month", {**{m: m for m in months}, "": "no crew day"}),
    }


def _region_list(regions: list[dict[str, Any]], rows: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Regions to filter by; openings without one stand under a line of their own."""
    known = [{"value": r["region"], "words": r["name"]} for r in regions]
    others = sorted({o["region"] for o in rows} - {r["value"] for r in known})
    return known + [
        {"value": o, "words": f"Region {o}, no outline" if o else "region not given"}
        for o in others
    ]


def _events(tables: Tables, settings: Settings) -> list[dict[str, Any]]:
    """Yearly chances that the sources model, the most frequent first."""
    floods, flood = tables["floods"], settings.flood
    is_asked = (floods["climate"] == flood.climate) & (floods["defences"] == flood.defences)
    chances = floods.loc[is_asked & (floods["aep_per_year"] > 0), "aep_per_year"]
    return [
        {"aep": float(c), "words": f"1 in {round(1 / float(c)):,} a year ({float(c):.4g} a year)"}
        for c in sorted(set(chances.dropna()), reverse=True)
    ]


def _buildings(rows: list[dict[str, Any]]) -> dict[str, Any]:
    sites = [[(pack.SITE, r["site_id"])] for r in rows]
    data: dict[str, Any] = pack.of_records(
        rows, {"site_id": pack.words, "at": pack.raw, "rings": pack.raw}
    )
    for name in ("building_id", "line_ends", "line_words", "line_cannot", "sealed_words", "sealed_short",
                 "package_words"):  # fmt: skip
        data["columns"][name] = pack.short_words([r[name] for r in rows], sites)
    return data


def _chambers(rows: list[dict[str, Any]]) -> dict[str, Any]:
    sites = [[(pack.SITE, r["site_id"])] for r in rows]
    data: dict[str, Any] = pack.of_records(
        rows,
        {
            "site_id": pack.words, "at": pack.raw, "other_numbers": pack.words,
            "grid_ref": pack.words, "water_words": pack.words, "note": pack.words,
            "cover_level_m": partial(pack.numbers, scale=1000),
        },
    )  # fmt: skip
    data["columns"]["chamber_id"] = pack.short_words([r["chamber_id"] for r in rows], sites)
    return data


def _links(rows: list[dict[str, Any]], known: list[str]) -> dict[str, Any]:
    whole = partial(pack.numbers, scale=1)
    data: dict[str, Any] = pack.of_records(
        rows,
        {
            "a": whole, "b": whole, "is_proved": pack.flags, "proof": pack.words,
            "crest_level_m": partial(pack.numbers, scale=1000),
        },
    )  # fmt: skip
    stand_for = [[(pack.OPENING, known[r["a"]]), (pack.SITE, known[r["b"]])] for r in rows]
    data["columns"]["link_id"] = pack.short_words([r["link_id"] for r in rows], stand_for)
    return data


def _first_site(tables: Tables) -> str | None:
    chosen = tables["choices"]
    chosen = chosen[chosen["rank"].notna()]
    return None if chosen.empty else where.text(chosen.sort_values("rank").iloc[0]["site_id"])


def _bounds(sites: list[dict[str, Any]], regions: list[dict[str, Any]]) -> list[list[float]]:
    points = [s["at"] for s in sites if s["at"]]
    points += [p for r in regions for ring in r["rings"] for p in ring]
    array = np.array(points or [[0.0, 0.0]])
    low, high = array.min(axis=0), array.max(axis=0)
    return [[float(low[0]), float(low[1])], [float(high[0]), float(high[1])]]


__all__ = ["as_json", "map_data", "opening_spots"]

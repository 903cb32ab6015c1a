"""What the map shows, as plain data: places in latitude and longitude, words of the tables."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer
from shapely.geometry import MultiPolygon, Polygon

from pipeline.core import contract
from pipeline.core.settings import Settings
from pipeline.tables import Tables

# Entries have no position of their own: they are drawn around their building, wall A to the north.
_WALL_TURN: Final = {"A": 90.0, "B": 0.0, "C": 270.0, "D": 180.0}
_WALL_OFFSET_M: Final = 9.0
_MOUTH_STEP_M: Final = 1.1
_CHAMBER_OFFSET_M: Final = 3.0
_CLASS_WORDS: Final = {
    contract.BELOW: "below: the policy flood lets water in",
    contract.CLOSE: "too close to call: within the doubt; treated as below",
    contract.ABOVE: "above: clear of the policy line, proved",
    contract.NO_LEVEL: "no level: not measured; treated as below",
    contract.NO_FLOOD: "no flood level: not modelled; not the same as dry",
}
_NO_HOLD: Final = "no hold"
_HOLD_WORDS: Final = {
    contract.HOLD_DESIGN: "held: design",
    contract.HOLD_ORDER: "held: order",
    contract.HOLD_WORK: "held: work",
    contract.HOLD_NONE: _NO_HOLD,
    "no seal": "no seal planned",
}


class Degrees:
    """From the working coordinate system to WGS 84, as the map's library wants them."""

    def __init__(self, working_crs: str) -> None:
        self._transformer = Transformer.from_crs(
            working_crs, "EPSG:4326", always_xy=True, allow_ballpark=False
        )

    def point(self, x_m: float, y_m: float) -> list[float] | None:
        """Latitude and longitude of a place; None where the place is not known."""
        if not (math.isfinite(x_m) and math.isfinite(y_m)):
            return None
        lon, lat = self._transformer.transform(x_m, y_m)
        return [round(lat, 7), round(lon, 7)]

    def rings(self, shape: Any, tolerance_m: float) -> list[list[list[float]]]:
        """Outer rings of a polygon, simplified."""
        simple = shape.simplify(tolerance_m)
        parts = simple.geoms if isinstance(simple, MultiPolygon) else [simple]
        rings = []
        for part in parts:
            if not isinstance(part, Polygon) or part.is_empty:
                continue
            points = [self.point(x, y) for x, y, *_ in part.exterior.coords]
            rings.append([p for p in points if p is not None])
        return rings


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

    """
    degrees = Degrees(settings.reference.working_crs)
    openings = _openings(tables, degrees)
    regions = _regions(tables, degrees)
    sites = _sites(tables, degrees)
    holds = [h for h in _HOLD_WORDS if h in {o["hold"] for o in openings}]
    return {
        "classes": list(contract.CLASSES),
        "class_list": [{"value": c, "words": _CLASS_WORDS[c]} for c in contract.CLASSES],
        "colours": dict(contract.CLASS_COLOURS),
        "region_list": _region_list(regions, openings),
        "hold_list": [{"value": h, "words": _HOLD_WORDS[h]} for h in holds],
        "regions": regions,
        "sites": sites,
        "buildings": _buildings(tables, degrees),
        "chambers": _chambers(tables, degrees),
        "links": _links(tables, degrees),
        "openings": openings,
        "first_site": _first_site(tables),
        "bounds": _bounds(sites, regions),
    }


def as_json(data: dict[str, Any]) -> str:
    """JSON that cannot end its script element: '<' and the line separators are escaped."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _text(value: Any) -> str:
    return "" if value is None or value is pd.NA or (pd.isna(value)) else str(value)


def _number(value: Any, digits: int = 3) -> float | None:
    if value is None or pd.isna(value):
        return None
    return round(float(value), digits)


def _records(frame: pd.DataFrame) -> Iterable[dict[str, Any]]:
    records: list[dict[str, Any]] = pd.DataFrame(frame).to_dict("records")
    return records


def _regions(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    out = []
    sites = tables["sites"]
    sites_m = np.array(
        [(x, y) for x, y in zip(sites["x_m"], sites["y_m"], strict=True) if not pd.isna(x)]
    ).reshape(-1, 2)
    for row in _records(tables["regions"]):
        shape = row["geometry"]
        spot_m = _free_spot(shape, sites_m)
        out.append(
            {
                "region": _text(row["region"]),
                "name": f"Region {_text(row['region'])}",
                "rings": degrees.rings(shape, 30.0),
                "label_at": degrees.point(*spot_m),
            }
        )
    return out


def _region_list(
    regions: list[dict[str, Any]], openings: list[dict[str, Any]]
) -> list[dict[str, str]]:
    """Regions to filter by; openings without one stand under a line of their own."""
    known = [{"value": r["region"], "words": r["name"]} for r in regions]
    others = sorted({o["region"] for o in openings} - {r["value"] for r in known})
    return known + [
        {"value": o, "words": f"Region {o}, no outline" if o else "region not given"}
        for o in others
    ]


def _free_spot(shape: Any, sites_m: np.ndarray[Any, np.dtype[np.float64]]) -> tuple[float, float]:
    """A place within a region for its label, far from every site."""
    west, south, east, north = shape.buffer(-0.08 * math.sqrt(shape.area)).bounds
    best, farthest = (shape.representative_point().x, shape.representative_point().y), -1.0
    for x in np.linspace(west, east, 9):
        for y in np.linspace(south, north, 9):
            if not shapely.contains_xy(shape, x, y):
                continue
            away = np.hypot(sites_m[:, 0] - x, sites_m[:, 1] - y).min() if len(sites_m) else 0.0
            away = min(away, shape.exterior.distance(shapely.Point(x, y)) * 2.0)
            if away > farthest:
                best, farthest = (float(x), float(y)), float(away)
    return best


def _sites(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    chosen = tables["choices"].groupby("site_id")
    by_site = {site: frame for site, frame in chosen}  # noqa: C416 - dict() would call .keys
    return [
        {
            "site_id": _text(row["site_id"]),
            "site_name": _text(row["site_name"]),
            "region": _text(row["region"]),
            "site_type": _text(row["site_type"]),
            "critical_class": _text(row["critical_class"]),
            "customers_count": _number(row["customers_count"], 0),
            "at": degrees.point(row["x_m"], row["y_m"]),
            **_choice_words(by_site.get(row["site_id"])),
        }
        for row in _records(tables["sites"])
    ]


def _choice_words(choices: pd.DataFrame | None) -> dict[str, str]:
    if choices is None or choices.empty:
        return {"choice": "no package", "reason": ""}
    chosen = choices[choices["is_chosen"].astype(bool)].sort_values("rank")
    if len(chosen):
        first = chosen.iloc[0]
        return {"choice": f"chosen, rank {int(first['rank'])}", "reason": _text(first["reason"])}
    return {"choice": "left out", "reason": _text(choices.iloc[0]["left_out_reason"])}


def _buildings(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    outlines = {
        _text(row["building_id"]): degrees.rings(row["geometry"], 0.2)
        for row in _records(tables["footprints"])
    }
    return [
        {
            "building_id": _text(row["building_id"]),
            "site_id": _text(row["site_id"]),
            "at": degrees.point(row["x_m"], row["y_m"]),
            "rings": outlines.get(_text(row["building_id"]), []),
        }
        for row in _records(tables["buildings"])
    ]


def _chambers(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    covers = tables["levels"].query("thing_kind == 'cover'").set_index("thing_id")["level_m"]
    notes = _notes(tables)
    water = _water_words(tables)
    return [
        {
            "chamber_id": _text(row["chamber_id"]),
            "other_numbers": _text(row["other_numbers"]),
            "site_id": _text(row["site_id"]),
            "at": degrees.point(row["x_m"], row["y_m"]),
            "cover_level_m": _number(covers.get(row["chamber_id"])),
            "water_words": water.get(_text(row["chamber_id"]), "no flood level"),
            "note": notes.get(_text(row["chamber_id"]), ""),
        }
        for row in _records(tables["chambers"])
    ]


def _water_words(tables: Tables) -> dict[str, str]:
    """What the sources say of each chamber, the rarest event last, in words."""
    floods = tables["floods"]
    rows = floods[(floods["place_kind"] == "chamber") & (floods["aep_per_year"] > 0)]
    out: dict[str, list[str]] = {}
    rows = rows.sort_values(["place_id", "aep_per_year"], ascending=[True, False])
    for row in _records(rows):
        level = _number(row["level_m"], 2)
        words = f"{row['aep_per_year']:.2%} {row['mechanism']}: {row['answer']}"
        if level is not None:
            near = ", nearest water" if bool(row["is_nearest"]) else ""
            words += f" {level:.2f} m{near}"
        out.setdefault(_text(row["place_id"]), []).append(words)
    return {place: "; ".join(words) for place, words in out.items()}


def _notes(tables: Tables) -> dict[str, str]:
    out: dict[str, list[str]] = {}
    for row in _records(tables["observations"]):
        if note := _text(row["note"]):
            out.setdefault(_text(row["place_id"]), []).append(note)
    return {place: "; ".join(notes) for place, notes in out.items()}


def _openings(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    designs = {_text(r["end_id"]): r for r in _records(tables["designs"])}
    spots = opening_spots(tables)
    notes = _notes(tables)
    out = []
    for row in _records(tables["reach"]):
        opening = _text(row["opening_id"])
        design = designs.get(_text(row["end_id"]) or opening)
        x_m, y_m = spots.get(opening, (math.nan, math.nan))
        out.append(
            {
                "opening_id": opening,
                "opening_kind": _text(row["opening_kind"]),
                "is_chamber_end": _text(row["opening_kind"]) == "chamber end",
                "site_id": _text(row["site_id"]),
                "building_id": _text(row["building_id"]) or _text(row["chamber_id"]),
                "region": _text(row["region"]),
                "level_class": _text(row["level_class"]),
                "margin_mm": _number(row["margin_mm"], 0),
                "limit_mm": _number(row["limit_mm"], 0),
                "margin_is_bound": bool(row["margin_is_bound"]),
                "reason": _text(row["reason"]),
                "way": _text(row["way"]),
                "way_words": _text(row["way_words"]),
                "way_places": [p for p in _text(row["way_places"]).split(" > ") if p],
                "opening_level_m": _number(row["opening_level_m"]),
                "let_in_level_m": _number(row["let_in_level_m"]),
                "policy_level_m": _number(row["policy_level_m"]),
                "at": degrees.point(x_m, y_m),
                "note": notes.get(opening, "") or notes.get(_text(row["entry_id"]), ""),
                **_seal(design),
            }
        )
    return out


def _seal(design: dict[str, Any] | None) -> dict[str, Any]:
    if design is None or not bool(design["is_needed"]):
        return {"hold": "no seal", "hold_words": "", "seal_words": "", "cautions": []}
    words = _text(design["not_designed_reason"])
    if bool(design["is_designed"]):
        words = (
            f"{_text(design['sleeves_words']) or 'no sleeves'}; "
            f"{design['layer_mm']:.0f} mm of sealant, {design['sealant_ml']:.0f} ml"
        )
    elif words:
        words = f"not designed: {words}"
    return {
        "hold": _text(design["hold_reach"]),
        "hold_words": _text(design["hold_words"]),
        "seal_words": words,
        "cautions": [c for c in _text(design["cautions"]).split(" | ") if c],
    }


def opening_spots(tables: Tables) -> dict[str, tuple[float, float]]:
    """Where each opening is drawn (m): around its building or chamber, mouths side by side.

    Entries have no surveyed position. Wall A is drawn to the north, then clockwise; mouths stand
    beside each other in the order of their ids. The picture shows which wall, not where on it.
    """
    buildings = _xy(tables["buildings"], "building_id")
    chambers = _xy(tables["chambers"], "chamber_id")
    faces = {_text(r["entry_id"]): _text(r["face"]) for r in _records(tables["entries"])}
    end_faces = {_text(r["end_id"]): _text(r["face"]) for r in _records(tables["ends"])}
    groups: dict[tuple[str, str], list[str]] = {}
    for row in _records(tables["reach"]):
        opening = _text(row["opening_id"])
        place = _text(row["building_id"]) or _text(row["chamber_id"])
        face = faces.get(_text(row["entry_id"])) or end_faces.get(_text(row["end_id"])) or "roof"
        groups.setdefault((place, face), []).append(opening)
    spots = {}
    for (place, face), openings in groups.items():
        centre = buildings.get(place) or chambers.get(place)
        if centre is None:
            continue
        offset = _WALL_OFFSET_M if place in buildings else _CHAMBER_OFFSET_M
        spots.update(_along_wall(centre, face, sorted(openings), offset))
    return spots


def _along_wall(
    centre: tuple[float, float], face: str, openings: list[str], offset_m: float
) -> dict[str, tuple[float, float]]:
    turn = math.radians(_WALL_TURN.get(face, 45.0))
    out = {}
    for i, opening in enumerate(openings):
        along = (i - (len(openings) - 1) / 2) * _MOUTH_STEP_M
        x = centre[0] + offset_m * math.cos(turn) + along * math.sin(turn)
        y = centre[1] + offset_m * math.sin(turn) - along * math.cos(turn)
        out[opening] = (x, y)
    return out


def _xy(frame: pd.DataFrame, key: str) -> dict[str, tuple[float, float]]:
    return {
        _text(r[key]): (float(r["x_m"]), float(r["y_m"]))
        for r in _records(frame)
        if not (pd.isna(r["x_m"]) or pd.isna(r["y_m"]))
    }


def _links(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    chambers = _xy(tables["chambers"], "chamber_id")
    buildings = _xy(tables["buildings"], "building_id")
    of_entry = {_text(r["entry_id"]): _text(r["building_id"]) for r in _records(tables["entries"])}
    out = []
    for row in _records(tables["links"]):
        a, b = _text(row["place_a_id"]), _text(row["place_b_id"])
        spots = [chambers.get(p) or buildings.get(of_entry.get(p, p)) for p in (a, b)]
        if not all(spots) or not b:
            continue
        start, end = (degrees.point(*s) for s in spots if s)
        if start is None or end is None:
            continue
        crest = _number(row["crest_level_m"])
        crest_words = "crest not known" if crest is None else f"crest {crest:.3f} m"
        out.append(
            {
                "from": start,
                "to": end,
                "is_proved": bool(row["is_proved"]),
                "words": f"{_text(row['link_id'])}: {crest_words}, {_text(row['proof']) or 'no proof'}",
            }
        )
    return out


def _first_site(tables: Tables) -> str | None:
    chosen = tables["choices"]
    chosen = chosen[chosen["rank"].notna()]
    return None if chosen.empty else _text(chosen.sort_values("rank").iloc[0]["site_id"])


def _bounds(sites: list[dict[str, Any]], regions: list[dict[str, Any]]) -> list[list[float]]:
    points = [s["at"] for s in sites if s["at"]]
    points += [p for r in regions for ring in r["rings"] for p in ring]
    array = np.array(points or [[0.0, 0.0]])
    low, high = array.min(axis=0), array.max(axis=0)
    return [[float(low[0]), float(low[1])], [float(high[0]), float(high[1])]]

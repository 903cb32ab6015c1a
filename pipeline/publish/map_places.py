"""Regions, sites, buildings, chambers and ducts as the map shows them."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer
from shapely.geometry import MultiPolygon, Polygon

from pipeline.core.money import words as money_words
from pipeline.tables import Tables

_NO_PACKAGE: Final = {"choice": "no package", "choice_reason": ""}


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

    def points(self, spots: list[tuple[float, float]]) -> list[list[float] | None]:
        """Many places at once."""
        if not spots:
            return []
        x_m, y_m = np.array(spots, dtype=float).T
        is_known = np.isfinite(x_m) & np.isfinite(y_m)
        lon, lat = self._transformer.transform(
            np.where(is_known, x_m, 0.0), np.where(is_known, y_m, 0.0)
        )
        pairs = zip(lat.tolist(), lon.tolist(), is_known.tolist(), strict=True)
        return [[round(a, 7), round(o, 7)] if known else None for a, o, known in pairs]

    def rings(self, shape: Any, tolerance_m: float) -> list[list[list[float]]]:
        """Outer rings of a polygon, simplified."""
        simple = shape.simplify(tolerance_m)
        parts = simple.geoms if isinstance(simple, MultiPolygon) else [simple]
        rings = []
        for part in parts:
            if not isinstance(part, Polygon) or part.is_empty:
                continue
            points = self.points([(x, y) for x, y, *_ in part.exterior.coords])
            rings.append([p for p in points if p is not None])
        return rings


def text(value: Any) -> str:
    """Text of a cell; blank for a missing one."""
    return "" if is_missing(value) else str(value)


def is_missing(value: Any) -> bool:
    """Whether a cell is blank; quicker than asking pandas once per cell."""
    return value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value))


def number(value: Any, digits: int = 3) -> float | None:
    """Number of a cell; None for a missing one."""
    if is_missing(value):
        return None
    return round(float(value), digits)


def records(frame: pd.DataFrame, *names: str) -> list[dict[str, Any]]:
    """Rows of a table with these columns (none = all); blank cells are None."""
    wanted = names or tuple(frame.columns)
    columns = []
    for name in wanted:
        values = np.array(frame[name].astype(object), dtype=object)
        values[frame[name].isna().to_numpy()] = None
        columns.append(values.tolist())
    return [dict(zip(wanted, row, strict=True)) for row in zip(*columns, strict=True)]


def regions(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    """Outlines of the regions and a free place for their labels."""
    out = []
    sites = tables["sites"]
    sites_m = np.array(
        [(x, y) for x, y in zip(sites["x_m"], sites["y_m"], strict=True) if not pd.isna(x)]
    ).reshape(-1, 2)
    for row in records(tables["regions"]):
        shape = row["geometry"]
        spot_m = _free_spot(shape, sites_m)
        out.append(
            {
                "region": text(row["region"]),
                "name": f"Region {text(row['region'])}",
                "rings": degrees.rings(shape, 30.0),
                "label_at": degrees.point(*spot_m),
            }
        )
    return out


def _free_spot(shape: Any, sites_m: np.ndarray[Any, np.dtype[np.float64]]) -> tuple[float, float]:
    """A place within a region for its label, far from every site."""
    west, south, east, north = shape.buffer(-0.08 * math.sqrt(shape.area)).bounds
    best, farthest = (shape.representative_point().x, shape.representative_point().y), -1.0
    for x in np.linspace(west, east, 9):
        for y in np.linspace(south, north, 9):
            if not shapely.contains_xy(shape, x, y):
                continue
            away = np.hypot(sites_m[:, 0] - x, sites_m[:, 1] - y).min() if len(sites_m) else 0.0
            away = min(away, shape.boundary.distance(shapely.Point(x, y)) * 2.0)
            if away > farthest:
                best, farthest = (float(x), float(y)), float(away)
    return best


def sites(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    """Sites with what the programme says of each."""
    choices: dict[str, list[dict[str, Any]]] = {}
    for row in records(tables["choices"].sort_values("rank")):
        choices.setdefault(text(row["site_id"]), []).append(row)
    spots = degrees.points(_xy(tables["sites"]))
    return [
        {
            "site_id": text(row["site_id"]),
            "site_name": text(row["site_name"]),
            "grid_ref": text(row["grid_ref"]),
            "region": text(row["region"]),
            "site_type": text(row["site_type"]),
            "critical_class": text(row["critical_class"]),
            "customers_count": number(row["customers_count"], 0),
            "at": spot,
            **_choice_words(choices.get(text(row["site_id"]), [])),
        }
        for row, spot in zip(records(tables["sites"]), spots, strict=True)
    ]


def _xy(frame: pd.DataFrame) -> list[tuple[float, float]]:
    """Positions (m) of rows; NaN where not known."""
    return list(
        zip(
            frame["x_m"].to_numpy(float, na_value=math.nan).tolist(),
            frame["y_m"].to_numpy(float, na_value=math.nan).tolist(),
            strict=True,
        )
    )


def _choice_words(choices: list[dict[str, Any]]) -> dict[str, str]:
    if not choices:
        return dict(_NO_PACKAGE)
    first = next((c for c in choices if c["is_chosen"]), None)
    if first is not None:
        rank = int(first["rank"])
        return {"choice": f"chosen, rank {rank}", "choice_reason": text(first["reason"])}
    return {"choice": "left out", "choice_reason": text(choices[0]["left_out_reason"])}


def buildings(tables: Tables, degrees: Degrees, currency: str) -> list[dict[str, Any]]:
    """Buildings with outline, chance of water inside before and after, and closing line."""
    outlines = {
        text(row["building_id"]): degrees.rings(row["geometry"], 0.2)
        for row in records(tables["footprints"])
    }
    lines = tables["closing_lines"]
    closing = {text(r["place_id"]): r for r in records(lines[lines["kind"] == "building"])}
    sealed = chosen_packages(tables)
    spots = degrees.points(_xy(tables["buildings"]))
    out = []
    for row, spot in zip(
        records(tables["buildings"], "building_id", "site_id"), spots, strict=True
    ):
        building = text(row["building_id"])
        out.append(
            {
                "building_id": building,
                "site_id": text(row["site_id"]),
                "at": spot,
                "rings": beside(outlines.get(building, []), spot),
                **_sealed_words(sealed.get(building)),
                **_closing_words(closing.get(building), currency),
            }
        )
    return out


def beside(rings: list[list[list[float]]], at: list[float] | None) -> list[list[int]]:
    """Rings as whole steps of 1e-6 degrees beside a place: latitude and longitude in turn."""
    if at is None:
        return []
    return [
        [round((v - c) * 1e6) for point in ring for v, c in zip(point, at, strict=True)]
        for ring in rings
    ]


def chosen_packages(tables: Tables) -> dict[str, dict[str, Any]]:
    """Chosen package of each building, with the year of its choice."""
    choices = tables["choices"]
    chosen = choices[choices["is_chosen"].astype(bool)]
    packages = {text(r["package_id"]): r for r in records(tables["packages"])}
    out = {}
    for row in records(chosen):
        package = packages.get(text(row["package_id"]))
        if package is not None:
            out[text(row["building_id"])] = {**package, "year": row["year"]}
    return out


def _sealed_words(package: dict[str, Any] | None) -> dict[str, str]:
    """Water inside before and after the chosen package; blank without one."""
    if package is None:
        return {"sealed_words": "", "sealed_short": "", "package_words": ""}
    before = chance_words(package["before_chance_per_year"], package["before_bound"])
    after = chance_words(package["after_chance_per_year"], package["after_bound"])
    return {
        "sealed_words": f"water inside {before} as found, {after} with the chosen package",
        "sealed_short": f"inside {before.removeprefix('at ')}, sealed {after.removeprefix('at ')}".replace(
            " a year", ""
        ),
        "package_words": f"{text(package['package_id'])}, year {text(package['year'])}, "
        f"{_ends(int(package['ends_count']))}",
    }


def _ends(count: int) -> str:
    return f"{count} {'end' if count == 1 else 'ends'}"


def chance_words(chance_per_year: Any, bound: Any) -> str:
    """A yearly chance as people read it; unknown stays unknown."""
    if is_missing(chance_per_year):
        return "at a chance that is not known"
    if float(chance_per_year) <= 0:
        return "in no modelled event"
    how = f"{text(bound)} " if text(bound) else ""
    return f"{how or 'at '}1 in {round(1 / float(chance_per_year)):,} a year"


def _closing_words(line: dict[str, Any] | None, currency: str) -> dict[str, Any]:
    if line is None:
        return {"line_ends": "", "line_words": "", "line_cannot": ""}
    count = int(line["ends_count"])
    parts = [f"{_ends(count)} to seal"]
    if not count and text(line["cannot_close"]):
        parts = ["not known: every way in is held or takes no seal"]
    elif not is_missing(line["cost_minor"]):
        parts.append(f"{money_words(int(line['cost_minor']), currency)}")
    wall = f"all {int(line['all_wall_count'])} ends at the wall that are not above"
    if not is_missing(line["all_wall_cost_minor"]):
        wall += f": {money_words(int(line['all_wall_cost_minor']), currency)}"
    words = f"{', '.join(parts)}; {wall}"
    if not is_missing(line["gap_frac"]) and float(line["gap_frac"]) > 0:
        words += f"; a cheaper line by at most {float(line['gap_frac']):.0%} may exist"
    if conditions := text(line["conditions"]):
        words += f"; {conditions}"
    return {
        "line_ends": text(line["end_ids"]),
        "line_words": words,
        "line_cannot": text(line["cannot_close"]),
    }


def notes(tables: Tables) -> dict[str, str]:
    """Notes of the survey by place."""
    out: dict[str, list[str]] = {}
    for row in records(tables["observations"]):
        if note := text(row["note"]):
            out.setdefault(text(row["place_id"]), []).append(note)
    return {place: "; ".join(notes) for place, notes in out.items()}


def chambers(tables: Tables, degrees: Degrees) -> list[dict[str, Any]]:
    """Chambers with their other numbers, cover level and the water there."""
    levels = tables["levels"]
    covers = levels[levels["thing_kind"] == "cover"].set_index("thing_id")["level_m"].to_dict()
    said, water = notes(tables), _water_words(tables)
    spots = degrees.points(_xy(tables["chambers"]))
    return [
        {
            "chamber_id": text(row["chamber_id"]),
            "other_numbers": text(row["other_numbers"]),
            "grid_ref": text(row["grid_ref"]),
            "site_id": text(row["site_id"]),
            "at": spot,
            "cover_level_m": number(covers.get(row["chamber_id"])),
            "water_words": water.get(text(row["chamber_id"]), "no flood level"),
            "note": said.get(text(row["chamber_id"]), ""),
        }
        for row, spot in zip(
            records(tables["chambers"], "chamber_id", "other_numbers", "grid_ref", "site_id"),
            spots,
            strict=True,
        )
    ]


def _water_words(tables: Tables) -> dict[str, str]:
    """What the sources say of each chamber, the rarest event last, in words."""
    floods = tables["floods"]
    rows = floods[(floods["place_kind"] == "chamber") & (floods["aep_per_year"] > 0)]
    out: dict[str, list[str]] = {}
    rows = rows.sort_values(["place_id", "aep_per_year"], ascending=[True, False])
    for row in records(
        rows, "place_id", "aep_per_year", "mechanism", "answer", "level_m", "is_nearest"
    ):
        level = number(row["level_m"], 2)
        words = f"{row['aep_per_year']:.2%} {row['mechanism']}: {row['answer']}"
        if level is not None:
            near = ", nearest water" if bool(row["is_nearest"]) else ""
            words += f" {level:.2f} m{near}"
        out.setdefault(text(row["place_id"]), []).append(words)
    return {place: "; ".join(words) for place, words in out.items()}


def spots_m(frame: pd.DataFrame, key: str) -> dict[str, tuple[float, float]]:
    """Positions (m) by id, where they are known."""
    found = zip(frame[key].tolist(), _xy(frame), strict=True)
    return {text(i): at for i, at in found if math.isfinite(at[0]) and math.isfinite(at[1])}


def links(tables: Tables, places: dict[str, int]) -> list[dict[str, Any]]:
    """Ducts between two places of the map, by the numbers of these places."""
    of_entry = {
        text(r["entry_id"]): text(r["building_id"])
        for r in records(tables["entries"], "entry_id", "building_id")
    }
    out = []
    for row in records(tables["links"]):
        a, b = text(row["place_a_id"]), text(row["place_b_id"])
        start, end = places.get(of_entry.get(a, a)), places.get(of_entry.get(b, b))
        if start is None or end is None:
            continue
        out.append(
            {
                "link_id": text(row["link_id"]),
                "a": start,
                "b": end,
                "is_proved": bool(row["is_proved"]),
                "crest_level_m": number(row["crest_level_m"]),
                "proof": text(row["proof"]) or "no proof",
            }
        )
    return out

"""Prints how long a mix of duct ends takes to design, with the cache of drawings on and off.

Run: python tests/benchmarks/bench_design.py [ends] [ends without cache]   (default 100000 500)

The mix stands in mix.toml. Sizes grow in steps up to the number asked for, so that the growth
exponent (slope of log seconds over log ends) can be printed; without the cache each end is laid out
and packed anew, which is timed on fewer ends and given per end. The tested head of the materials is
widened to that of the mix. One process. Nothing is asserted.
"""

from __future__ import annotations

import sys
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.core.materials import load
from pipeline.core.settings_file import load as load_settings
from pipeline.design import design, layout
from pipeline.tables import Tables, blank

ROOT = Path(__file__).parents[2]
TABLES = (
    "sites", "buildings", "chambers", "entries", "ends", "cables", "seals", "columns", "levels",
    "floods", "links", "reach", "reach_sources",
)  # fmt: skip
CACHES = ("_laid", "_packed")
ENDS_PER_BUILDING = 8
STEPS = 4


def _choice(rng: np.random.Generator, rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    weights = np.array([r["weight"] for r in rows], dtype=np.float64)
    return rows[int(rng.choice(len(rows), p=weights / weights.sum()))]


def survey(count: int, mix: dict[str, Any]) -> Tables:
    """Tables of `count` wall ends drawn from the mix, eight to a building, all below water."""
    rng = np.random.default_rng(mix["seed"])
    ends, cables, reach, levels = [], [], [], []
    for i in range(count):
        end, site = f"D{i:06d}", f"S{i // (4 * ENDS_PER_BUILDING):05d}"
        building, entry = f"B{i // ENDS_PER_BUILDING:06d}", f"E{i // ENDS_PER_BUILDING:06d}"
        hole, inside = _choice(rng, mix["opening"]), _choice(rng, mix["contents"])
        bore = float(rng.choice(hole["bore_mm"])) + float(rng.uniform(0, mix["bore_spread_mm"]))
        cable = float(rng.choice(inside["cable_mm"])) + float(
            rng.uniform(0, mix["cable_spread_mm"])
        )
        number = int(rng.choice(inside["count"]))
        head = float(rng.uniform(*mix["head_m"]))
        ends.append(
            {"end_id": end, "place_kind": "entry", "place_id": entry, "face": "A",
             "shape": hole["shape"], "bore_mm": bore, "bore_b_mm": hole.get("bore_b_mm"),
             "bore_method": "rule", "material": "smooth plastic", "water_now": "dry",
             "contents": "cables" if number else "empty", "mouth": "flush", "lie": "level",
             "clear_depth_word": "300 or more", "seal_from": "building", "seen": "full",
             "building_id": building, "site_id": site, "is_unlisted": False, "file": "mix",
             "row_state": "used"}
        )  # fmt: skip
        if number:
            cables.append(
                {"cable_id": f"K{i:06d}", "end_id": end, "cable_count": number, "file": "mix",
                 "diameter_mm": cable, "size_method": "gauge card", "arrangement": inside["kind"],
                 "group_no": 1, "cores": "3", "cable_class": "LV", "covering": "plastic",
                 "filling": "solid", "condition": "sound", "dead": "no", "row_state": "used"}
            )  # fmt: skip
        levels.append({"thing_kind": "duct end", "thing_id": end, "site_id": site, "level_m": 10.0})
        reach.append(
            {"opening_id": end, "opening_kind": "duct end", "end_id": end, "building_id": building,
             "site_id": site, "region": "North", "level_class": "below", "opening_level_m": 10.0,
             "policy_level_m": 10.0 + head, "rarest_level_m": 10.0 + head, "mechanism": "river",
             "margin_is_bound": False, "reason": "mix"}
        )  # fmt: skip
    return _tables(ends, cables, reach, levels)


def _tables(*parts: list[dict[str, Any]]) -> Tables:
    ends, cables, reach, levels = parts
    sites = sorted({e["site_id"] for e in ends})
    places = sorted({(e["building_id"], e["place_id"], e["site_id"]) for e in ends})
    given = {
        "ends": ends, "cables": cables, "reach": reach, "levels": levels,
        "sites": [{"site_id": s, "region": "North", "site_type": "substation"} for s in sites],
        "buildings": [
            {"building_id": b, "site_id": s, "built_year": 2015, "fire_wall": "no",
             "asbestos_suspect": "no"} for b, _, s in places
        ],
        "entries": [
            {"entry_id": e, "building_id": b, "face": "A", "kind": "duct bank", "outdoors": "no",
             "gap_around_duct": "none", "asbestos_suspect": "no", "fire_wall": "no"}
            for b, e, _ in places
        ],
    }  # fmt: skip
    return {name: pd.DataFrame(given[name]) if name in given else blank(name) for name in TABLES}


def main() -> None:
    """Time the mix and print."""
    most = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    without = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    mix = tomllib.loads(Path(__file__).with_name("mix.toml").read_text("utf-8"))
    settings = load_settings(ROOT / "configs" / "clean.toml")
    materials = load(ROOT / "configs" / "materials_example.toml")
    tested = materials.sealant.envelope.model_copy(update={"head_m": max(mix["head_m"])})
    sealant = materials.sealant.model_copy(update={"envelope": tested})
    materials = materials.model_copy(update={"sealant": sealant})
    every = survey(most, mix)
    sizes = sorted({max(most // 4**k, 1) for k in range(STEPS)})
    seconds = []
    print(
        f"{'ends':>8} {'seconds':>9} {'processor':>9} {'ends/s':>9} {'drawn anew':>11}   cache on"
    )
    for size in sizes:
        part = _first(every, size)
        for cache in CACHES:
            getattr(layout, cache).cache_clear()
        begun, busy = time.perf_counter(), time.process_time()
        made = design(part, settings, materials=materials)["designs"]
        seconds.append(time.perf_counter() - begun)
        anew = layout._packed.cache_info().misses
        print(f"{size:8d} {seconds[-1]:9.1f} {time.process_time() - busy:9.1f} "
              f"{size / seconds[-1]:9.0f} {anew:11d}   "
              f"{int(made['is_designed'].sum())} designed")  # fmt: skip
    slope = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
    print(f"growth exponent {slope:.2f} (1 = each end costs the same)")
    kept = {cache: getattr(layout, cache) for cache in CACHES}
    for cache, function in kept.items():
        setattr(layout, cache, function.__wrapped__)
    begun = time.perf_counter()
    design(_first(every, without), settings, materials=materials)
    took = time.perf_counter() - begun
    for cache, function in kept.items():
        setattr(layout, cache, function)
    print(f"cache off: {without} ends in {took:.1f} s, {without / took:.0f} ends/s; "
          f"{most} ends would take {took / without * most / 60:.1f} min")  # fmt: skip


def _first(tables: Tables, count: int) -> Tables:
    """The first ends of the mix with their rows."""
    keep = set(tables["ends"]["end_id"].head(count))
    out = dict(tables)
    for name, key in (("ends", "end_id"), ("cables", "end_id"), ("reach", "end_id"),
                      ("levels", "thing_id")):  # fmt: skip
        frame = tables[name]
        out[name] = frame[frame[key].isin(keep)].reset_index(drop=True)
    places = set(out["ends"]["place_id"])
    out["entries"] = tables["entries"][tables["entries"]["entry_id"].isin(places)]
    return out


if __name__ == "__main__":
    main()

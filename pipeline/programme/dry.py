"""Chance that each building stays dry in its design event: as found, and after each package."""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core.doubts import read_parts
from pipeline.core.settings import Settings
from pipeline.programme.joint_chance import BoolArray, Ways, chance_dry, draw_wet
from pipeline.programme.openings import Openings

_SEED: Final = 20
_THING: Final = {"chamber end": "duct end", "gap beside duct": "duct end"}
_SAME_M: Final = 5e-7
AT_MOST: Final = "at most"


@dataclass(frozen=True)
class Dry:
    """Draws of one building: which openings are wet in each; why there is none; what is not looked at."""

    is_wet: BoolArray
    gap: str
    unsurveyed: tuple[str, ...]
    is_unknown: BoolArray

    def after(self, closed: BoolArray, holds_frac: float) -> dict[str, Any]:
        """Columns of a package: chance as found and with some openings closed."""
        if self.gap:
            return {"dry_words": self.gap}
        before, _ = chance_dry(self.is_wet, np.zeros(self.is_wet.shape[1]))
        after, error = chance_dry(self.is_wet, np.where(closed, holds_frac, 0.0))
        words = [f"not looked at: {', '.join(self.unsurveyed)}"] if self.unsurveyed else []
        unknown = int((self.is_unknown & ~closed).sum())
        if unknown:
            what = "opening" if unknown == 1 else "openings"
            words.append(f"{unknown} {what} of unknown level or flood counted as wet")
        return {
            "dry_before_frac": before,
            "dry_after_frac": after,
            "dry_error_frac": error,
            "dry_bound": AT_MOST if self.unsurveyed else None,
            "dry_words": "; ".join(words) or None,
        }


class DryChances:
    """Level errors of all openings of a run, drawn building by building.

    Parameters
    ----------
    tables : mapping of DataFrame
        reach, reach_sources, levels.
    settings : Settings

    Notes
    -----
    The event is the site's design event, without freeboard. All ways from one source share the
    error of its water; a control level that is a cover's is shared by all that it lets in, an
    opening's own level by what hangs on the same point, visit or datum. Any other control level
    is shared by the ways from its place. A bias of unknown sign counts in full on the wet side.
    """

    def __init__(self, tables: Mapping[str, Any], settings: Settings) -> None:
        self._reach = {str(r["opening_id"]): r for r in tables["reach"].to_dict("records")}
        self._sources: dict[str, list[dict[str, Any]]] = {}
        for row in tables["reach_sources"].to_dict("records"):
            self._sources.setdefault(str(row["opening_id"]), []).append(row)
        self._levels = {
            (str(r["thing_kind"]), str(r["thing_id"])): r
            for r in tables["levels"].to_dict("records")
        }
        self._k = settings.flood.k

    def of(self, building: str, openings: Openings) -> Dry:
        """Draws for one building, in the order of its openings."""
        ways, gap = self._ways(openings)
        # a seed of its own: the figures of a building do not depend on which others are there
        seed = _SEED ^ zlib.crc32(building.encode())
        if gap or not openings.ids:
            none = np.zeros((0, len(openings.ids)), dtype=np.bool_)
            why = gap or "it has no openings on record"
            return Dry(none, why, openings.unsurveyed, openings.is_unknown)
        is_wet = draw_wet(ways, len(openings.ids), seed=seed)
        is_wet |= openings.is_unknown
        return Dry(is_wet, "", openings.unsurveyed, openings.is_unknown)

    def _ways(self, openings: Openings) -> tuple[Ways, str]:
        rows = [
            (i, source)
            for i, opening in enumerate(openings.ids)
            for source in self._sources.get(opening, ())
            if not pd.isna(source["water_level_m"])
        ]
        doubts = [self._doubt(openings.ids[i], source) for i, source in rows]
        names = {name: j for j, name in enumerate(sorted({n for d in doubts for n in d.shared_m}))}
        shared = np.zeros((len(rows), len(names)))
        for at, doubt in enumerate(doubts):
            for name, u_m in doubt.shared_m.items():
                shared[at, names[name]] = u_m
        surfaces = {s: j for j, s in enumerate(sorted({str(s["source_id"]) for _, s in rows}))}
        water_u_m = np.array([float(s["water_u_m"]) for _, s in rows])
        gap = "the doubt of the water level is not known" if np.isnan(water_u_m).any() else ""
        ways = Ways(
            opening=np.array([i for i, _ in rows], dtype=np.int64),
            control_m=np.array([d.level_m for d in doubts]),
            own_u_m=np.array([d.own_m for d in doubts]),
            shared_u_m=shared,
            water_m=np.array([float(s["water_level_m"]) for _, s in rows]),
            water_u_m=water_u_m,
            water=np.array([surfaces[str(s["source_id"])] for _, s in rows], dtype=np.int64),
        )
        return ways, gap

    def _doubt(self, opening: str, source: Mapping[str, Any]) -> _Doubt:
        control = source["control_level_m"]
        if pd.isna(control):
            # no way at all has no chance; open at any water has one
            is_open = source["chance_per_year"] > 0.0
            return _Doubt(-math.inf if is_open else math.inf, 0.0, {})
        row = self._reach[opening]
        kind = _THING.get(str(row["opening_kind"]), str(row["opening_kind"]))
        thing = _id_of(row, kind)
        own = self._levels.get((kind, thing))
        if own is not None and _is_at(own, control):
            return _parts(own, float(control))
        cover = self._levels.get(("cover", str(source["source_place_id"])))
        if cover is not None and _is_at(cover, control):
            found = _parts(cover, float(control))
            key = f"cover {source['source_place_id']}"
            return _Doubt(found.level_m, 0.0, {**found.shared_m, key: found.own_m})
        u_m = source["control_u_m"]
        key = f"way from {source['source_place_id']}"
        return _Doubt(float(control), 0.0, {key: 0.0 if pd.isna(u_m) else float(u_m)})


@dataclass(frozen=True)
class _Doubt:
    level_m: float
    own_m: float
    shared_m: Mapping[str, float]


def _parts(level: Mapping[str, Any], control_m: float) -> _Doubt:
    bias = 0.0 if pd.isna(level["bias_m"]) else float(level["bias_m"])
    own = 0.0 if pd.isna(level["u_own_m"]) else float(level["u_own_m"])
    return _Doubt(control_m - bias, own, read_parts(level["shared_parts"]))


def _is_at(level: Mapping[str, Any], control: float) -> bool:
    return not pd.isna(level["level_m"]) and abs(float(level["level_m"]) - control) <= _SAME_M


def _id_of(row: Mapping[str, Any], kind: str) -> str:
    name = {"duct end": "end_id", "entry": "entry_id"}.get(kind, "building_id")
    return "" if pd.isna(row[name]) else str(row[name])

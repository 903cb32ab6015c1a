"""The flow that each opening into a building can let in: survey rows to arrays, and back.

Everything that is not known is taken on the side of more water, and named; where even that cannot
be done (no size, no level) the flow is not known. For information: no class depends on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.exposure.flow import Ducts, discharge_l_per_s
from pipeline.exposure.links import text
from pipeline.tables import Tables, ingress
from pipeline.tables.spec import conform

# Equivalent sand roughness of a duct as new (mm), the smooth side of the range, so that the flow
# is not too small. Handbook values, from memory; ribbed plastic: as smooth inside.
ROUGHNESS_MM: Final[dict[str, float]] = {
    "smooth plastic": 0.0015,
    "ribbed plastic": 0.0015,
    "clay": 0.05,
    "fibre": 0.03,
    "concrete": 0.3,
    "steel": 0.03,
    "asbestos-cement suspect": 0.03,
}
SMOOTHEST_MM: Final = 0.0015
_KINDS: Final = ("duct end", "entry")
_WITHOUT_CABLES: Final = ("empty", "draw cord only", "capped")
_ROUND: Final = ("", "round", "sub-duct", "not seen")
_Row = dict[str, Any]


def opening_flows(tables: Tables, reach: pd.DataFrame, links: pd.DataFrame) -> pd.DataFrame:
    """Flow of every duct end and bare entry in a building's wall at its policy level.

    Parameters
    ----------
    tables : Tables
        Survey tables: `ends`, `entries`, `cables`.
    reach, links : pandas.DataFrame
        Hand-over tables of the water's way.

    Returns
    -------
    pandas.DataFrame
        Table `ingress`.

    Notes
    -----
    The flow is the most that can come: losses of the ducts before the last one are not counted,
    nor are silt, caps, old seals or flaps; the head is the policy level over the opening's own
    invert, with its doubt on top where the class is too close to call.
    """
    ends = {text(r["end_id"]): r for r in tables["ends"].to_dict("records")}
    entries = {text(r["entry_id"]): r for r in tables["entries"].to_dict("records")}
    cables: dict[str, list[_Row]] = {}
    for row in tables["cables"].to_dict("records"):
        cables.setdefault(text(row["end_id"]), []).append(row)
    lengths = _lengths(links)
    rows = []
    for place in reach[reach["opening_kind"].isin(_KINDS)].to_dict("records"):
        opening = text(place["opening_id"])
        end = ends.get(text(place["end_id"])) or _bare(entries.get(opening, {}))
        assumed: list[str] = []
        size = _size(end, cables.get(opening, []), assumed)
        row = {
            **{k: place[k] for k in ("opening_id", "building_id", "site_id", "level_class")},
            **_water(place),
            **size,
            "length_m": _length(place, lengths, assumed),
            "roughness_mm": _roughness(end, assumed),
            "assumed": "; ".join(assumed) or None,
        }
        rows.append(row)
    return conform(ingress.INGRESS, _with_flow(pd.DataFrame(rows)), stage="exposure")


def _with_flow(frame: pd.DataFrame) -> pd.DataFrame:
    if frame.empty:
        return frame
    out = frame.copy()
    ducts = ducts_of(out)
    flow = discharge_l_per_s(ducts, out["head_m"].to_numpy(float))
    out["free_area_mm2"] = ducts.area_mm2
    out["flow_l_per_s"] = np.where(out["level_class"] == contract.ABOVE, 0.0, flow)
    known = out["flow_l_per_s"].notna()
    out["missing"] = [
        None if k else (m or "size not known")
        for k, m in zip(known, out["missing"], strict=True)
    ]  # fmt: skip
    return out


def ducts_of(frame: pd.DataFrame) -> Ducts:
    """The ducts of rows of table `ingress`."""
    names = ("bore_mm", "length_m", "roughness_mm", "cables_sum_mm", "cables_square_mm2")
    return Ducts(*(frame[n].to_numpy(float) for n in names))


def _bare(entry: Mapping[str, Any]) -> _Row:
    """An entry without ends: a hole of its width and height."""
    return {
        "shape": "rectangular",
        "bore_mm": entry.get("width_mm"),
        "bore_b_mm": entry.get("height_mm"),
        "contents": "not seen",
        "material": "unknown",
    }


def _number(row: Mapping[str, Any], name: str) -> float:
    value = row.get(name)
    return math.nan if value is None or pd.isna(value) else float(value)


def _size(end: Mapping[str, Any], cables: list[_Row], assumed: list[str]) -> _Row:
    bore, other = _number(end, "bore_mm"), _number(end, "bore_b_mm")
    shape = text(end.get("shape"))
    if shape not in _ROUND:
        # the round bore of the same area wets less wall and so lets a little more through
        bore = math.sqrt(4.0 / math.pi * bore * (bore if shape == "square" else other))
    pairs = [(_number(c, "cable_count"), _number(c, "diameter_mm")) for c in cables]
    good = [(n, d) for n, d in pairs if not math.isnan(n * d)]
    total, square = sum(n * d for n, d in good), sum(n * d * d for n, d in good)
    if len(good) < len(pairs) or (not pairs and text(end.get("contents")) not in _WITHOUT_CABLES):
        assumed.append("cables not fully known: only those known are taken off")
    if not math.isnan(bore) and square >= bore * bore:
        assumed.append("the cables listed do not fit: none is taken off")
        total, square = 0.0, 0.0
    return {"bore_mm": bore, "cables_sum_mm": total, "cables_square_mm2": square}


def _roughness(end: Mapping[str, Any], assumed: list[str]) -> float:
    material = text(end.get("material"))
    if material not in ROUGHNESS_MM:
        assumed.append("material not known: as smooth as plastic")
    return ROUGHNESS_MM.get(material, SMOOTHEST_MM)


def _lengths(links: pd.DataFrame) -> dict[str, float]:
    """Shortest length of the links of each end; NaN where one is not known."""
    out: dict[str, float] = {}
    for row in links.to_dict("records"):
        for name in ("end_a_id", "end_b_id"):
            end = text(row[name])
            if end:
                length = float(row["length_m"])
                out[end] = min(out.get(end, math.inf), length) if length >= 0.0 else -1.0
    return {end: length if length >= 0.0 else math.nan for end, length in out.items()}


def _length(place: Mapping[str, Any], lengths: dict[str, float], assumed: list[str]) -> float:
    if text(place["way"]) != contract.THROUGH_DUCT:
        return 0.0
    length = lengths.get(text(place["opening_id"]), math.nan)
    if math.isnan(length):
        assumed.append("length not known: taken as 0")
        return 0.0
    return length


def _water(place: Mapping[str, Any]) -> _Row:
    """Head on an opening, or why it is not known."""
    level_class = text(place["level_class"])
    level, outside = float(place["opening_level_m"]), float(place["policy_level_m"])
    if level_class == contract.CLOSE:
        limit = _number(place, "limit_mm")
        outside += 0.0 if math.isnan(limit) else limit / 1000.0
    missing = ""
    if level_class == contract.NO_LEVEL or math.isnan(level):
        missing = "no level"
    elif level_class == contract.NO_FLOOD or math.isnan(outside):
        missing = "no flood level"
    if level_class == contract.ABOVE:
        missing = ""
    head = math.nan if missing else max(outside - level, 0.0)
    return {"inlet_level_m": level, "outside_level_m": outside, "head_m": head, "missing": missing}

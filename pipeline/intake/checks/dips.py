"""Checks of what was measured at an opening: dips, offsets, and where they were measured to."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pipeline.core.units import M_PER_FT
from pipeline.intake.checks.heights import Heights, whole_mm
from pipeline.intake.checks.view import (
    Check,
    Hit,
    Survey,
    by,
    by_cause,
    is_missing,
    number_text,
    up_or_down,
)
from pipeline.intake.context import Checked

_TABLES: Final = ("entries", "ends")
_BELOW_FLOOR_M: Final = 0.1  # rule level-08
_DEEPEST_M: Final = 8.0  # survey definition: a dip is 0 to 8 m
_FAR_TOO_DEEP_M: Final = 0.5
_NEAR_LEVEL_M: Final = 1.0
_STEEPEST: Final = 0.25  # rule level-23: 1 in 4
# More than this is no fall but a wrong figure or another height system, which is asked as such.
_NO_FALL_M: Final = 15.0
_SAME_DIPS_COUNT: Final = 3
_TOP_REFERENCES: Final = frozenset({"cover top", "frame", "slab top"})


def check_negative_dip(view: Survey) -> Iterator[Checked]:
    """level-06: dips are positive downwards."""
    for table in _TABLES:
        hits = view.hits(table, view.frame(table)["dip_down_m"] < 0)
        for group in by(hits, view.place_of):
            row = group[0].row
            fill = {
                "value": number_text(row["dip_down_m"]),
                "abs": number_text(abs(row["dip_down_m"])),
                "point": row["ref_point_id"] or "the point it was measured from",
            }
            yield from view.say("level-06", group, "dip_down_m", fill=fill)


def _depths(view: Survey) -> dict[str, float]:
    frame = view.frame("chambers")
    return dict(zip(frame["chamber_id"], frame["depth_m"], strict=True))


def _is_a_level(hit: Hit, heights: Heights, depth_m: float) -> bool:
    """Whether a dip is too long to be one and lies where the opening's level would."""
    dip, start = float(hit.row["dip_down_m"]), heights.reference(hit.row)
    known = _DEEPEST_M if np.isnan(depth_m) else depth_m
    if dip <= known + _FAR_TOO_DEEP_M or np.isnan(start):
        return False
    return start - known - _NEAR_LEVEL_M <= dip <= start + _NEAR_LEVEL_M


def check_level_as_dip(view: Survey) -> Iterator[Checked]:
    """level-07: the column of dips holds a level."""
    heights, depths = Heights(view), _depths(view)
    for table in _TABLES:
        hits = [
            h
            for h in view.hits(table, view.frame(table)["dip_down_m"].notna())
            if _is_a_level(h, heights, depths.get(view.place_of(h), np.nan))
        ]
        for group in by(hits, view.place_of):
            depth = depths.get(view.place_of(group[0]), np.nan)
            fill = {
                "value": number_text(group[0].row["dip_down_m"]),
                "depth": "at most 8" if np.isnan(depth) else number_text(depth),
            }
            yield from view.say("level-07", group, "dip_down_m", fill=fill, values=("dip_down_m",))


def _too_deep(view: Survey) -> list[tuple[Hit, float]]:
    """Ends whose dip from the top of their chamber goes below its floor, with that depth."""
    depths, frame = _depths(view), view.frame("ends")
    own_points = dict(view.frame("chambers")[["chamber_id", "cover_point_id"]].to_numpy())
    out = []
    for hit in view.hits("ends", frame["dip_down_m"].notna()):
        place = view.place_of(hit)
        depth = depths.get(place, np.nan)
        start = hit.row["ref_point_id"]
        from_top = start in {None, place, own_points.get(place)}
        if np.isnan(depth) or not from_top or hit.row["dip_from"] == "floor":
            continue
        if whole_mm(hit.row["dip_down_m"]) > whole_mm(depth + _BELOW_FLOOR_M):
            out.append((hit, depth))
    return out


def _fits_feet(view: Survey, deep: list[tuple[Hit, float]]) -> dict[str, list[Hit]]:
    """Chambers all of whose dips are too deep in metres and fit in feet."""
    frame = view.frame("ends")
    dips = frame.loc[frame["dip_down_m"].notna(), "place_id"].value_counts()
    out = {}
    for group in by([h for h, _ in deep], view.place_of):
        place = view.place_of(group[0])
        depth = next(d for h, d in deep if view.place_of(h) == place)
        in_metres = [h.row["dip_down_m"] * M_PER_FT for h in group]
        fits = all(dip <= depth + _BELOW_FLOOR_M for dip in in_metres)
        if fits and len(group) >= _SAME_DIPS_COUNT and len(group) == dips[place]:
            out[place] = group
    return out


def check_deep_dip(view: Survey) -> Iterator[Checked]:
    """level-08 and level-22: dips below the chamber's floor, or in feet."""
    heights = Heights(view)
    deep = [(h, d) for h, d in _too_deep(view) if not _is_a_level(h, heights, d)]
    feet = _fits_feet(view, deep)
    for place, group in feet.items():
        first = group[0].row["dip_down_m"]
        fill = {
            "n": len(group),
            "site": place,
            "a": number_text(first),
            "b": number_text(first * M_PER_FT),
        }
        yield from view.say("level-22", group, "dip_down_m", fill=fill, values=("dip_down_m",))
    rest = [h for h, _ in deep if view.place_of(h) not in feet]
    depth_of = {view.place_of(h): d for h, d in deep}
    for group in by(rest, view.place_of):
        fill = {
            "dip": number_text(group[0].row["dip_down_m"]),
            "depth": number_text(depth_of[view.place_of(group[0])]),
        }
        yield from view.say("level-08", group, "dip_down_m", fill=fill)


def check_measured_to(view: Survey) -> Iterator[Checked]:
    """level-10 and level-11: where the dip was measured to is blank, or it was silt."""
    for table in _TABLES:
        frame = view.frame(table)
        measured = frame["dip_down_m"].notna() | frame["above_m"].notna() | frame["level_m"].notna()
        chained = view.hits(table, measured & frame["invert_level_m"].isna())
        hits = [h for h in chained if view.blank(h, "measured_to")]
        for group in by_cause(view, hits, chained):
            bore = group[0].row.get("bore_mm")
            fill = {"d": "unknown" if is_missing(bore) else number_text(float(str(bore)), 0)}
            yield from view.say("level-10", group, "measured_to", fill=fill)
    silt = view.frame("ends")["measured_to"] == "silt surface"
    for group in by(view.hits("ends", silt), view.place_of):
        bore = group[0].row["bore_mm"]
        fill = {"bore": "not known" if is_missing(bore) else number_text(bore, 0)}
        yield from view.say("level-11", group, "measured_to", fill=fill)


def check_offset(view: Survey) -> Iterator[Checked]:
    """level-12: an offset from the floor that the building does not allow."""
    frame = view.frame("buildings").drop_duplicates("building_id").set_index("building_id")
    for hit in view.hits("entries", view.frame("entries")["above_m"].notna()):
        building = hit.row["building_id"]
        if building not in frame.index:
            continue
        why = _against(float(hit.row["above_m"]), frame.loc[building].to_dict())
        if why:
            offset = hit.row["above_m"]
            fill = {
                "v": number_text(abs(offset)),
                "updown": up_or_down(offset),
                "lowest": why,
            }
            yield from view.say("level-12", [hit], "above_m", fill=fill)


def _against(offset_m: float, building: dict[str, Any]) -> str:
    door = building["door_sill_above_floor_m"]
    if not np.isnan(door) and whole_mm(offset_m) > whole_mm(door):
        return f"the building's lowest door sill is {number_text(door)} m above it"
    if offset_m < 0 and building["lowest_space"] == "ground floor":
        return "the building's lowest space is given as ground floor"
    depth = building["lowest_floor_below_m"]
    if not np.isnan(depth) and whole_mm(offset_m) < -whole_mm(depth):
        return f"the building's lowest floor is {number_text(depth)} m below it"
    return ""


def check_copied_dip(view: Survey) -> Iterator[Checked]:
    """level-13: one dip in every row of a bank of ducts."""
    frame = view.frame("ends")
    hits = view.hits("ends", frame["dip_down_m"].notna() & frame["row_no"].notna())
    for group in by(hits, lambda h: (view.place_of(h), h.row["face"])):
        dips = {whole_mm(h.row["dip_down_m"]) for h in group}
        ranks = {h.row["row_no"] for h in group}
        if len(group) >= _SAME_DIPS_COUNT and len(dips) == 1 and len(ranks) > 1:
            fill = {
                "place": view.place_of(group[0]),
                "value": number_text(group[0].row["dip_down_m"]),
                "n": len(ranks),
            }
            yield from view.say("level-13", group, "dip_down_m", fill=fill)


def check_dip_reference(view: Survey) -> Iterator[Checked]:
    """level-15: depth and dips of a chamber start from different places, frame not measured."""
    frame = view.frame("ends")
    froms: dict[str, set[str]] = {}
    for place, dip_from in zip(frame["place_id"], frame["dip_from"], strict=True):
        if place and dip_from in _TOP_REFERENCES:
            froms.setdefault(place, set()).add(dip_from)
    chambers = view.frame("chambers")
    for hit in view.hits("chambers", chambers["depth_from"].notna()):
        others = froms.get(hit.id, set()) - {hit.row["depth_from"]}
        if others and is_missing(hit.row["frame_thickness_mm"]):
            fill = {"id": hit.id, "a": hit.row["depth_from"], "b": " and ".join(sorted(others))}
            yield from view.say("level-15", [hit], "depth_from", fill=fill)


def check_steep_duct(view: Survey) -> Iterator[Checked]:
    """level-23: the two ends of a duct give a fall steeper than 1 in 4."""
    heights, told = Heights(view), set()
    ends = {h.id: h for h in view.hits("ends")}
    spots = _spots(view)
    for hit in ends.values():
        far = ends.get(str(hit.row["far_end_id"] or ""))
        if far is None or far.row["far_end_id"] != hit.id or frozenset((hit.id, far.id)) in told:
            continue
        told.add(frozenset((hit.id, far.id)))
        fall = abs(heights.opening(hit.row) - heights.opening(far.row))
        length = _length_m(hit, far, spots)
        if np.isnan(length) or not _STEEPEST * length < fall <= _NO_FALL_M:
            continue
        fill = {"a": hit.id, "b": far.id, "d": number_text(fall), "len": number_text(length, 1)}
        column = "dip_down_m" if not is_missing(hit.row["dip_down_m"]) else "level_m"
        yield from view.say("level-23", [hit, far], column, fill=fill)


def _spots(view: Survey) -> dict[str, tuple[float, float]]:
    """Positions of chambers and buildings (m)."""
    out = {}
    for table, key in (("chambers", "chamber_id"), ("buildings", "building_id")):
        frame = view.frame(table)
        for an_id, x_m, y_m in zip(frame[key], frame["x_m"], frame["y_m"], strict=True):
            out[an_id] = (float(x_m), float(y_m))
    return out


def _length_m(hit: Hit, far: Hit, spots: dict[str, tuple[float, float]]) -> float:
    stated = [h.row["length_m"] for h in (hit, far) if not is_missing(h.row["length_m"])]
    if stated:
        return float(min(stated))
    nowhere = (np.nan, np.nan)
    x1_m, y1_m = spots.get(hit.row["building_id"] or hit.row["place_id"], nowhere)
    x2_m, y2_m = spots.get(far.row["building_id"] or far.row["place_id"], nowhere)
    return float(np.hypot(x1_m - x2_m, y1_m - y2_m))


CHECKS: Final = (
    Check(check_negative_dip, ("level-06",)),
    Check(check_level_as_dip, ("level-07",)),
    Check(check_deep_dip, ("level-08", "level-22")),
    Check(check_measured_to, ("level-10", "level-11")),
    Check(check_offset, ("level-12",)),
    Check(check_copied_dip, ("level-13",)),
    Check(check_dip_reference, ("level-15",)),
    Check(check_steep_duct, ("level-23",)),
)

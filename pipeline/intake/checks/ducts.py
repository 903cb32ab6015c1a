"""Checks of duct ends: sizes, their place in the wall, what was counted, what was not seen."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from typing import Any, Final

import pandas as pd

from pipeline.intake.checks.sizes import OUTSIDE_MM, inside_of_outside_mm
from pipeline.intake.checks.view import (
    Check,
    Hit,
    Survey,
    by,
    by_cause,
    is_missing,
    is_ours,
    names,
    number_text,
)
from pipeline.intake.context import Checked

_LEAST_MM: Final = 15.0  # rule duct-02
_LARGEST_MM: Final = 300.0
_NOT_ROUND: Final = ("square", "rectangular", "oval")
_NOT_MEASURED: Final = ("counted only", "not reached")
_RUNNING: Final = ("run", "full bore")
_UP_OR_DOWN: Final = {"floor (up)": "up", "roof (down)": "down", "floor": "up", "roof": "down"}


def measured(view: Survey) -> pd.Series:
    """Which ends were measured at all; of the others nothing more is asked."""
    return ~view.frame("ends")["seen"].isin(_NOT_MEASURED)


def check_bore(view: Survey) -> Iterator[Checked]:
    """duct-01 and duct-02: the bore is missing, or no likely number of millimetres."""
    frame = view.frame("ends")
    eligible = view.hits("ends", measured(view) & (frame["shape"] != "not seen"))
    blank = [h for h in eligible if view.blank(h, "bore_mm")]
    for group in by_cause(view, blank, eligible):
        yield from view.say("duct-01", group, "bore_mm")
    odd = (frame["bore_mm"] < _LEAST_MM) | (frame["bore_mm"] > _LARGEST_MM)
    for group in by(view.hits("ends", odd), lambda h: (view.place_of(h), h.row["bore_mm"])):
        fill = {"value": number_text(group[0].row["bore_mm"])}
        yield from view.say("duct-02", group, "bore_mm", fill=fill, values=("bore_mm",))


def check_nominal(view: Survey) -> Iterator[Checked]:
    """duct-03: the bore is a name size, and nobody measured it."""
    frame = view.frame("ends")
    bore = frame["bore_mm"]
    guessed = frame["bore_method"].isin(["records", "judged"])
    plastic = ~frame["material"].isin(["clay", "concrete", "steel"])
    named = bore.isin(OUTSIDE_MM) | (bore == frame["nominal_mm"])
    hits = view.hits("ends", guessed & plastic & named & (bore >= _LEAST_MM))
    for group in by(hits, lambda h: (view.place_of(h), h.row["bore_mm"])):
        outside = float(group[0].row["bore_mm"])
        least, most = inside_of_outside_mm(outside)
        fill = {
            "value": number_text(outside),
            "a": number_text(least, 0),
            "b": number_text(most, 0),
            "pct": number_text(100.0 * (1.0 - (least / outside) ** 2), 0),
        }
        yield from view.say("duct-03", group, "bore_mm", fill=fill)


def check_second_size(view: Survey) -> Iterator[Checked]:
    """duct-15: a square or oval mouth with one size."""
    frame = view.frame("ends")
    one_size = frame["bore_mm"].notna() != frame["bore_b_mm"].notna()
    mask = measured(view) & frame["shape"].isin(_NOT_ROUND) & one_size
    hits = [
        h
        for h in view.hits("ends", mask)
        if not view.context.raw("ends", h.index, "bore_b_mm").strip()
        or is_missing(h.row["bore_mm"])
    ]
    for group in by(hits, view.place_of):
        stop = ("bore_mm", "bore_b_mm")
        yield from view.say("duct-15", group, "bore_b_mm", values=stop)


def check_same_cell(view: Survey) -> Iterator[Checked]:
    """duct-12: two ends in one row and column of a wall."""
    frame = view.frame("ends")
    in_wall = frame[["place_id", "face", "row_no", "col_no"]].notna().all(axis=1)
    outer = (frame["shape"] != "sub-duct") & frame["parent_end_id"].isna()
    hits = [h for h in view.hits("ends", in_wall & outer) if "#" not in h.id]
    cells = by(hits, lambda h: tuple(h.row[c] for c in ("place_id", "face", "row_no", "col_no")))
    for group in cells:
        if len(group) > 1:
            row = group[0].row
            fill = {
                "place": row["place_id"],
                "face": row["face"],
                "r": number_text(row["row_no"], 0),
                "c": number_text(row["col_no"], 0),
            }
            yield from view.say("duct-12", group, "col_no", fill=fill, values=("row_no", "col_no"))


def check_ways(view: Survey) -> Iterator[Checked]:
    """duct-13: more or fewer rows than ways were counted."""
    frame = view.frame("ends")
    listed = frame.loc[frame["shape"] != "sub-duct", "place_id"].value_counts()
    for table in ("chambers", "entries"):
        for hit in view.hits(table, view.frame(table)["ways_seen_count"].notna()):
            counted, rows = int(hit.row["ways_seen_count"]), int(listed.get(hit.id, 0))
            if counted == rows or (table == "chambers" and rows == 0):  # the latter is id-08
                continue
            fill = {"place": hit.id, "n": counted, "m": rows, "d": abs(counted - rows)}
            yield from view.say("duct-13", [hit], "ways_seen_count", fill=fill)


def check_inner(view: Survey) -> Iterator[Checked]:
    """duct-14 and duct-32: an inner duct without its outer duct, or wider than that."""
    ends = {h.id: h for h in view.hits("ends")}
    for hit in ends.values():
        parent = hit.row["parent_end_id"]
        size = hit.row["bore_mm"]
        fill = {"a": "size not given" if is_missing(size) else number_text(size)}
        outer = ends.get(str(parent or ""))
        if outer is None:
            if hit.row["shape"] == "sub-duct" and is_missing(parent):
                stop = ("parent_end_id",)
                yield from view.say("duct-14", [hit], "parent_end_id", fill=fill, values=stop)
            continue  # a parent that no row has is id-05
        if outer.row["place_id"] != hit.row["place_id"]:
            stop = ("parent_end_id",)
            yield from view.say("duct-14", [hit], "parent_end_id", fill=fill, values=stop)
        elif size > outer.row["bore_mm"]:
            fill |= {"b": number_text(outer.row["bore_mm"])}
            yield from view.say("duct-32", [hit, outer], "bore_mm", fill=fill)


def check_water(view: Survey) -> Iterator[Checked]:
    """duct-16: running water without a rate, or in a place that is marked dry."""
    frame, chambers = view.frame("ends"), view.frame("chambers")
    dry = set(chambers.loc[chambers["water_state"] == "dry", "chamber_id"].dropna())
    running = frame["water_now"].isin(_RUNNING)
    for hit in view.hits("ends", running):
        place = view.place_of(hit)
        if is_missing(hit.row["water_l_per_min"]) or place in dry:
            but = f", although {place} is marked dry" if place in dry else ""
            yield from view.say("duct-16", [hit], "water_l_per_min", fill={"but": but})


def check_mouth(view: Survey) -> Iterator[Checked]:
    """duct-27: a broken or bell mouth, and it is not said where the sound bore begins."""
    frame = view.frame("ends")
    mask = frame["mouth"].isin(["broken", "bell"]) & frame["sound_from_mm"].isna()
    hits = view.hits("ends", mask)
    for group in by(hits, lambda h: (view.place_of(h), h.row["mouth"])):
        what = {"broken": "broken", "bell": "a bell"}[str(group[0].row["mouth"])]
        fill = {"end": names(h.id for h in group), "what": what}
        yield from view.say("duct-27", group, "sound_from_mm", fill=fill)


def check_counted(view: Survey) -> Iterator[Checked]:
    """duct-28: ends that were counted and not measured (a note)."""
    hits = view.hits("ends", ~measured(view))
    for group in by(hits, view.place_of):
        yield from view.say("duct-28", group, "seen", fill={"place": view.place_of(group[0])})


def check_floor_or_roof(view: Survey) -> Iterator[Checked]:
    """duct-29: a mouth in a floor or a roof, out of which wet sealant slumps."""
    hits = [h for h in view.hits("ends") if _points(h)]
    for group in by(hits, lambda h: (view.place_of(h), _points(h))):
        fill = {"end": names(h.id for h in group), "updown": _points(group[0])}
        yield from view.say("duct-29", group, "lie", fill=fill)


def _points(hit: Hit) -> str:
    word = hit.row["lie"] if hit.row["lie"] in _UP_OR_DOWN else hit.row["face"]
    return _UP_OR_DOWN.get(str(word), "")


def check_far_end(view: Survey) -> Iterator[Checked]:
    """duct-21 and duct-22: where a duct comes from is not known, or not proved."""
    eligible = view.hits("ends", measured(view))
    unknown = [h for h in eligible if _is_far_unknown(view, h)]
    for group in by_cause(view, unknown, eligible):
        fill = {"end": names(h.id for h in group)}
        yield from view.say("duct-21", group, "far_place_id", fill=fill)
    open_ends = {h.index for h in unknown}
    guessed = [
        h
        for h in eligible
        if h.index not in open_ends and _is_place(h.row["far_place_id"]) and _is_unproved(view, h)
    ]
    for group in by(guessed, _between):
        far = group[0].row["far_place_id"]
        # both mouths of a duct are one question: the places are named once, then the ends
        near = names(h.row["place_id"] for h in group if h.row["place_id"] != far)
        proof = group[0].row["far_proof"]
        fill = {
            "a": near or names(h.id for h in group),
            "b": f"{far} ({names(h.id for h in group)})",
            "proof": f"from {proof}"
            if proof == "drawing"
            else proof
            if proof == "assumed"
            else "not known",
        }
        yield from view.say("duct-22", group, "far_proof", fill=fill)


def _is_place(far: Any) -> bool:
    """Whether a duct is said to run to a place, and not into the ground."""
    return bool(far) and str(far).casefold() not in {"buried", "none"}


def _between(hit: Hit) -> tuple[Hashable, ...]:
    """Both mouths of the ducts between two places are one question."""
    row = hit.row
    places = frozenset((row["place_id"], row["far_place_id"]))
    return row["file"], places, row["far_proof"]


def _is_far_unknown(view: Survey, hit: Hit) -> bool:
    place = hit.row["far_place_id"]
    if is_missing(place):
        return view.blank(hit, "far_place_id") and is_missing(hit.row["far_end_id"])
    return str(place).casefold() in {"unknown", "not seen"}


def _is_unproved(view: Survey, hit: Hit) -> bool:
    proof = hit.row["far_proof"]
    return proof in {"drawing", "assumed", "unknown"} or view.blank(hit, "far_proof")


def check_photo_walls(view: Survey) -> Iterator[Checked]:
    """visit-04: one photo for ends on different walls."""
    photos = view.frame("photos")
    files = dict(zip(photos["photo_id"], photos["file_name"], strict=True))
    hits = view.hits("ends", view.frame("ends")["photo_id"].notna())

    def picture(hit: Hit) -> str:
        return str(files.get(hit.row["photo_id"]) or hit.row["photo_id"]).casefold()

    for group in by(hits, picture):
        walls = {(h.row["place_id"], h.row["face"]) for h in group if not is_ours(h.id)}
        if len(walls) > 1:
            shown = files.get(group[0].row["photo_id"]) or group[0].row["photo_id"]
            yield from view.say("visit-04", group, "photo_id", fill={"file": shown})


CHECKS: Final = (
    Check(check_bore, ("duct-01", "duct-02")),
    Check(check_nominal, ("duct-03",)),
    Check(check_same_cell, ("duct-12",)),
    Check(check_ways, ("duct-13",)),
    Check(check_inner, ("duct-14", "duct-32")),
    Check(check_second_size, ("duct-15",)),
    Check(check_water, ("duct-16",)),
    Check(check_far_end, ("duct-21", "duct-22")),
    Check(check_mouth, ("duct-27",)),
    Check(check_counted, ("duct-28",)),
    Check(check_floor_or_roof, ("duct-29",)),
    Check(check_photo_walls, ("visit-04",)),
)

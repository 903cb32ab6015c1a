"""Checks of ids: look-alikes, parents that are not there, far ends, ways without rows."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pipeline.core import survey
from pipeline.intake.checks.view import (
    KEY_OF_TABLE,
    Check,
    Hit,
    Survey,
    by,
    is_missing,
    is_ours,
    names,
    number_text,
)
from pipeline.intake.context import Checked

_SEPARATORS: Final = " -_./"
_ALIKE: Final = str.maketrans("oil", "011", _SEPARATORS)
# Answers that stand in a column of ids and name no row.
_ANSWERS: Final = frozenset({"unknown", "buried", "none", "not seen"})
_PLACES: Final = ("sites", "buildings", "chambers", "entries", "ends")
_THING: Final = {
    "sites": "site",
    "buildings": "building",
    "chambers": "chamber",
    "entries": "entry",
    "ends": "duct end",
    "cables": "cable",
    "seals": "seal",
    "points": "level point",
    "flood_levels": "flood level",
    "observations": "observation",
    "photos": "photo",
    "visits": "visit",
}
# House rule: the same chamber found again further off than this is questioned.
_SAME_CHAMBER_M: Final = 10.0


def check_look_alikes(view: Survey) -> Iterator[Checked]:
    """id-04: ids of one kind that differ only by O/0, I/1, a space or a dash."""
    for table, key in KEY_OF_TABLE.items():
        bare = view.frame(table)[key].map(lambda i: _bare(i) if i else None)
        alike = bare.notna() & bare.duplicated(keep=False)
        named = [h for h in view.hits(table, alike) if not is_ours(h.id)]
        for group in by(named, lambda h: _bare(h.id)):
            for a, b in _pairs(group):
                fill = {"a": a.id, "b": b.id, "thing": _THING[table]}
                yield from view.say("id-04", [b], key, fill=fill)


def _bare(an_id: str) -> str:
    return an_id.casefold().translate(_ALIKE)


def _gaps(an_id: str) -> frozenset[int]:
    """Where the separators stand, counted in the characters that are none."""
    out, place = set(), 0
    for char in an_id:
        if char in _SEPARATORS:
            out.add(place)
        else:
            place += 1
    return frozenset(out)


def _pairs(group: list[Hit]) -> list[tuple[Hit, Hit]]:
    """Neighbours of a group that are spelt differently; D1-11 and D11-1 are no look-alikes."""
    different = list({h.id: h for h in reversed(group)}.values())[::-1]
    out = []
    for i, a in enumerate(different):
        for b in different[i + 1 :]:
            one, other = _gaps(a.id), _gaps(b.id)
            if one <= other or other <= one:
                out.append((a, b))
                break
    return out


def check_parents(view: Survey) -> Iterator[Checked]:
    """id-05: a row names a parent that no row has; it stays, and counts as unknown."""
    known = {t: frozenset(view.frame(t)[k].dropna()) for t, k in KEY_OF_TABLE.items()}
    for column in survey.columns():
        if not column.parent or column.house_name == "photo_id" or column.sheet == "about":
            continue
        table = survey.TABLE_OF_SHEET[column.sheet]
        parents = _parent_tables(column.parent)
        ids = frozenset().union(*(known[t] for t in parents)) | _short_cuts(view, column.parent)
        lost = [h for h in view.hits(table) if _is_lost(h.row[column.house_name], ids)]
        yield from _say_lost(view, lost, column, ids)


def _parent_tables(parent: str) -> list[str]:
    if parent == "any":
        return list(_PLACES)
    return [survey.TABLE_OF_SHEET[sheet] for sheet in parent.split("|")]


def _short_cuts(view: Survey, parent: str) -> frozenset[str]:
    """Chambers and buildings whose short-cut level stands for a point of their own."""
    if parent != "level_points":
        return frozenset()
    pairs = (("chambers", "cover_level_m"), ("buildings", "floor_level_m"))
    out: set[str] = set()
    for table, level in pairs:
        frame = view.frame(table)
        out |= set(frame.loc[frame[level].notna(), KEY_OF_TABLE[table]].dropna())
    return frozenset(out)


def _is_lost(value: Any, ids: frozenset[str]) -> bool:
    if is_missing(value) or value in ids:
        return False
    text = str(value)
    if text.casefold() in _ANSWERS or text.upper().startswith("STREET-"):
        return False
    parts = text.split(",")
    return not (len(parts) == 2 and all(_is_number(p) for p in parts))  # 'x,y' of a flood level


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _say_lost(
    view: Survey, lost: list[Hit], column: survey.Column, ids: frozenset[str]
) -> Iterator[Checked]:
    name = column.house_name
    by_name = {KEY_OF_TABLE[t]: _THING[t] for t in KEY_OF_TABLE}
    kind = by_name.get(name) or " or ".join(_THING[t] for t in _parent_tables(column.parent))
    # With no such row at all one thing is missing, not one for each name.
    for group in by(lost, lambda h: (h.row["file"], h.row[name] if ids else "")):
        parent = names(h.row[name] for h in group)
        near = difflib.get_close_matches(parent, sorted(ids), n=3, cutoff=0.6)
        fill = {
            "parent_kind": kind,
            "parent": parent,
            "guesses": ", ".join(near) or "none",
        }
        yield from view.say("id-05", group, name, fill=fill, values=(name,))


def check_same_chamber(view: Survey) -> Iterator[Checked]:
    """id-06: a chamber that an earlier file or row had at another site or far away."""
    now = {h.id: h for h in view.hits("chambers")}
    frame = view.context.tables.get("older_chambers")
    older = [] if frame is None else frame.to_dict("records")
    older += [h.row for h in now.values() if "#" in h.id]
    for row in older:
        an_id = str(row["chamber_id"]).split("#", maxsplit=1)[0]
        hit = now.get(an_id)
        if hit is None:
            continue
        apart = np.hypot(hit.row["x_m"] - row["x_m"], hit.row["y_m"] - row["y_m"])
        moved = bool(apart > _SAME_CHAMBER_M)
        other_site = bool(row["site_id"] and hit.row["site_id"] != row["site_id"])
        if not (moved or other_site):
            continue
        fill = {
            "id": an_id,
            "old": f"site {row['site_id'] or 'not stated'}",
            "file": row["file"],
            "dist": number_text(apart, 0) if np.isfinite(apart) else "an unknown number of",
        }
        yield from view.say("id-06", [hit], "chamber_id", fill=fill)


def check_far_ends(view: Survey) -> Iterator[Checked]:
    """id-07: two ends of one duct that do not name each other."""
    ends = {h.id: h for h in view.hits("ends")}
    told: set[frozenset[str]] = set()
    for hit in ends.values():
        far = ends.get(str(hit.row["far_end_id"] or ""))
        if far is None or far.id == hit.id or frozenset((hit.id, far.id)) in told:
            continue
        says = _quarrel(hit, far)
        if says:
            told.add(frozenset((hit.id, far.id)))
            fill = {"a": hit.id, "b": far.id, "c": says}
            yield from view.say("id-07", [hit, far], "far_end_id", fill=fill)


def _quarrel(hit: Hit, far: Hit) -> str:
    """What the far end says instead; '' where it agrees or says nothing."""
    back = far.row["far_end_id"]
    if back and back != hit.id:
        return f"it runs to {back}"
    back_place = far.row["far_place_id"]
    named = back_place and str(back_place).casefold() not in _ANSWERS
    if named and hit.row["place_id"] and back_place != hit.row["place_id"]:
        return f"it runs to {back_place}"
    place = hit.row["far_place_id"]
    named = place and str(place).casefold() not in _ANSWERS
    if named and far.row["place_id"] and place != far.row["place_id"]:
        return f"it stands at {far.row['place_id']}"
    return ""


def check_ways_without_rows(view: Survey) -> Iterator[Checked]:
    """id-08: a chamber whose ways were counted, and no row on the sheet of ducts."""
    with_rows = set(view.frame("ends")["place_id"].dropna())
    frame = view.frame("chambers")
    counted = frame["ways_seen_count"] > 0
    for hit in view.hits("chambers", counted & ~frame["chamber_id"].isin(with_rows)):
        fill = {"id": hit.id, "n": number_text(hit.row["ways_seen_count"], 0)}
        yield from view.say("id-08", [hit], "ways_seen_count", fill=fill)


def check_two_kinds(view: Survey) -> Iterator[Checked]:
    """id-09: one id names two kinds of thing, so that rows naming it are ambiguous."""
    users: dict[str, list[Hit]] = {}
    for table in _PLACES:
        for hit in view.hits(table):
            if hit.id and not is_ours(hit.id):
                users.setdefault(hit.id, []).append(hit)
    for an_id, hits in users.items():
        kinds = list(dict.fromkeys(h.table for h in hits))
        if len(kinds) > 1:
            fill = {"id": an_id, "a": _THING[kinds[0]], "b": _THING[kinds[1]]}
            second = [h for h in hits if h.table == kinds[1]]
            yield from view.say("id-09", second[:1], KEY_OF_TABLE[kinds[1]], fill=fill)


CHECKS: Final = (
    Check(check_look_alikes, ("id-04",)),
    Check(check_parents, ("id-05",)),
    Check(check_same_chamber, ("id-06",)),
    Check(check_far_ends, ("id-07",)),
    Check(check_ways_without_rows, ("id-08",)),
    Check(check_two_kinds, ("id-09",)),
)

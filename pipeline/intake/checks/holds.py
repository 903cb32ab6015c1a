"""Checks of what the owner's engineer must release: asbestos, fire, services, cords, old seals."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import pandas as pd

from pipeline.intake.checks.view import Check, Hit, Survey, by, names, number_text
from pipeline.intake.context import Checked

_NOT_SOUND: Final = ("weeping", "loose", "cracked", "pushed out", "missing part")
_PASSING: Final = ("damp", "drip", "run")
_CORD_ONLY: Final = "draw cord only"


def check_cord(view: Survey) -> Iterator[Checked]:
    """duct-11: a spare duct with a draw cord, unless the owner has given leave for all cords."""
    settings = view.context.settings
    if settings is not None and settings.design.cord_out:
        return
    frame = view.frame("ends")
    spare = (frame["duct_use"] == "spare") | frame["contents"].isin(["empty", "capped", _CORD_ONLY])
    cord = (frame["draw_cord"] == "yes") | (frame["contents"] == _CORD_ONLY)
    for group in by(view.hits("ends", spare & cord), lambda h: (h.row["file"], view.site_of(h))):
        yield from view.say("duct-11", group, "draw_cord", fill={"end": names(h.id for h in group)})


def check_asbestos(view: Survey) -> Iterator[Checked]:
    """duct-17: asbestos suspected, or unknown where building, duct or seal may be old enough."""
    limit = view.settings.value.asbestos_year
    buildings = view.frame("buildings")
    years = dict(zip(buildings["building_id"], buildings["built_year"], strict=True))
    hits: list[tuple[Hit, str]] = []
    for table in ("buildings", "entries", "chambers", "seals"):
        frame = view.frame(table)
        for hit in view.hits(table, frame["asbestos_suspect"].isin(["yes", "unknown"])):
            is_old = not _year(hit, years) >= limit  # a blank year counts as older
            if hit.row["asbestos_suspect"] == "yes" or is_old:
                hits.append((hit, "asbestos_suspect"))
    ends = view.frame("ends")
    cement = ends["material"] == "asbestos-cement suspect"
    hits += [(h, "material") for h in view.hits("ends", cement)]
    column_of = {(h.table, h.index): c for h, c in hits}
    for group in by([h for h, _ in hits], lambda h: _whole(view, h)):
        sure = any(_is_suspected(h) for h in group)
        fill = {
            "place": names(view.place_of(h) for h in group),
            "state": "suspected" if sure else "unknown",
        }
        first = group[0]
        yield from view.say("duct-17", group, column_of[first.table, first.index], fill=fill)


def _year(hit: Hit, years: dict[str, float]) -> float:
    """Year a thing was made; NaN where it is not known."""
    if hit.table == "seals":
        return float(hit.row["made_year"])
    if hit.table == "chambers":
        return float("nan")
    building = hit.id if hit.table == "buildings" else hit.row["building_id"]
    return float(years.get(str(building), float("nan")))


def _is_suspected(hit: Hit) -> bool:
    return hit.table == "ends" or hit.row["asbestos_suspect"] == "yes"


def _whole(view: Survey, hit: Hit) -> tuple[str, str]:
    """What is asked about at once: a building with all in it, or the chambers of a site."""
    place = view.place_of(hit)
    building = view.entry_building.get(place, place)
    if building in view.building_site:
        return "building", building
    return "chambers", view.site_of(hit) or place


def check_seals(view: Survey) -> Iterator[Checked]:
    """duct-23 and duct-24: how an unsound seal comes out; a sound seal that lets water pass."""
    frame = view.frame("seals")
    unsound = frame["condition"].isin(_NOT_SOUND) & frame["removal"].isna()
    for hit in view.hits("seals", unsound):
        fill = {
            "end": hit.row["end_id"] or hit.row["entry_id"] or "not named",
            "kind": hit.row["kind"] or "unknown",
            "condition": hit.row["condition"],
        }
        yield from view.say("duct-23", [hit], "removal", fill=fill)
    passing = (frame["condition"] == "sound") & frame["water_passing"].isin(_PASSING)
    for hit in view.hits("seals", passing):
        yield from view.say("duct-24", [hit], "water_passing", fill={"id": hit.id})


def check_fire(view: Survey) -> Iterator[Checked]:
    """duct-25: a seal with a fire label, or a wall that is or may be a fire wall."""
    buildings, entries = view.frame("buildings"), view.frame("entries")
    seals = view.frame("seals")
    maybe = ["yes", "unknown"]
    hits = [(h, "fire_wall") for h in view.hits("buildings", buildings["fire_wall"].isin(maybe))]
    hits += [(h, "fire_wall") for h in view.hits("entries", entries["fire_wall"].isin(maybe))]
    hits += [(h, "fire_label") for h in view.hits("seals", seals["fire_label"] == "yes")]
    column_of = {(h.table, h.index): c for h, c in hits}
    for group in by([h for h, _ in hits], lambda h: _whole(view, h)):
        first = group[0]
        fill = {"place": names(view.place_of(h) for h in group)}
        yield from view.say("duct-25", group, column_of[first.table, first.index], fill=fill)


def check_ribbed(view: Survey) -> Iterator[Checked]:
    """duct-26: ribbed ducts and what is added for the ribs (a note)."""
    added = _ribs_frac(dict(view.settings.design.allowance_frac))
    ribbed = view.frame("ends")["material"] == "ribbed plastic"
    for group in by(view.hits("ends", ribbed), view.place_of):
        fill = {"end": names(h.id for h in group), "pct": number_text(100.0 * added, 1)}
        yield from view.say("duct-26", group, "material", fill=fill)


def _ribs_frac(allowances: dict[str, float]) -> float:
    """The allowance whose name speaks of ribs; none named adds nothing."""
    return sum(v for k, v in sorted(allowances.items()) if "rib" in k.casefold())


def check_gap(view: Survey) -> Iterator[Checked]:
    """duct-30: water can pass between the duct and the wall."""
    frame = view.frame("entries")
    hits = view.hits("entries", frame["gap_around_duct"].isin(["crack", "weeping", "open"]))
    for group in by(hits, lambda h: h.row["building_id"]):
        fill = {"entry": names(h.id for h in group)}
        yield from view.say("duct-30", group, "gap_around_duct", fill=fill)


def check_service(view: Survey) -> Iterator[Checked]:
    """duct-31: a gas or water pipe in the duct."""
    frame: pd.DataFrame = view.frame("ends")
    for group in by(view.hits("ends", frame["duct_use"] == "water or gas pipe"), view.place_of):
        fill = {"end": names(h.id for h in group), "use": "water or gas"}
        yield from view.say("duct-31", group, "duct_use", fill=fill)


CHECKS: Final = (
    Check(check_cord, ("duct-11",)),
    Check(check_asbestos, ("duct-17",), needs_settings=True),
    Check(check_seals, ("duct-23", "duct-24")),
    Check(check_fire, ("duct-25",)),
    Check(check_ribbed, ("duct-26",), needs_settings=True),
    Check(check_gap, ("duct-30",)),
    Check(check_service, ("duct-31",)),
)

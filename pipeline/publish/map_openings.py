"""Openings as the map shows them, packed by column."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from pipeline.core import contract
from pipeline.publish import map_pack as pack
from pipeline.publish.map_places import (
    Degrees,
    chosen_packages,
    notes,
    number,
    records,
    spots_m,
    text,
)
from pipeline.publish.map_states import NO_SEAL, Life, next_step
from pipeline.tables import Tables

# Entries have no position of their own: they are drawn around their building, wall A to the north.
_WALL_TURN: Final = {"A": 90.0, "B": 0.0, "C": 270.0, "D": 180.0}
_WALL_OFFSET_M: Final = 9.0
_MOUTH_STEP_M: Final = 1.1
_CHAMBER_OFFSET_M: Final = 3.0

_DESIGN: Final = (
    "end_id", "is_needed", "is_designed", "not_designed_reason", "hold_reach", "hold_words",
    "sleeves_words", "layer_mm", "sealant_ml", "cautions", "design_head_m", "head_from",
)  # fmt: skip
_UNKNOWN: Final = (contract.NO_LEVEL, contract.NO_FLOOD)
_METRES: Final = 1000
_CHANCE: Final = 100_000_000


def opening_spots(tables: Tables) -> dict[str, tuple[float, float]]:
    """Where each opening is drawn (m): around its building or chamber, mouths side by side.

    Entries have no surveyed position. Wall A is drawn to the north, then clockwise; mouths stand
    beside each other in the order of their ids. The picture shows which wall, not where on it.
    """
    buildings = spots_m(tables["buildings"], "building_id")
    chambers = spots_m(tables["chambers"], "chamber_id")
    faces = {
        text(r["entry_id"]): text(r["face"]) for r in records(tables["entries"], "entry_id", "face")
    }
    end_faces = {
        text(r["end_id"]): text(r["face"]) for r in records(tables["ends"], "end_id", "face")
    }
    groups: dict[tuple[str, str], list[str]] = {}
    for row in records(
        tables["reach"], "opening_id", "building_id", "chamber_id", "entry_id", "end_id"
    ):
        opening = text(row["opening_id"])
        place = text(row["building_id"]) or text(row["chamber_id"])
        face = faces.get(text(row["entry_id"])) or end_faces.get(text(row["end_id"])) or "roof"
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


def openings(
    tables: Tables, degrees: Degrees, places: dict[str, int], place_at: list[list[float] | None]
) -> list[dict[str, Any]]:
    """One record per opening, in the order of site, place and id.

    Parameters
    ----------
    tables : Tables
    degrees : Degrees
    places : dict
        Number of each building and chamber on the map.
    place_at : list
        Their latitude and longitude.

    Returns
    -------
    list of dict

    """
    facts = _Facts(tables)
    spots = opening_spots(tables)
    rows = sorted(
        records(tables["reach"]),
        key=lambda r: (text(r["site_id"]), text(r["building_id"]) or text(r["chamber_id"]),
                       text(r["opening_id"])),
    )  # fmt: skip
    nowhere = (math.nan, math.nan)
    found = degrees.points([spots.get(text(r["opening_id"]), nowhere) for r in rows])
    out = []
    for row, spot in zip(rows, found, strict=True):
        place = text(row["building_id"]) or text(row["chamber_id"])
        index = places.get(place)
        centre = place_at[index] if index is not None else None
        if spot is None or centre is None:
            aside = (None, None)
        else:  # tenth of a metre: equal beside all buildings of a neighbourhood, so it packs well
            aside = tuple(round((a - c) * 1e6) for a, c in zip(spot, centre, strict=True))  # type: ignore[assignment]
        out.append({**facts.of(row), "place": index, "north": aside[0], "east": aside[1]})
    return out


class _Facts:
    """What all other tables say of an opening, looked up once."""

    def __init__(self, tables: Tables) -> None:
        self._designs = {text(r["end_id"]): r for r in records(tables["designs"], *_DESIGN)}
        self._notes = notes(tables)
        self._life = Life(tables)
        self._rows = {
            text(r[key]): (text(r["file"]), text(r["sheet"]), number(r["row"], 0))
            for table, key in (("entries", "entry_id"), ("ends", "end_id"))
            for r in records(tables[table], key, "file", "sheet", "row")
        }
        self._chosen: dict[str, str] = {}
        for package in chosen_packages(tables).values():
            year = text(package["year"])
            self._chosen |= dict.fromkeys(text(package["end_ids"]).split(";"), year)
        self._day: dict[str, str] = {}
        for row in records(tables["crew_days"].sort_values("work_date")):
            for end in text(row["end_ids"]).split(";"):
                self._day.setdefault(end, text(row["work_date"]))
        self._critical = {
            text(r["site_id"]): text(r["critical_class"]) for r in records(tables["sites"])
        }

    def of(self, row: dict[str, Any]) -> dict[str, Any]:
        opening, entry = text(row["opening_id"]), text(row["entry_id"])
        end = text(row["end_id"]) or opening
        file, sheet, line = self._rows.get(end) or self._rows.get(entry) or ("", "", None)
        seal = _seal(self._designs.get(end))
        year, day = self._chosen.get(end, ""), self._day.get(end, "")
        life = self._life.of(end)
        plan = self._life.plan(row, end, seal["hold"], is_chosen=bool(year))
        return {
            "opening_id": opening,
            "entry_id": entry,
            "opening_kind": text(row["opening_kind"]),
            "site_id": text(row["site_id"]),
            "building_id": text(row["building_id"]) or text(row["chamber_id"]),
            "region": text(row["region"]),
            "critical_class": self._critical.get(text(row["site_id"]), ""),
            "level_class": text(row["level_class"]),
            "margin_mm": number(row["margin_mm"], 0),
            "limit_mm": number(row["limit_mm"], 0),
            "margin_is_bound": bool(row["margin_is_bound"]),
            "reason": text(row["reason"]),
            "way": text(row["way"]),
            "way_words": text(row["way_words"]),
            "way_places": text(row["way_places"]),
            "opening_level_m": number(row["opening_level_m"]),
            "let_in_level_m": number(row["let_in_level_m"]),
            "policy_level_m": number(row["policy_level_m"]),
            "head_m": number(row["head_m"], 2),
            "onset_chance_per_year": _chance(row),
            "onset_bound": text(row["onset_bound"]),
            "note": self._notes.get(opening, "") or self._notes.get(entry, ""),
            **life,
            "plan": plan,
            "month": day[:7],
            "next_words": next_step(row, seal, life, (plan, year, day)),
            "file": file,
            "sheet": sheet,
            "row": line,
            **seal,
        }


def _chance(row: dict[str, Any]) -> float | None:
    """Chance of water coming in; unknown where the class is unknown, whatever else is known."""
    chance = row["onset_chance_per_year"]
    if chance is None or row["level_class"] in _UNKNOWN:
        return None
    return up_to_four_figures(float(chance))


def up_to_four_figures(chance_per_year: float) -> float:
    """A chance with four figures, rounded up: rounding never makes an opening drier."""
    if chance_per_year <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(chance_per_year)) - 3)
    return round(math.ceil(round(chance_per_year / step, 6)) * step, 12)


def _seal(design: dict[str, Any] | None) -> dict[str, Any]:
    if design is None or not bool(design["is_needed"]):
        return {"hold": NO_SEAL, "hold_words": "", "seal_words": "", "cautions": "",
                "seal_head_m": None, "seal_head_from": ""}  # fmt: skip
    words = text(design["not_designed_reason"])
    if bool(design["is_designed"]):
        words = (
            f"{text(design['sleeves_words']) or 'no sleeves'}; "
            f"{design['layer_mm']:.0f} mm of sealant, {design['sealant_ml']:.0f} ml"
        )
    elif words:
        words = f"not designed: {words}"
    return {
        "hold": text(design["hold_reach"]),
        "hold_words": text(design["hold_words"]),
        "seal_words": words,
        "cautions": text(design["cautions"]),
        "seal_head_m": number(design["design_head_m"], 2),
        "seal_head_from": text(design["head_from"]),
    }


def as_columns(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Openings packed by column; long texts lean on the values of their own row."""
    metres = partial(pack.numbers, scale=_METRES)
    stand_for = [_pairs(r) for r in rows]
    ids = [[(pack.SITE, r["site_id"])] for r in rows]
    kinds: dict[str, Callable[..., pack.Column]] = dict.fromkeys(
        ("opening_kind", "site_id", "region", "critical_class", "level_class", "way",
         "onset_bound", "note", "state", "plan", "month", "hold", "seal_words", "cautions", "file",
         "sheet", "ahead", "lifted", "seal_head_from"), pack.words,
    )  # fmt: skip
    kinds["opening_level_m"] = metres
    kinds |= dict.fromkeys(("head_m", "seal_head_m"), partial(pack.numbers, scale=100))
    kinds |= dict.fromkeys(
        ("margin_mm", "limit_mm", "row", "place", "north", "east"), partial(pack.numbers, scale=1)
    )
    kinds["onset_chance_per_year"] = partial(pack.numbers, scale=_CHANCE)
    kinds["margin_is_bound"] = pack.flags
    data: dict[str, Any] = pack.of_records(rows, kinds)
    data["columns"] |= _levels_beside(rows)
    for name in (
        "opening_id",
        "entry_id",
        "building_id",
        "way_places",
        "state_since",
        "stuck",
        "next_words",
    ):
        data["columns"][name] = pack.short_words([r[name] for r in rows], ids)
    for name in ("reason", "way_words", "hold_words"):
        data["columns"][name] = pack.short_words([r[name] for r in rows], stand_for)
    return data


def _levels_beside(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Let-in level beside the own level, policy line beside let-in level and margin, in mm.

    They are mostly 0, so they take next to no room; where the other is not known they are whole.
    """
    let_in, policy = [], []
    for row in rows:
        own_mm, let_in_mm, policy_mm = (
            None if row[k] is None else round(row[k] * _METRES)
            for k in ("opening_level_m", "let_in_level_m", "policy_level_m")
        )
        let_in.append(None if let_in_mm is None else let_in_mm - (own_mm or 0))
        near_mm = (let_in_mm or 0) - round(row["margin_mm"] or 0)
        policy.append(None if policy_mm is None else policy_mm - near_mm)
    return {
        "let_in_beside_mm": pack.numbers(let_in, 1), "policy_beside_mm": pack.numbers(policy, 1),
    }  # fmt: skip


def _pairs(row: dict[str, Any]) -> list[tuple[str, str]]:
    """Values of a row that its texts repeat, as the page writes them."""
    margin, limit = row["margin_mm"], row["limit_mm"]
    return [
        (pack.OPENING, row["opening_id"]),
        (pack.SITE, row["site_id"]),
        (pack.LET_IN, _metres(row["let_in_level_m"])),
        (pack.OWN_LEVEL, _metres(row["opening_level_m"])),
        (pack.MARGIN, "" if margin is None else f"{abs(margin):.0f} mm"),
        (pack.LIMIT, "" if limit is None else f"{limit:.0f} mm"),
    ]


def _metres(level_m: float | None) -> str:
    return "" if level_m is None else f"{round(level_m * _METRES) / _METRES:.3f}"

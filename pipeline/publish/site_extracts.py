"""One site alone, for its owner's engineer: a register of every opening, and its places."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.materials import papers_say
from pipeline.core.settings import Settings
from pipeline.publish.book import Book, Column
from pipeline.publish.map_openings import opening_spots
from pipeline.publish.map_places import Degrees
from pipeline.publish.orders import file_name
from pipeline.tables import Tables

_REGISTER: Final = (
    Column("opening_id", "opening", width=18),
    Column("opening_kind", "kind", width=12),
    Column("where", "building or chamber", width=14),
    Column("level_class", "class", width=16),
    Column("margin_mm", "margin mm", "0", 10),
    Column("opening_level_m", "level m", "0.000", 10),
    Column("let_in_level_m", "let-in level m", "0.000", 11),
    Column("head_m", "head at the policy line m", "0.00", 11),
    Column("design_head_m", "head the seal is designed for m", "0.00", 11),
    Column("reason", "why", width=44),
    Column("decision", "decision, and why", width=44),
    Column("cables", "what is in it", width=24),
    Column("hold_words", "held until", width=40),
    Column("assumed", "assumed", width=30),
)
_HOLDS: Final = (
    Column("end_id", "end", width=18),
    Column("hold_reach", "what waits", width=12),
    Column("hold_words", "held until", width=70),
)
_SAID: Final = {
    contract.HOLD_DESIGN: "no seal drawn yet",
    contract.HOLD_ORDER: "designed, not ordered",
    contract.HOLD_WORK: "designed and ordered, the crew waits",
}


def write_site_extracts(folder: Path, tables: Tables, settings: Settings, run_id: str) -> None:
    """Write <site>/register.xlsx and <site>/openings.geojson for every site.

    Parameters
    ----------
    folder : Path
        Folder of the extracts; made here.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on the papers.

    """
    register = _register(tables)
    spots, degrees = opening_spots(tables), Degrees(settings.reference.working_crs)
    policies = tables["policies"].set_index("site_id")
    for site, rows in register.groupby("site_id", sort=True):
        target = folder / file_name(str(site))
        target.mkdir(parents=True, exist_ok=True)
        policy = policies.loc[site] if site in policies.index else None
        _write_book(target / "register.xlsx", str(site), rows, _about(policy, settings, run_id))
        _write_places(target / "openings.geojson", rows, spots, degrees)


def _register(tables: Tables) -> pd.DataFrame:
    """Every opening with its class, its decision and the reason."""
    reach = pd.DataFrame(tables["reach"])
    wanted = ["end_id", "is_needed", "need_reason", "is_designed", "not_designed_reason",
              "hold_reach", "hold_words", "design_head_m", "layer_mm", "sealant_ml",
              "sleeves_words", "assumed"]  # fmt: skip
    designs = pd.DataFrame(tables["designs"])[wanted].rename(columns={"end_id": "opening_id"})
    rows = reach.merge(designs, on="opening_id", how="left")
    rows["where"] = rows["building_id"].fillna(rows["chamber_id"])
    contents = dict(zip(tables["ends"]["end_id"], tables["ends"]["contents"], strict=True))
    rows["cables"] = [_plain(contents.get(o)) for o in rows["opening_id"]]
    chosen = _chosen(tables)
    left = dict(
        zip(tables["choices"]["building_id"], tables["choices"]["left_out_reason"], strict=True)
    )
    rows["decision"] = [_decision(r, chosen, left) for r in rows.to_dict("records")]
    return rows


def _chosen(tables: Tables) -> dict[str, str]:
    """Ends of the chosen packages, and which package in which year seals each."""
    choices = tables["choices"]
    chosen = choices[choices["is_chosen"].astype(bool)]
    year = dict(zip(chosen["package_id"], chosen["year"], strict=True))
    packages = tables["packages"]
    said: dict[str, str] = {}
    for package, ends in zip(packages["package_id"], packages["end_ids"], strict=True):
        if package in year:
            for end in _plain(ends).split(";"):
                said[end.strip()] = f"in package {package}, year {year[package]}"
    return said


def _decision(row: dict[str, Any], chosen: dict[str, str], left: dict[str, Any]) -> str:
    if row["opening_kind"] == "chamber end":
        return "no seal here: sealed at the wall where needed"
    if not bool(row["is_sealable"]):
        above = row["level_class"] == contract.ABOVE
        return "no duct seal closes it" + ("" if above else "; it stays open: other means")
    if pd.isna(row["is_needed"]):
        return "not designed"
    if not bool(row["is_needed"]):
        return f"no seal: {_plain(row['need_reason'])}"
    held = _SAID.get(_plain(row["hold_reach"]), "")
    tail = f"; {held}" if held else ""
    if row["opening_id"] in chosen:
        return f"to be sealed {chosen[row['opening_id']]}{tail}"
    why = _plain(left.get(row["building_id"])) or "it does not change when water comes in"
    return f"not in the programme: {why}{tail}"


def _about(policy: Any, settings: Settings, run_id: str) -> str:
    words = f"{settings.programme.name}, run {run_id}, planned {settings.planning_date}, levels on "
    words += settings.reference.vertical_datum
    if policy is not None:
        words += (
            f"; design event {policy['design_aep_per_year']:.2%} a year, climate "
            f"{policy['climate']}, {policy['defences']} defences, freeboard "
            f"{policy['freeboard_m']:.2f} m"
        )
    note = papers_say(settings)
    return f"{words}. {note.capitalize()}" if note else f"{words}."


def _write_book(path: Path, site: str, rows: pd.DataFrame, about: str) -> None:
    book = Book(path, title=f"Register of openings, {site}", run_label=about)
    walls = rows[rows["opening_kind"] != "chamber end"].sort_values(["where", "opening_id"])
    mouths = rows[rows["opening_kind"] == "chamber end"].sort_values(["where", "opening_id"])
    for name, part in (("Openings of buildings", walls), ("Ends in chambers", mouths)):
        sheet = book.sheet(name, f"{name}, {site}", "", _REGISTER)
        book.table(sheet, part, _REGISTER)
    held = walls[walls["hold_words"].notna()].rename(columns={"opening_id": "id"})
    held = held.assign(end_id=held["id"])
    book.table(book.sheet("Holds", f"What has to be released, {site}", "", _HOLDS), held, _HOLDS)
    book.close()


def _write_places(
    path: Path, rows: pd.DataFrame, spots: dict[str, tuple[float, float]], degrees: Degrees
) -> None:
    """Openings as GeoJSON (longitude, latitude, WGS 84: RFC 7946 knows no other system)."""
    features = []
    for row in rows.sort_values("opening_id").to_dict("records"):
        at = degrees.point(*spots[row["opening_id"]]) if row["opening_id"] in spots else None
        facts = {
            c.name: (None if pd.isna(row[c.name]) else row[c.name])
            for c in _REGISTER
            if c.name in row
        }
        shape = None if at is None else {"type": "Point", "coordinates": [at[1], at[0]]}
        features.append({"type": "Feature", "id": row["opening_id"], "geometry": shape,
                         "properties": facts})  # fmt: skip
    text = json.dumps(
        {"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1
    )
    path.write_text(text + "\n", encoding="utf-8")


def _plain(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)

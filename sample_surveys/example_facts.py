"""What differs from the usual in the example: typed facts by sheet and id, and added rows.

`SPECIALS` changes every row of a sheet whose id begins with the given text; the value None blanks
a cell, and `DROP` takes the rows out. These are true facts of the invented sites (old walls,
wet chambers, unseen contents), not mistakes of the surveyors: those stand in faults.toml.
"""

from __future__ import annotations

from typing import Any, Final

from sample_surveys.example_land import DATUM
from sample_surveys.example_survey import Book

DROP: Final = "drop"
ID_OF_SHEET: Final = {
    "visits": "visit_id",
    "sites": "site_id",
    "buildings": "building_id",
    "chambers": "chamber_id",
    "entries": "entry_id",
    "ducts": "end_id",
    "cables": "cable_id",
    "seals_now": "seal_id",
    "level_points": "point_id",
    "flood_levels": "flood_id",
    "observations": "obs_id",
    "photos": "photo_id",
}
_UNSEEN: Final[dict[str, Any]] = {
    "contents": "not seen",
    "draw_cord": "not seen",
    "bore_mm": None,
    "bore_method": None,
    "shape": "not seen",
    "seen": "counted only",
    "clear_depth_mm": "not probed",
    "use": "unknown",
    "mouth": "not seen",
    "water_now": "not seen",
    "material": "unknown",
}
_NOT_REACHED: Final = _UNSEEN | {"seen": "not reached"}

SPECIALS: Final[tuple[tuple[str, str, Any], ...]] = (
    # held until released: asbestos, fire barriers, other people's ducts, services
    ("buildings", "N07-B1", {"built_year": 1968, "asbestos_suspect": "unknown"}),
    (
        "buildings",
        "N08-B1",
        {"built_year": None, "asbestos_suspect": "unknown", "other_openings": "not checked"},
    ),
    (
        "buildings",
        "S05-B1",
        {
            "built_year": 1957,
            "asbestos_suspect": "yes",
            "other_openings": "drain",
            "drain_to": "sewer",
        },
    ),
    ("buildings", "S02-B2", {"fire_wall": "unknown"}),
    ("buildings", "S07-B1", {"fire_wall": "yes"}),
    ("entries", "N07-B1-", {"asbestos_suspect": "unknown"}),
    ("entries", "N08-B1-", {"asbestos_suspect": "unknown"}),
    ("entries", "S05-B1-", {"asbestos_suspect": "yes"}),
    ("entries", "S02-B2-", {"fire_wall": "unknown"}),
    ("entries", "S07-B1-", {"fire_wall": "yes"}),
    ("entries", "I04-B2-", {"fire_wall": "yes"}),
    ("entries", "S07-B1-E1", {"ways_seen": 5}),
    ("buildings", "I04-B2", {"fire_wall": "yes"}),
    ("chambers", "NA06-C7", {"owner": "other utility"}),
    ("chambers", "NA06-C6", {"owner": "other utility"}),
    ("ducts", "I05-B1-E1-", {"material": "asbestos-cement suspect"}),
    ("ducts", "S05-B2-E2-01", {"use": "water or gas pipe", "contents": "empty"}),
    ("cables", "S05-B2-E2-01", DROP),
    ("cables", "N02-B1-E3-01-K1", {"filling": "oil or gas pressure", "class": "EHV"}),
    ("cables", "S05-B2-E1-01-K1", {"filling": "unknown", "class": "HV"}),
    ("chambers", "S04-C6", {"kind": "wet well"}),
    # not seen, not reached
    ("ducts", "NA01-B1-", _UNSEEN),
    ("cables", "NA01-B1-", DROP),
    ("ducts", "NA02-B1-E1-", _UNSEEN),
    ("cables", "NA02-B1-E1-", DROP),
    ("ducts", "N05-B2-E2-", _UNSEEN),
    ("cables", "N05-B2-E2-", DROP),
    ("ducts", "S04-B2-E3-", _NOT_REACHED),
    ("cables", "S04-B2-E3-", DROP),
    ("ducts", "I02-B2-E1-", _NOT_REACHED),
    ("cables", "I02-B2-E1-", DROP),
    ("ducts", "N09-B1-E3-", _UNSEEN),
    ("cables", "N09-B1-E3-", DROP),
    ("ducts", "N04-B2-", _UNSEEN),
    ("cables", "N04-B2-", DROP),
    ("ducts", "NA05-B1-E3-", _UNSEEN),
    ("cables", "NA05-B1-E3-", DROP),
    ("ducts", "S04-B1-E2-", _UNSEEN),
    ("cables", "S04-B1-E2-", DROP),
    ("ducts", "I05-B1-E3-", _NOT_REACHED),
    ("cables", "I05-B1-E3-", DROP),
    ("ducts", "S03-B1-E3-", {"contents": "not seen", "seen": "part"}),
    ("cables", "S03-B1-E3-", DROP),
    # water
    ("chambers", "N03-C1", {"water_state": "standing", "water_below_cover_m": 1.10}),
    ("chambers", "S05-C1", {"water_state": "full", "water_below_cover_m": 0.0}),
    (
        "chambers",
        "I05-C1",
        {
            "water_state": "running",
            "water_below_cover_m": 0.95,
            "pumped_out": "yes",
            "refill_minutes": 25,
        },
    ),
    ("ducts", "N05-B1-E2-01", {"water_now": "run", "water_l_min": 3.5}),
    ("ducts", "S04-B1-E1-02", {"water_now": "drip"}),
    # other things that change the steps of the work
    ("cables", "NA04-B1-E1-01-K1", {"class": "earth"}),
    ("ducts", "S08-B1-E1-0", {"material": "steel"}),
    ("ducts", "S02-B1-E3-", {"face": "floor", "lie": "floor (up)"}),
    ("entries", "S02-B1-E3", {"face": "floor"}),
    ("ducts", "N06-B1-E3-", {"face": "roof", "lie": "roof (down)"}),
    ("entries", "N06-B1-E3", {"face": "roof"}),
    ("entries", "I02-B1-E2", {"outdoors": "yes"}),
    ("ducts", "N09-B1-E2-01", {"clear_depth_mm": 60}),
    ("ducts", "S03-B1-E1-", {"clear_depth_mm": "not probed"}),
    ("entries", "S04-B1-E2", {"gap_around_duct": "open"}),
    ("entries", "NA08-B1-E2", {"gap_around_duct": "crack"}),
    ("ducts", "N10-B1-E2-01", {"bore_mm": 260}),
    ("ducts", "N01-B2-E1-", {"material": "ribbed plastic"}),
    ("ducts", "N03-B1-E2-", {"material": "clay"}),
    ("ducts", "S01-B1-E3-02", {"mouth": "broken", "sound_from_mm": 40}),
    ("ducts", "NA06-B1-E2-02", {"mouth": "bell", "sound_from_mm": 55}),
    ("ducts", "I01-B1-E2-", {"bore_method": "judged"}),
    ("ducts", "N10-B1-E3-03", {"contents": "draw cord only", "use": "spare", "draw_cord": "yes"}),
    ("cables", "N10-B1-E3-03", DROP),
    ("cables", "S08-B1-E3-01-K1", {"covering": "fibrous wrap"}),
    # doors, hatches, cracks; walls without an engineer's figure are left as they are
    ("buildings", "NA05-B1", {"other_openings": "hatch"}),
    ("buildings", "I05-B1", {"other_openings": "crack"}),
    ("buildings", "S04-B2", {"other_openings": "trench cover"}),
    # heights of poorer methods
    (
        "level_points",
        "P-S04-C3",
        {
            "method": "drawing",
            "u_m": None,
            "year": 1998,
            "from_point_id": None,
            "closure_mm": None,
            "run_km": None,
        },
    ),
    (
        "level_points",
        "P-N08-C3",
        {"method": "lidar", "u_m": None, "from_point_id": None, "closure_mm": None, "run_km": None},
    ),
)

_SUB_DUCT: Final[dict[str, Any]] = {
    "place_kind": "entry",
    "place_id": "N04-B1-E3",
    "face": "C",
    "shape": "sub-duct",
    "bore_mm": 32,
    "bore_method": "rule",
    "material": "smooth plastic",
    "use": "telecom",
    "contents": "empty",
    "draw_cord": "no",
    "parent_end_id": "N04-B1-E3-01",
    "level_method": "offset from floor",
    "ref_point_id": "P-N04-B1",
    "above_m": -1.55,
    "measured_to": "invert",
    "far_place_id": "N04-C4",
    "far_proof": "rodded",
    "water_now": "dry",
    "mouth": "flush",
    "clear_depth_mm": "not probed",
    "lie": "level",
    "seal_from": "building",
    "seen": "full",
    "photo_id": "PH-N04-B1-E3-C",
    "visit_id": "V-N04",
}
ADDED: Final[tuple[tuple[str, dict[str, Any]], ...]] = (
    ("ducts", {"end_id": "N04-B1-E3-11", "row_no": 1, "col_no": 3, **_SUB_DUCT}),
    ("ducts", {"end_id": "N04-B1-E3-12", "row_no": 1, "col_no": 4, **_SUB_DUCT}),
    (
        "seals_now",
        {
            "seal_id": "Z-01",
            "end_id": "S01-B1-E3-01",
            "kind": "mortar",
            "condition": "sound",
            "water_passing": "none",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "year": 2022,
            "proposal": "keep",
            "inspected_on": "2025-05-20",
            "rated_head_m": 4.0,
            "evidence": "test sheet T-17",
            "removal": "power tools",
        },
    ),
    (
        "seals_now",
        {
            "seal_id": "Z-02",
            "end_id": "N01-B2-E1-02",
            "kind": "foam",
            "condition": "weeping",
            "water_passing": "drip",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "year": 2009,
            "proposal": "take out",
            "removal": "by hand",
        },
    ),
    (
        "seals_now",
        {
            "seal_id": "Z-03",
            "end_id": "N03-B1-E1-01",
            "kind": "mastic",
            "condition": "sound",
            "water_passing": "none",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "year": 2014,
            "proposal": "over-seal",
            "removal": "by hand",
        },
    ),
    (
        "seals_now",
        {
            "seal_id": "Z-04",
            "end_id": "NA04-B1-E1-02",
            "kind": "putty",
            "condition": "cracked",
            "water_passing": "none",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "proposal": "take out",
            "removal": "by hand",
        },
    ),
    (
        "seals_now",
        {
            "seal_id": "Z-05",
            "end_id": "S01-C3-01",
            "kind": "bung",
            "condition": "sound",
            "water_passing": "none",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "year": 2019,
            "proposal": "keep",
            "removal": "by hand",
        },
    ),
    (
        "seals_now",
        {
            "seal_id": "Z-06",
            "end_id": "I01-B1-E1-01",
            "kind": "wrap and compound",
            "condition": "loose",
            "water_passing": "damp",
            "fire_label": "no",
            "asbestos_suspect": "no",
            "year": 1994,
            "proposal": "take out",
            "removal": "power tools",
        },
    ),
    (
        "flood_levels",
        {
            "flood_id": "F-01",
            "applies_to": "NA03",
            "source": "river",
            "kind": "report",
            "event": "1 %",
            "climate": "included: epoch 2055",
            "defences": "with",
            "value_is": "level",
            "value_m": 21.40,
            "datum": DATUM,
            "freeboard_in": "no",
            "u_m": 0.12,
            "issued": "2024-05-14",
        },
    ),
    (
        "flood_levels",
        {
            "flood_id": "F-02",
            "applies_to": "NA03",
            "source": "river",
            "kind": "report",
            "event": "10 %",
            "climate": "included: epoch 2055",
            "defences": "with",
            "value_is": "level",
            "value_m": 20.70,
            "datum": DATUM,
            "freeboard_in": "no",
            "u_m": 0.12,
            "issued": "2024-05-14",
        },
    ),
    (
        "flood_levels",
        {
            "flood_id": "F-03",
            "applies_to": "S05",
            "source": "sewer",
            "kind": "report",
            "event": "1 %",
            "climate": "included: epoch 2055",
            "defences": "with",
            "value_is": "level",
            "value_m": 10.95,
            "datum": DATUM,
            "freeboard_in": "no",
            "u_m": 0.12,
            "issued": "2023-11-02",
        },
    ),
    (
        "flood_levels",
        {
            "flood_id": "F-04",
            "applies_to": "N05",
            "source": "past flood",
            "kind": "mark",
            "event": "past: 2012-11-24",
            "climate": "none",
            "defences": "with",
            "value_is": "level",
            "value_m": 10.62,
            "datum": DATUM,
            "freeboard_in": "no",
            "u_m": 0.05,
            "issued": "2013-02-01",
        },
    ),
    (
        "flood_levels",
        {
            "flood_id": "F-05",
            "applies_to": "I04",
            "source": "sea",
            "kind": "report",
            "event": "1 in 100",
            "climate": "included: epoch 2055",
            "defences": "with",
            "value_is": "level",
            "value_m": 3.42,
            "datum": DATUM,
            "freeboard_in": "no",
            "u_m": 0.10,
            "issued": "2024-08-19",
        },
    ),
    (
        "observations",
        {
            "obs_id": "O-01",
            "place_id": "N03-C1",
            "visit_id": "V-N03",
            "what": "water level",
            "value": 1.10,
            "unit": "m",
            "note": "clear water over the floor, no flow seen",
            "needs_reply_from": "nobody",
        },
    ),
    (
        "observations",
        {
            "obs_id": "O-02",
            "place_id": "N07-B1",
            "visit_id": "V-N07",
            "what": "tide mark",
            "value": -1.20,
            "unit": "m",
            "note": "brown line on the basement wall",
            "needs_reply_from": "manager",
        },
    ),
    (
        "observations",
        {
            "obs_id": "O-03",
            "place_id": "S08-C1",
            "visit_id": "V-S08",
            "what": "silt",
            "value": 90,
            "unit": "mm",
            "note": "soft silt on the floor",
            "needs_reply_from": "nobody",
        },
    ),
    (
        "observations",
        {
            "obs_id": "O-04",
            "place_id": "I05-C1",
            "visit_id": "V-I05",
            "what": "flow",
            "value": 2,
            "unit": "l/min",
            "note": "steady trickle from the south wall",
            "needs_reply_from": "owner's engineer",
        },
    ),
)
# buildings round which the river model has no data, and chambers where the water table stands high
HOLES: Final = ("N07-B1", "S02-B2", "NA06-B2")
SPRINGS: Final = ("S05-B2", "N08-B1")


# half the buildings have their outline in a layer; of three more the rover took the position
FOOTPRINTS: Final = (
    "N01-B1", "N02-B1", "N03-B1", "N04-B1", "N04-B2", "N05-B1", "N07-B1", "N09-B1", "N09-B2",
    "N10-B1", "S01-B1", "S02-B1", "S03-B1", "S04-B1", "S04-B2", "S08-B1", "NA04-B1", "NA06-B1",
    "NA06-B2", "NA08-B1", "I01-B1", "I02-B1", "I02-B2", "I04-B1",
)  # fmt: skip
ROVER_BUILDINGS: Final = ("I04-B2", "S02-B2", "S05-B2")


def apply_facts(book: Book) -> None:
    """Apply the typed facts and rows to the rows of one region."""
    for sheet, start, change in SPECIALS:
        key = ID_OF_SHEET[sheet]
        rows = book.sheets[sheet]
        if change == DROP:
            book.sheets[sheet] = [r for r in rows if not str(r[key]).startswith(start)]
            continue
        for row in rows:
            if str(row[key]).startswith(start):
                row.update(change)
    sites = {row["site_id"] for row in book.sheets["sites"]}
    for sheet, row in ADDED:
        told = str(row.get("end_id") or row.get("place_id") or row.get("applies_to"))
        if told.split("-", maxsplit=1)[0] in sites:
            book.sheets[sheet].append(dict(row))

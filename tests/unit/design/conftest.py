"""Builders of small surveys for the design stage."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core.materials import Materials, load
from pipeline.core.settings import Settings
from pipeline.design import design
from pipeline.tables import REGISTRY, Tables

ROW = {"file": "s.xlsx", "row_state": "used"}
END = {
    **ROW,
    "sheet": "ducts",
    "row": 7,
    "end_id": "D1",
    "place_kind": "entry",
    "place_id": "E1",
    "face": "A",
    "row_no": 1,
    "col_no": 1,
    "shape": "round",
    "bore_mm": 125.0,
    "bore_method": "calliper",
    "material": "smooth plastic",
    "duct_use": "power",
    "contents": "empty",
    "draw_cord": "no",
    "far_place_id": "C1",
    "water_now": "dry",
    "mouth": "flush",
    "clear_depth_word": "300 or more",
    "lie": "level",
    "seal_from": "building",
    "seen": "full",
    "is_unlisted": False,
    "building_id": "B1",
    "site_id": "S1",
}
CABLE = {
    **ROW,
    "sheet": "cables",
    "row": 9,
    "cable_id": "K1",
    "end_id": "D1",
    "cable_count": 1,
    "diameter_mm": 36.0,
    "size_method": "calliper (authorised person)",
    "arrangement": "single",
    "cores": "3",
    "cable_class": "LV",
    "covering": "plastic",
    "filling": "solid",
    "condition": "sound",
    "dead": "no",
}
REACH = {
    "opening_id": "D1",
    "opening_kind": "duct end",
    "end_id": "D1",
    "building_id": "B1",
    "site_id": "S1",
    "region": "North",
    "is_sealable": True,
    "opening_level_m": 10.0,
    "level_class": "below",
    "margin_is_bound": False,
    "reason": "river over cover",
    "way": "through duct",
    "policy_level_m": 11.0,
    "rarest_level_m": 11.5,
    "mechanism": "river",
    "has_pedigree": True,
    "is_proved_way": True,
}
BASE = {
    "sites": [
        {**ROW, "sheet": "sites", "row": 2, "site_id": "S1", "region": "North",
         "site_type": "substation"}
    ],
    "buildings": [
        {**ROW, "sheet": "buildings", "row": 2, "building_id": "B1", "site_id": "S1",
         "built_year": 2010, "fire_wall": "no", "asbestos_suspect": "no"}
    ],
    "chambers": [
        {**ROW, "sheet": "chambers", "row": 2, "chamber_id": "C1", "site_id": "S1", "owner": "own",
         "kind": "draw pit", "water_state": "dry"}
    ],
    "entries": [
        {**ROW, "sheet": "entries", "row": 2, "entry_id": "E1", "building_id": "B1", "face": "A",
         "kind": "duct bank", "gap_around_duct": "none", "fire_wall": "no", "outdoors": "no",
         "asbestos_suspect": "no", "seen_from": "inside"}
    ],
    "levels": [
        {"thing_kind": "duct end", "thing_id": "D1", "site_id": "S1", "level_m": 10.0,
         "has_pedigree": True},
        {"thing_kind": "cover", "thing_id": "C1", "site_id": "S1", "level_m": 10.8,
         "has_pedigree": True},
    ],
}  # fmt: skip

Make = Callable[..., Tables]


def survey(**changes: Any) -> Tables:
    """Tables of one building; `ends`, `cables`, … are lists of changes to a usual row."""
    patterns: dict[str, dict[str, Any]] = {
        "ends": END,
        "cables": CABLE,
        "seals": {**ROW, "sheet": "seals_now", "row": 3, "seal_id": "Q1", "end_id": "D1",
                  "asbestos_suspect": "no", "made_year": 2015, "removal": "by hand",
                  "kind": "mortar", "condition": "cracked", "water_passing": "none",
                  "fire_label": "no"},
        **{name: rows[0] for name, rows in BASE.items()},
    }  # fmt: skip
    lists: dict[str, list[dict[str, Any]]] = {
        n: [dict(r) for r in rows] for n, rows in BASE.items()
    }
    lists["ends"] = [dict(END)]
    for name, rows in changes.items():
        if name in patterns:
            lists[name] = [{**patterns[name], **row} for row in rows]
        elif name != "reach":
            lists[name] = list(rows)
    reach = changes.get("reach")
    lists["reach"] = (
        [{**REACH, **row} for row in reach]
        if reach is not None
        else [
            {**REACH, "opening_id": e["end_id"], "end_id": e["end_id"]}
            for e in lists["ends"]
            if e["place_kind"] == "entry"
        ]
    )
    out: Tables = {}
    for name in (
        "sites", "buildings", "chambers", "entries", "ends", "cables", "seals", "columns",
        "levels", "floods", "links", "reach", "reach_sources",
    ):  # fmt: skip
        frame = pd.DataFrame(lists.get(name, []))
        unknown = set(frame.columns) - set(REGISTRY[name].names)
        assert not unknown, f"no such columns in {name}: {unknown}"
        out[name] = frame
    return out


def wide(materials: Materials) -> Materials:
    """Materials with a partial factor of 1.5 and a tested head of 5 m, whatever the file says."""
    envelope = materials.sealant.envelope.model_copy(update={"head_m": 5.0})
    sealant = materials.sealant.model_copy(update={"envelope": envelope, "factor": 1.5})
    return materials.model_copy(update={"sealant": sealant})


@pytest.fixture(scope="session")
def materials(root: Path) -> Materials:
    """The example materials."""
    return wide(load(root / "configs" / "materials_example.toml"))


@pytest.fixture(scope="session")
def settings(root: Path) -> Settings:
    """Settings of the clean sample with a fixed design policy, without looking at its files."""
    raw = tomllib.loads((root / "configs" / "clean.toml").read_text("utf-8"))
    raw["programme"]["planning_date"] = "2030-06-01"
    raw["surveys"]["seal_age_years"] = 5
    raw["value"]["asbestos_year"] = 2000
    raw["design"] = {
        "materials": "m.toml",
        "layer_mm": 20,
        "allowance_frac": {"waste": 0.10, "penetration": 0.05, "ribbed bore": 0.12,
                           "judged bore": 0.08, "outdoor slope": 0.04},
        "clearance_mm": 6,
        "separate_cables": True,
    }  # fmt: skip
    return Settings.model_validate(raw)


@pytest.fixture
def run(settings: Settings, materials: Materials) -> Callable[..., Tables]:
    """Design a survey made by `survey`, with changes of the design settings as `policy`."""

    def go(
        policy: dict[str, Any] | None = None, stuff: Materials | None = None, **changes: Any
    ) -> Tables:
        own = settings.model_copy(
            update={"design": settings.design.model_copy(update=policy or {})}
        )
        return design(survey(**changes), own, materials=stuff or materials)

    return go


@pytest.fixture
def one(run: Callable[..., Tables]) -> Callable[..., dict[str, Any]]:
    """The designs row of end D1 of a survey."""

    def go(**changes: Any) -> dict[str, Any]:
        designs = run(**changes)["designs"]
        rows: list[dict[str, Any]] = designs[designs["end_id"] == "D1"].to_dict("records")
        return rows[0]

    return go

"""Water from tables of model nodes against hand values: other bank, tributary, weir, between nodes."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from pipeline.core import contract
from pipeline.core.errors import UsageError
from pipeline.core.settings import Source
from pipeline.intake.node_tables import read_nodes
from pipeline.levels.floods_grid import Place, Places
from pipeline.levels.floods_nodes import node_rows
from pipeline.levels.river import Profile, foot_on_line, level_at

# A river that runs east along y = 0: chainage 0 at x = 0, falling 12.00 to 11.00 m over 1,000 m,
# with a tributary that comes down from the north along x = 500 and is 1.5 m lower at its nodes.
MAIN = [
    ("Main", "M1", 0.0, 0.0, 0.0, "both", None, 12.00),
    ("Main", "M2", 400.0, 400.0, 0.0, "both", None, 11.60),
    ("Main", "M3", 1000.0, 1000.0, 0.0, "both", None, 11.00),
]
SIDE = [
    ("Brook", "B1", 0.0, 500.0, 400.0, "both", None, 10.30),
    ("Brook", "B2", 390.0, 500.0, 10.0, "both", None, 10.10),
]
_NAMES = ("reach", "node", "chainage_m", "x_m", "y_m", "bank", "structure", "level_m")


def source(**more: Any) -> Source:
    """A node table of the 1 in 100 event; within 150 m of a reach its water counts."""
    return Source.model_validate(
        {"id": "nodes", "kind": "node table", "mechanism": "river", "aep": 0.01,
         "path": Path("nodes.csv"), "datum": "National 1990", "climate": "present", "defences": "with",
         "issued": dt.date(2025, 3, 1), "within_m": 150.0, **more}
    )  # fmt: skip


def answers(
    nodes: list[tuple[Any, ...]], *spots: tuple[float, float], plan_u_m: float = 0.0
) -> tuple[list[dict[str, Any]], list[Any]]:
    """Rows at chambers that stand at the spots."""
    frame = pd.DataFrame(nodes, columns=list(_NAMES))
    frame = frame.assign(source_id="nodes", aep_per_year=0.01)
    places = tuple(
        Place("chamber", f"C{i}", "S1", x, y, plan_u_m, None, np.nan, "survey.xlsx")
        for i, (x, y) in enumerate(spots)
    )
    none = gpd.GeoDataFrame({"source_id": []}, geometry=[], crs="EPSG:3035")
    settings: Any = SimpleNamespace(
        reference=SimpleNamespace(vertical_datum="National 1990", shift=())
    )
    tables = {"flood_nodes": frame, "flood_domains": none}
    return node_rows(Places(places, None), tables, settings, source())


def test_between_two_nodes_by_chainage() -> None:
    """x = 700 is half way from 400 to 1,000: half way from 11.60 to 11.00 is 11.30 (by hand)."""
    (row,), said = answers(MAIN, (700.0, 50.0))
    assert row["level_m"] == pytest.approx(11.30, abs=1e-9)
    assert row["answer"] == contract.LEVEL
    assert row["distance_m"] == pytest.approx(50.0)
    assert "chainage 700.0 m, left bank" in row["origin"]
    assert said == []


def test_never_the_nearest_node() -> None:
    """Nearest to x = 650 is M2 (250 m off) with 11.60; the water there is 11.60 - 0.001 x 250."""
    (row,), _ = answers(MAIN, (650.0, -30.0))
    assert row["level_m"] == pytest.approx(11.35, abs=1e-9)


def test_a_nearer_tributary_does_not_hide_the_river() -> None:
    """60 m from the brook (10.1 to 10.3 m) and 100 m from the river: the river's 11.44 m counts."""
    (row,), _ = answers(MAIN + SIDE, (560.0, 100.0))
    assert row["level_m"] == pytest.approx(12.0 - 0.56, abs=1e-9)
    assert "reach Main" in row["origin"]


def test_the_other_bank_is_not_used() -> None:
    """Nodes of the right bank (south, as one looks east) say nothing of the left: asked."""
    right = [(*n[:5], "right", *n[6:]) for n in MAIN]
    (north, south), said = answers(right, (700.0, 50.0), (700.0, -50.0))
    assert north["answer"] == contract.NOT_MODELLED
    assert north["level_m"] is None
    assert south["level_m"] == pytest.approx(11.30, abs=1e-9)
    assert [(f.code, f.place_id) for f in said] == [("water-09", "C0")]
    assert "on the other bank" in said[0].message
    assert "50 m away" in said[0].message


def test_banks_of_their_own() -> None:
    """A bank keeps the left side lower: each side has its own nodes (by hand)."""
    left = [("Main", "L1", 0.0, 0.0, 5.0, "left", None, 11.2),
            ("Main", "L2", 1000.0, 1000.0, 5.0, "left", None, 10.2)]  # fmt: skip
    right = [("Main", "R1", 0.0, 0.0, -5.0, "right", None, 12.0),
             ("Main", "R2", 1000.0, 1000.0, -5.0, "right", None, 11.0)]  # fmt: skip
    (north, south), _ = answers(left + right, (500.0, 40.0), (500.0, -40.0))
    assert (north["level_m"], south["level_m"]) == (pytest.approx(10.7), pytest.approx(11.5))


def test_a_place_that_may_stand_on_either_bank_takes_the_higher() -> None:
    """Within its own doubt of the line the side is not known: the higher of both banks."""
    left = [("Main", "L1", 0.0, 0.0, 0.0, "left", None, 11.2),
            ("Main", "L2", 1000.0, 1000.0, 0.0, "left", None, 10.2)]  # fmt: skip
    right = [("Main", "R1", 0.0, 0.0, 0.0, "right", None, 12.0),
             ("Main", "R2", 1000.0, 1000.0, 0.0, "right", None, 11.0)]  # fmt: skip
    (row,), _ = answers(left + right, (500.0, 4.0), plan_u_m=5.0)
    assert row["level_m"] == pytest.approx(11.5)


def test_upstream_of_a_weir() -> None:
    """A weir at 600 between 11.60 (400) and 10.00 (1,000): at 550 the upstream value, not 11.20.

    Below it the drop is not known: the upstream value counts up to the next node (house rule).
    """
    weir = [*MAIN[:2], ("Main", "W", 600.0, 600.0, 0.0, "both", "weir", None),
            ("Main", "M3", 1000.0, 1000.0, 0.0, "both", None, 10.00)]  # fmt: skip
    rows, _ = answers(weir, (550.0, 20.0), (700.0, 20.0), (1000.0, 20.0), (200.0, 20.0))
    assert [r["level_m"] for r in rows] == pytest.approx([11.60, 11.60, 10.00, 11.80])


def test_a_weir_whose_upstream_face_is_a_node() -> None:
    """With 11.50 at the weir's face the water is even from 11.60 to it: 11.55 half way (by hand)."""
    weir = [*MAIN[:2], ("Main", "W", 600.0, 600.0, 0.0, "both", "weir", 11.50),
            ("Main", "M3", 1000.0, 1000.0, 0.0, "both", None, 10.00)]  # fmt: skip
    rows, _ = answers(weir, (500.0, 20.0), (700.0, 20.0))
    assert [r["level_m"] for r in rows] == pytest.approx([11.55, 11.50])


def test_beyond_the_ends() -> None:
    """Above the first node the water is higher by nobody knows what: not used; below the last, its level."""
    rows, said = answers(MAIN, (-100.0, 10.0), (1100.0, 10.0))
    assert rows[0]["answer"] == contract.NOT_MODELLED
    assert rows[1]["level_m"] == pytest.approx(11.00)
    assert "upstream of the first node" in said[0].message


def test_far_from_every_reach_nothing_is_said() -> None:
    """300 m off, with 150 m named in the settings: not modelled, and no question for each place."""
    (row,), said = answers(MAIN, (500.0, 300.0))
    assert row["answer"] == contract.NOT_MODELLED
    assert said == []


def test_even_water_by_numpy_and_shapely() -> None:
    """Random gauges without structures: numpy's interpolation, and shapely's foot on the line."""
    shapely = pytest.importorskip("shapely")
    rng = np.random.default_rng(4)
    for _ in range(200):
        at = np.cumsum(rng.uniform(5.0, 80.0, 8))
        level = np.sort(rng.uniform(5.0, 15.0, 8))[::-1]
        profile = Profile(at, level, np.array([]))
        s = float(rng.uniform(at[0], at[-1]))
        assert level_at(profile, s) == pytest.approx(float(np.interp(s, at, level)), abs=1e-9)
        line = np.cumsum(rng.uniform(-20.0, 60.0, (8, 2)), axis=0)
        x, y = rng.uniform(-50.0, 250.0, 2)
        foot = foot_on_line(line, at, float(x), float(y))
        away = shapely.distance(shapely.LineString(line), shapely.Point(x, y))
        assert foot.distance_m == pytest.approx(float(away), abs=1e-6)


def test_the_file_is_read_and_refused_in_words(tmp_path: Path) -> None:
    """A CSV with a semicolon, feet and a blank level; then a bank that is none, and a number that is none."""
    path = tmp_path / "nodes.csv"
    path.write_text(
        "reach;node;chainage_m;x_m;y_m;bank;structure;aep;level\n"
        "Main;M1;0;0;0;;;0.01;10\nMain;W;50;50;0;;weir;0.01;\nMain;M2;90;90;0;left;;0.01;-9999\n"
    )
    frame = read_nodes(source(path=path, aep=None, unit="ft"))
    assert frame["level_m"].iloc[0] == pytest.approx(3.048)  # 10 ft, exactly 0.3048 m each
    assert frame["level_m"].iloc[1:].isna().all()
    assert frame["bank"].tolist() == ["both", "both", "left"]
    path.write_text(path.read_text().replace("left", "north"))
    with pytest.raises(UsageError, match=r"row 4: bank is 'north'"):
        read_nodes(source(path=path, aep=None))
    path.write_text("reach,node,chainage_m,x_m,y_m,level\nMain,M1,zero,0,0,1\n")
    with pytest.raises(UsageError, match="row 2: chainage_m is 'zero'"):
        read_nodes(source(path=path))
    path.write_text("reach,node\nMain,M1\n")
    with pytest.raises(UsageError, match="has no column chainage_m"):
        read_nodes(source(path=path))


def test_settings_want_the_distance() -> None:
    """How far a reach's water reaches has no default, and belongs to node tables alone."""
    with pytest.raises(ValueError, match="within_m"):
        source(within_m=None)
    with pytest.raises(ValueError, match="within_m"):
        source(kind="polygon")

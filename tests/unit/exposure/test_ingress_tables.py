"""Flow by opening and hours by building: unknown things never give less water or more time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.core import contract
from pipeline.exposure.times import ingress
from pipeline.tables import hand_over
from pipeline.tables.ingress import FILLING, INGRESS

_ROW = {"file": "f.xlsx", "row_state": "used"}


def _tables(ends: list[dict[str, Any]], cables: list[dict[str, Any]] | None = None) -> Any:
    """One building of 20 m2, floor 10.0, equipment 10.8, with ends at its entry E1."""
    levels = [
        {"thing_kind": k, "thing_id": "B1", "level_m": v, "has_pedigree": True}
        for k, v in (("lowest floor", 10.0), ("equipment", 10.8))
    ]
    cables = cables or []
    rows: dict[str, list[dict[str, Any]]] = {
        "buildings": [{"building_id": "B1", "site_id": "S1", "floor_area_m2": 20.0}],
        "entries": [{"entry_id": "E1", "building_id": "B1"},
                    {"entry_id": "E2", "building_id": "B1", "width_mm": 100.0, "height_mm": 50.0}],
        "ends": [{"place_id": "E1", "building_id": "B1", "is_unlisted": False, **e} for e in ends],
        "cables": [{"cable_id": str(n), **c} for n, c in enumerate(cables)],
    }  # fmt: skip
    survey = {k: pd.DataFrame([{**_ROW, "sheet": k, **r} for r in v]) for k, v in rows.items()}
    return hand_over("test", {**survey, "levels": pd.DataFrame(levels)})


def _end(end: str = "D1", **changes: Any) -> dict[str, Any]:
    return {"end_id": end, "shape": "round", "bore_mm": 100.0, "contents": "empty",
            "material": "smooth plastic", **changes}  # fmt: skip


def _reach(opening: str = "D1", **changes: Any) -> dict[str, Any]:
    return {
        "opening_id": opening, "opening_kind": "duct end", "end_id": opening, "entry_id": "E1",
        "building_id": "B1", "site_id": "S1", "is_sealable": True, "opening_level_m": 10.0,
        "level_class": contract.BELOW, "margin_is_bound": False, "reason": "r",
        "way": contract.THROUGH_DUCT, "policy_level_m": 12.0, "limit_mm": 100.0,
        "has_pedigree": True, "is_proved_way": True, **changes,
    }  # fmt: skip


def _link(end: str = "D1", length_m: float = 30.0) -> dict[str, Any]:
    return {"link_id": f"{end} - C1", "kind": "one end seen", "end_a_id": end, "place_a_id": "E1",
            "is_proved": True, "is_blocked": False, "length_m": length_m}  # fmt: skip


def _made(
    tables: Any, reach: list[dict[str, Any]], links: list[dict[str, Any]]
) -> tuple[pd.DataFrame, pd.Series]:
    way = hand_over("test", {"reach": pd.DataFrame(reach), "links": pd.DataFrame(links)})
    flows, filling = ingress(tables, way["reach"], way["links"])
    return flows.set_index("opening_id"), filling.set_index("building_id").loc["B1"]


def test_short_hole_by_hand() -> None:
    """Empty 100 mm hole reached over ground, 2 m: 0.8165 x 7854 mm2 x 6.264 m/s = 40.17 l/s; 20 m2
    to 0.8 m at a falling head: 2 A (sqrt 2 - sqrt 1.2)/(c) = 314.2 s."""
    flows, room = _made(_tables([_end()]), [_reach(way=contract.OVER_GROUND)], [_link()])
    assert flows.loc["D1", "flow_l_per_s"] == pytest.approx(40.17, abs=0.01)
    c = 0.8165 * math.pi / 4 * 0.1**2 * math.sqrt(2 * 9.81)
    want = 2 * 20.0 * (math.sqrt(2.0) - math.sqrt(1.2)) / c / 3600
    assert room["earliest_h"] == pytest.approx(want, rel=1e-4)
    assert room["answer"] == "hours"
    assert room["words"] == f"not sooner than {math.floor(want * 60)} min"


def test_length_and_cables_slow_it() -> None:
    """A longer duct, cables in it and a rougher wall let less through."""
    short, _ = _made(_tables([_end()]), [_reach()], [_link(length_m=5.0)])
    long, _ = _made(_tables([_end()]), [_reach()], [_link(length_m=50.0)])
    rough, _ = _made(_tables([_end(material="concrete")]), [_reach()], [_link(length_m=50.0)])
    cables = [{"end_id": "D1", "cable_count": 2, "diameter_mm": 35.0}]
    full, _ = _made(_tables([_end(contents="cables")], cables), [_reach()], [_link(length_m=50.0)])
    flow = [float(f.loc["D1", "flow_l_per_s"]) for f in (short, long, rough, full)]
    assert flow[0] > flow[1] > flow[2]
    assert flow[1] > flow[3] > 0.0
    assert full.loc["D1", "free_area_mm2"] == pytest.approx(math.pi / 4 * (100.0**2 - 2 * 35.0**2))


@pytest.mark.parametrize(
    "gone", ["cables", "diameter", "material", "length", "contents", "cables do not fit"]
)
def test_less_knowledge_is_never_less_water(gone: str) -> None:
    """Each unknown fact gives at least as much flow and no more time, and is named."""
    known = [{"end_id": "D1", "cable_count": 2, "diameter_mm": 35.0}]
    base, room = _made(
        _tables([_end(contents="cables", material="concrete")], known), [_reach()], [_link()]
    )
    end, cables, length = _end(contents="cables", material="concrete"), known, 30.0
    if gone == "cables":
        cables = []
    elif gone == "diameter":
        cables = [{**known[0], "diameter_mm": np.nan}]
    elif gone == "cables do not fit":
        cables = [{**known[0], "cable_count": 20}]
    elif gone == "material":
        end["material"] = "unknown"
    elif gone == "length":
        length = np.nan
    else:
        end["contents"], cables = "not seen", []
    less, later = _made(_tables([end], cables), [_reach()], [_link(length_m=length)])
    assert less.loc["D1", "flow_l_per_s"] > base.loc["D1", "flow_l_per_s"]
    assert later["earliest_h"] < room["earliest_h"]
    assert isinstance(less.loc["D1", "assumed"], str)


@pytest.mark.parametrize(
    ("end", "reach", "missing"),
    [
        ({"bore_mm": np.nan}, {}, "size not known"),
        ({"shape": "rectangular"}, {}, "size not known"),
        ({}, {"level_class": contract.NO_LEVEL, "opening_level_m": np.nan}, "no level"),
        ({}, {"level_class": contract.NO_FLOOD, "policy_level_m": np.nan}, "no flood level"),
    ],
)
def test_unknown_is_not_zero(end: dict[str, Any], reach: dict[str, Any], missing: str) -> None:
    """A flow that is not known is blank, says why, and leaves the building's hours unknown."""
    tables = _tables([_end(), _end("D2", **end)])
    flows, room = _made(tables, [_reach(), _reach("D2", **reach)], [_link(), _link("D2")])
    assert math.isnan(flows.loc["D2", "flow_l_per_s"])
    assert flows.loc["D2", "missing"] == missing
    assert room["answer"] == "not known"
    assert math.isnan(room["earliest_h"])
    assert room["ducts_alone_h"] > 0.0
    assert room["uncounted_count"] == 1
    assert "1 x duct end" in room["words"]


@pytest.mark.parametrize(
    ("table", "column", "words"),
    [
        ("buildings", "floor_area_m2", "plan area not known"),
        ("levels", "level_m", "lowest floor without level; height of the equipment not known"),
    ],
)
def test_room_not_known(table: str, column: str, words: str) -> None:
    """Plan area and levels of the room are never assumed."""
    tables = _tables([_end()])
    tables[table][column] = np.nan
    _, room = _made(tables, [_reach()], [_link()])
    assert (room["answer"], room["words"]) == ("not known", words)
    assert math.isnan(room["earliest_h"])
    assert math.isnan(room["ducts_alone_h"])
    assert room["inflow_l_per_s"] > 0.0


def test_doors_gaps_and_lost_openings_are_named() -> None:
    """Ways whose flow nobody works out leave the hours unknown: also one that names no building."""
    others = [
        _reach("B1/door", opening_kind="door", end_id=None, entry_id=None, is_sealable=False),
        _reach("D9", building_id=None, entry_id=None),
        _reach("D8", building_id=None, entry_id=None, site_id="S2"),
        _reach("C1-D1", opening_kind="chamber end", building_id=None),
        _reach("B1/vent", opening_kind="vent", end_id=None, level_class=contract.ABOVE),
    ]
    _, room = _made(_tables([_end()]), [_reach(), *others], [_link()])
    assert room["answer"] == "not known"
    assert room["words"] == "not counted although water may come in: 1 x door, 1 x duct end"


def test_above_and_too_close() -> None:
    """`above` gives no flow; too close to call flows under the level with its doubt on top."""
    flows, room = _made(
        _tables([_end()]),
        [_reach(level_class=contract.ABOVE, opening_level_m=13.0, policy_level_m=12.0)],
        [_link()],
    )
    assert flows.loc["D1", "flow_l_per_s"] == 0.0
    assert room["answer"] == "not reached"
    close, _ = _made(
        _tables([_end()]), [_reach(level_class=contract.CLOSE, opening_level_m=12.05)], [_link()]
    )
    assert close.loc["D1", "head_m"] == pytest.approx(0.05)
    assert close.loc["D1", "flow_l_per_s"] > 0.0


def test_water_outside_below_the_equipment() -> None:
    """Water that comes in and never stands at the equipment: not reached, and said so."""
    _, room = _made(_tables([_end()]), [_reach(policy_level_m=10.5)], [_link()])
    assert room["answer"] == "not reached"
    assert math.isnan(room["earliest_h"])
    assert room["words"] == "the water outside stands lower than the equipment"


def test_entry_without_ends_is_a_hole_of_its_size() -> None:
    """A 100 x 50 mm slot lets through what its 5000 mm2 let through, at most."""
    place = _reach("E2", opening_kind="entry", end_id=None, entry_id="E2", way="over ground")
    flows, _ = _made(_tables([_end()]), [place], [_link()])
    want = 5000e-6 / math.sqrt(1.5) * math.sqrt(2 * 9.81 * 2.0) * 1000
    assert flows.loc["E2", "flow_l_per_s"] == pytest.approx(want, rel=1e-9)


def test_row_order_and_forms() -> None:
    """The order of rows changes nothing; both tables keep their columns, also when empty."""
    ends = [_end(f"D{n}", bore_mm=60.0 + 10 * n) for n in range(1, 6)]
    reach = [_reach(f"D{n}", opening_level_m=10.0 + 0.1 * n) for n in range(1, 6)]
    links = [_link(f"D{n}", 10.0 * n) for n in range(1, 6)]
    flows, room = _made(_tables(ends), reach, links)
    again, same = _made(_tables(ends[::-1]), reach[::-1], links[::-1])
    pd.testing.assert_frame_equal(flows, again)
    pd.testing.assert_series_equal(room, same)
    assert room["inflow_l_per_s"] == pytest.approx(flows["flow_l_per_s"].sum())
    tables = _tables([_end()])
    empty = hand_over("test", {"reach": pd.DataFrame(), "links": pd.DataFrame()})
    flows, filling = ingress(tables, empty["reach"], empty["links"])
    assert list(flows.columns) == list(INGRESS.names)
    assert list(filling.columns) == list(FILLING.names)
    # a building of which nobody listed an opening is not a dry one
    assert filling["answer"].tolist() == ["not known"]

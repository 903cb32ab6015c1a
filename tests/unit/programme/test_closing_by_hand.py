"""Closing lines worked out by hand: who is cheaper, what cannot be closed, what the table says."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.core.policy_key import policy_key
from pipeline.programme.closing import (
    EXACT,
    MIN_CUT,
    NOTHING,
    SEQUENCE,
    Line,
    Sources,
    WaterNet,
    closing_line,
)
from pipeline.programme.closing_exact import Limits
from pipeline.programme.closing_lines import Prices, closing_lines
from pipeline.tables.closing import ALL
from pipeline.tables.spec import conform

LOW = -np.inf


def solve(
    edges: list[tuple[int, int, float, int, int]],
    cost: list[int],
    water: dict[int, float],
    protected: list[int],
    **more: Any,
) -> Line:
    """A line of a network whose ducts run both ways: (a, b, crest, seal at a, seal at b)."""
    rows = [*edges, *((b, a, crest, at_b, at_a) for a, b, crest, at_a, at_b in edges)]
    tail, head, crest, seal_tail, seal_head = (np.array(c) for c in zip(*rows, strict=True))
    net = WaterNet(
        int(max(tail.max(), head.max())) + 1, tail, head, crest.astype(float), seal_tail,
        seal_head, np.array(cost, dtype=np.int64),
    )  # fmt: skip
    sources = Sources(np.array(list(water)), np.array(list(water.values()), dtype=float))
    return closing_line(net, sources, np.array(protected), **more)


def test_one_seal_upstream_beats_three_at_the_wall() -> None:
    """Three ducts from a dry pit to a building, one duct into the pit: 5 < 3 + 3 + 3."""
    ducts = [(0, 1, LOW, -1, 0), (1, 2, LOW, -1, 1), (1, 2, LOW, -1, 2), (1, 2, LOW, -1, 3)]
    line = solve(ducts, [5, 3, 3, 3], {0: 1.0}, [2])
    assert (line.seals.tolist(), line.cost_minor, line.gap_frac) == ([0], 5, 0.0)
    assert line.method == MIN_CUT


def test_ducts_between_two_protected_buildings_stay_open() -> None:
    """Both are closed to the outside (4 + 6); the four ducts between them need no seal."""
    between = [(1, 2, LOW, 2 + 2 * i, 3 + 2 * i) for i in range(4)]
    ducts = [(0, 1, LOW, -1, 0), (0, 2, LOW, -1, 1), *between]
    line = solve(ducts, [4, 6] + [1] * 8, {0: 1.0}, [1, 2])
    assert line.seals.tolist() == [0, 1]
    # one of them alone: close the outside of both (10) or own outside and four ducts (4 + 4)
    alone = solve(ducts, [4, 6] + [1] * 8, {0: 1.0}, [1])
    assert (alone.cost_minor, alone.seals.tolist()) == (8, [0, 2, 4, 6, 8])


def test_water_that_stands_exactly_at_the_crest_passes() -> None:
    """Equal is wet: 1.000 m over a crest of 1.000 m must be closed, 0.999 m must not."""
    duct = [(0, 1, 1.0, -1, 0)]
    assert solve(duct, [7], {0: 1.0}, [1]).cost_minor == 7
    below = solve(duct, [7], {0: 0.999}, [1])
    assert (below.cost_minor, below.method) == (0, NOTHING)


def test_water_of_unknown_level_passes_every_crest() -> None:
    """A place that is not modelled is no dry place."""
    assert solve([(0, 1, 99.0, -1, 0)], [7], {0: np.inf}, [1]).cost_minor == 7


def test_a_way_without_a_mouth_is_named_and_the_rest_is_closed() -> None:
    """A door from the water and a duct: the door is set aside, the duct's seal is the line."""
    line = solve([(0, 1, LOW, -1, -1), (0, 1, LOW, -1, 0)], [7], {0: 1.0}, [1])
    assert not line.is_possible
    assert line.open_edges.tolist() == [0]
    assert line.open_nodes.tolist() == [1]
    assert line.seals.tolist() == [0]


def test_water_that_stands_inside_cannot_be_closed_off() -> None:
    """A protected place with water in it is named; no seal helps it."""
    line = solve([(0, 1, LOW, -1, 0)], [7], {0: 1.0, 1: 1.0}, [1])
    assert (line.open_nodes.tolist(), line.seals.tolist()) == ([1], [])


def test_two_levels_share_a_seal() -> None:
    """High water by one duct, low water by another, both through one mouth: one seal of 5, not 3 + 3.

    Places: 0 high water (2 m), 1 low water (1 m), 2 a pit, 3 a second pit, 4 protected. The crest
    of 1.5 m at the first duct lets only the high water into the first pit. Sealing each water's
    own duct costs 3 + 3, the common mouth at the building 5.
    """
    ducts = [(0, 2, 1.5, -1, 0), (1, 2, LOW, -1, 1), (2, 3, LOW, -1, -1), (3, 4, LOW, -1, 2)]
    line = solve(ducts, [3, 3, 5], {0: 2.0, 1: 1.0}, [4])
    assert (line.seals.tolist(), line.cost_minor, line.gap_frac) == ([2], 5, 0.0)
    assert line.method == EXACT
    rough = solve(ducts, [3, 3, 5], {0: 2.0, 1: 1.0}, [4], limits=Limits(seals_count=0))
    assert rough.method == SEQUENCE
    assert rough.bound_minor <= 5 <= rough.cost_minor
    assert rough.gap_frac == pytest.approx(
        (rough.cost_minor - rough.bound_minor) / rough.cost_minor
    )


def test_costs_beyond_32_bits_are_not_wrapped() -> None:
    """Two ends of 3 thousand million minor units each: the dearer is not taken for a cheap one."""
    big = 3_000_000_000
    line = solve([(0, 1, LOW, -1, 0), (1, 2, LOW, -1, 1)], [big + 1, big], {0: 1.0}, [2])
    assert (line.seals.tolist(), line.cost_minor, line.gap_frac) == ([1], big, 0.0)
    # a sum that 32 bits would wrap to a small number: 2 x 2**31 against one of 5 thousand million
    wall = [(0, 1, LOW, -1, 0), (1, 2, LOW, -1, 1), (1, 2, LOW, -1, 2)]
    line = solve(wall, [5_000_000_000, 2**31, 2**31], {0: 1.0}, [2])
    assert (line.seals.tolist(), line.cost_minor) == ([1, 2], 2**32)


def test_of_equal_costs_the_lower_number_is_taken() -> None:
    """Two mouths of one duct at the same price: the caller's order decides."""
    assert solve([(0, 1, LOW, 1, 0)], [4, 4], {0: 1.0}, [1]).seals.tolist() == [0]
    assert solve([(0, 1, LOW, 0, 1)], [4, 4], {0: 1.0}, [1]).seals.tolist() == [0]


def test_a_seal_stands_at_one_place() -> None:
    """One number in the mouths of two places is a fault of the caller."""
    with pytest.raises(ValueError, match="one place"):
        solve([(0, 1, LOW, -1, 0), (1, 2, LOW, -1, 0)], [4], {0: 1.0}, [2])


# --- the table ---

UNSEEN: dict[str, tuple[str, ...]] = {}
POLICY = (0.01, "present", "with", 0.3)


def _edges(*rows: tuple[str, str, str | None, str | None, str | None]) -> pd.DataFrame:
    """Both directions of ducts (place, place, end, end), or one way where the opening is named."""
    out: list[dict[str, Any]] = []
    for a, b, at_a, at_b, opening in rows:
        both = [(a, b, at_a, at_b), (b, a, at_b, at_a)]
        for tail, head, first, last in both if opening is None else both[:1]:
            out.append(
                {"edge_id": f"{len(out):04d}", "tail_id": tail, "head_id": head,
                 "crest_level_m": np.nan, "seal_tail_id": first, "seal_head_id": last,
                 "opening_id": opening or last, "is_proved": True, "words": f"from {tail}"}
            )  # fmt: skip
    return conform(ALL["way_edges"], pd.DataFrame(out), stage="test")


def _tables(
    edges: pd.DataFrame, openings: dict[str, tuple[str, str]], buildings: list[str]
) -> dict[str, pd.DataFrame]:
    """A site S with buildings; openings: id -> (kind, building or chamber)."""
    reach = pd.DataFrame(
        [
            {"opening_id": o, "opening_kind": kind, "level_class": "below",
             "building_id": None if kind == "chamber end" else place,
             "chamber_id": place if kind == "chamber end" else None,
             "is_sealable": kind == "duct end"}
            for o, (kind, place) in openings.items()
        ]
    )  # fmt: skip
    return {
        "way_edges": edges,
        "way_waters": conform(
            ALL["way_waters"],
            pd.DataFrame([{"policy_id": policy_key(*POLICY), "place_id": "C1", "level_m": 10.0,
                           "words": "river over cover C1"}]),
            stage="test",
        ),
        "reach": reach,
        "designs": pd.DataFrame({"end_id": ["B1-E1"], "hold_reach": ["order"],
                                 "not_designed_reason": [None]}),
        "links": pd.DataFrame({"end_a_id": ["x"], "end_b_id": ["y"], "is_blocked": [False]}),
        "sites": pd.DataFrame({"site_id": ["S"], "region": ["North"]}),
        "buildings": pd.DataFrame({"building_id": buildings, "site_id": "S"}),
        "policies": pd.DataFrame([dict(zip(
            ("site_id", "design_aep_per_year", "climate", "defences", "freeboard_m"),
            ("S", *POLICY), strict=True))]),
    }  # fmt: skip


def _lines(tables: dict[str, pd.DataFrame], prices: Prices) -> pd.DataFrame:
    made = conform(
        ALL["closing_lines"], closing_lines(tables, prices, unsurveyed=UNSEEN), stage="test"
    )
    return made.set_index(["kind", "place_id"])


def test_table_of_a_site_leaves_the_ducts_between_its_buildings_open() -> None:
    """By hand: outside ends 40 and 30, two ducts between at 20 an end; the site needs 70 of 150."""
    edges = _edges(
        ("C1", "B1", None, "B1-E1", None), ("C1", "B2", None, "B2-E1", None),
        ("B1", "B2", "B1-E2", "B2-E2", None), ("B1", "B2", "B1-E3", "B2-E3", None),
    )  # fmt: skip
    openings = {f"{b}-E{i}": ("duct end", b) for b in ("B1", "B2") for i in (1, 2, 3)}
    price = {o: {"1": 0, "2": 20, "3": 20}[o[-1]] for o in openings} | {"B1-E1": 40, "B2-E1": 30}
    made = _lines(_tables(edges, openings, ["B1", "B2"]), Prices(price, entry_minor=0))
    site = made.loc[("site", "S")]
    assert (site["end_ids"], site["cost_minor"]) == ("B1-E1;B2-E1", 70)
    assert (site["all_wall_count"], site["all_wall_cost_minor"]) == (6, 150)
    assert bool(site["is_possible"])
    assert site["gap_frac"] == 0.0
    assert "held until released: B1-E1" in site["conditions"]
    # alone: outside of both (70) is cheaper than the own outside and two ducts (80)
    one = made.loc[("building", "B1")]
    assert (one["end_ids"], one["cost_minor"]) == ("B1-E1;B2-E1", 70)
    assert "rests on seals in other buildings: B2-E1" in one["conditions"]
    # 30 + 20 + 20 at its own walls equals 40 + 30: the own walls are taken
    other = made.loc[("building", "B2")]
    assert (other["end_ids"], other["cost_minor"]) == ("B2-E1;B2-E2;B2-E3", 70)
    assert pd.isna(other["conditions"])


def test_chamber_end_enters_only_where_the_wall_cannot_be_sealed() -> None:
    """The wall end costs 90 and the chamber end 5 + entry 50: the wall is taken all the same.

    Without a seal for the wall the chamber end is, with the entry in its price; with leave of an
    engineer at once.
    """
    edges = _edges(("C1", "B1", "C1-D1", "B1-E1", None))
    openings = {"B1-E1": ("duct end", "B1"), "C1-D1": ("chamber end", "C1")}
    tables = _tables(edges, openings, ["B1"])
    wall = _lines(tables, Prices({"B1-E1": 90, "C1-D1": 5}, entry_minor=50))
    assert wall.loc[("building", "B1"), "end_ids"] == "B1-E1"
    none = _lines(tables, Prices({"C1-D1": 5}, entry_minor=50)).loc[("building", "B1")]
    assert (none["end_ids"], none["cost_minor"], none["chamber_ends_count"]) == ("C1-D1", 55, 1)
    assert "needs confined-space entry: C1-D1 in C1" in none["conditions"]
    assert bool(none["is_possible"])
    assert none["all_wall_without_price"] == "B1-E1"
    leave = Prices({"B1-E1": 90, "C1-D1": 5}, entry_minor=50, chamber_sites=frozenset({"S"}))
    assert _lines(tables, leave).loc[("building", "B1"), "end_ids"] == "C1-D1"
    dear = Prices({"B1-E1": 90, "C1-D1": 5}, entry_minor=500, chamber_sites=frozenset({"S"}))
    assert _lines(tables, dear).loc[("building", "B1"), "end_ids"] == "B1-E1"


def test_a_door_is_named_and_the_ducts_are_closed_all_the_same() -> None:
    """What no seal closes stands in words; the line of the ducts is found, and is called partial."""
    edges = _edges(("C1", "B1", None, "B1-E1", None), ("C1", "B1", None, None, "B1/door"))
    openings = {"B1-E1": ("duct end", "B1"), "B1/door": ("door", "B1")}
    made = _lines(_tables(edges, openings, ["B1"]), Prices({"B1-E1": 9}, entry_minor=0))
    row = made.loc[("building", "B1")]
    assert not bool(row["is_possible"])
    assert row["cannot_close"] == "B1/door: from C1"
    assert row["end_ids"] == "B1-E1"
    assert "other means" in row["conditions"]


def test_what_nobody_looked_for_is_not_closed() -> None:
    """A vent that was not looked for: the line is found, whether it closes all is not known."""
    edges = _edges(("C1", "B1", None, "B1-E1", None))
    tables = _tables(edges, {"B1-E1": ("duct end", "B1")}, ["B1", "B2"])
    made = closing_lines(tables, Prices({"B1-E1": 9}, entry_minor=0), unsurveyed={"B1": ["vent"]})
    made = conform(ALL["closing_lines"], made, stage="test").set_index(["kind", "place_id"])
    row = made.loc[("building", "B1")]
    assert pd.isna(row["is_possible"])
    assert row["conditions"].endswith("; not surveyed at B1: vent")
    # a building without any listed opening is no closed building
    bare = made.loc[("building", "B2")]
    assert pd.isna(bare["is_possible"])
    assert bare["conditions"] == "not surveyed at B2: duct end or entry"


def test_a_survey_without_any_way_still_has_its_rows() -> None:
    """No edges at all: rows stay, and nothing is called closed."""
    tables = _tables(
        _edges(("C1", "B1", None, "B1-E1", None)), {"B1-E1": ("duct end", "B9")}, ["B1"]
    )
    tables["way_edges"] = tables["way_edges"].iloc[:0]
    made = _lines(tables, Prices({}, entry_minor=0))
    assert made["is_possible"].isna().all()
    assert (made["method"] == NOTHING).all()

"""Floods at places: levels, shore, rings, doubt of positions, polygons, reports, questions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pipeline.core import contract
from pipeline.core.errors import UsageError

NONE = float("nan")
EVERYWHERE = (0, 0, 12, 12)


def test_level_where_the_cell_has_a_value(country: Any, wet_column: Callable[..., Any]) -> None:
    """A chamber on a wet cell has that cell's level, its doubt, and the file it came from."""
    country.source("river", wet_column(20.62, 0, 5))
    country.chamber("C1", 5, 2)
    row = country.answer("C1")
    assert (row["answer"], round(row["level_m"], 3)) == (contract.LEVEL, 20.62)
    assert (row["u_m"], row["aep_per_year"], row["is_nearest"]) == (0.10, 0.01, False)
    assert "river.tif" in row["origin"]


def test_dry_in_the_domain_with_reference_water(
    country: Any, wet_column: Callable[..., Any]
) -> None:
    """Dry inside the domain: the nearest water within three cells is named, 50 m away.

    The place stands in the middle of column 8; the nearest wet cell is column 5, whose edge is
    2.5 cells x 20 m = 50 m away: within max(50, 3 x 20) m.
    """
    country.source("river", wet_column(20.62, 0, 5), domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 5, 8)
    row = country.answer("C1")
    assert row["answer"] == contract.DRY
    assert row["is_nearest"]
    assert (round(row["level_m"], 3), round(row["distance_m"])) == (20.62, 50)


def test_dry_far_from_water_has_no_level(country: Any, wet_column: Callable[..., Any]) -> None:
    """Five cells from the water nothing is within reach: dry, and no level is made up."""
    country.source("river", wet_column(20.62, 0, 3), domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 5, 9)
    row = country.answer("C1")
    assert row["answer"] == contract.DRY
    assert np.isnan(row["level_m"])
    assert not row["is_nearest"]


def test_outside_the_domain_is_not_modelled(country: Any, wet_column: Callable[..., Any]) -> None:
    """Beyond the outline of the model nothing is dry."""
    country.source("river", wet_column(20.62, 0, 3), domain_shape=country.boxed(0, 0, 12, 8))
    country.chamber("C1", 5, 10)
    assert country.answer("C1")["answer"] == contract.NOT_MODELLED


def test_hole_is_filled_where_the_ground_does_not_forbid_it(country: Any) -> None:
    """A hole in the water over low ground takes the highest level within two cells."""
    values = np.full((12, 12), 20.62)
    values[5, 5] = NONE
    values[5, 7] = 20.80
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert (row["answer"], round(row["level_m"], 3)) == (contract.HOLE, 20.80)


def test_constant_border_is_no_data(country: Any) -> None:
    """A frame of one number that stands out from the water within is padding."""
    values = np.full((12, 12), 55.0)
    values[2:10, 2:10] = 20.62
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 1, 6)
    country.chamber("C2", 5, 5)
    assert country.answer("C2")["level_m"] == pytest.approx(20.62)
    assert country.answer("C1")["level_m"] == pytest.approx(20.62)


def test_one_level_everywhere_is_a_level(country: Any) -> None:
    """A plane of one level is water everywhere, not a border."""
    country.source("sea", np.full((12, 12), 3.2), mechanism="sea")
    country.chamber("C1", 0, 0)
    assert country.answer("C1")["level_m"] == pytest.approx(3.2)


def test_position_doubt_takes_the_highest(country: Any) -> None:
    """A chamber placed to 15 m takes the higher level 10 m away; one placed to 5 m does not."""
    values = np.full((12, 12), 20.62)
    values[:, 6:] = 20.90
    country.source("river", values)
    country.chamber("C1", 5, 5, plan_u_m=15.0)
    country.chamber("C2", 5, 5, plan_u_m=5.0)
    assert country.answer("C1")["level_m"] == pytest.approx(20.90)
    assert country.answer("C2")["level_m"] == pytest.approx(20.62)


def test_building_takes_the_highest_of_its_ring(country: Any) -> None:
    """Inside the footprint 25.00 (a raised block), beside it 20.70 and 20.62: 20.70, and asked."""
    values = np.full((12, 12), 20.62)
    values[5, 5] = 25.0
    values[4, 6] = 20.70
    values[5, 8] = 21.50  # three cells off: not in the ring
    country.source("river", values)
    country.building("B1", 5, 5, shape=country.boxed(5, 5))
    row = country.answer("B1")
    assert row["level_m"] == pytest.approx(20.70)
    assert row["ground_m"] == pytest.approx(20.0)
    assert country.said().count("water-14") == 1


def test_building_without_footprint_takes_a_circle(country: Any) -> None:
    """Three cells round the point: water 55 m away counts, water 70 m away does not."""
    near, far = np.full((12, 12), NONE), np.full((12, 12), NONE)
    near[5, 8] = 20.62
    far[5, 9] = 20.62
    for name, values in (("near", near), ("far", far)):
        country.source(name, values, domain_shape=country.boxed(*EVERYWHERE))
    country.building("B1", 5, 5)
    assert country.answer("B1", "near")["answer"] == contract.LEVEL
    assert country.answer("B1", "far")["answer"] == contract.DRY


def test_lowest_ground_of_the_ring(country: Any) -> None:
    """The inlet of a building is the lowest ground beside it, not the ground under it."""
    country.source("river", np.full((12, 12), 20.62))
    country.ground = np.full((12, 12), 20.0)
    country.ground[5, 5] = 18.0
    country.ground[6, 4] = 19.4
    country.building("B1", 5, 5, shape=country.boxed(5, 5))
    out = country.flow()
    ground = out["ground"].set_index(["place_kind", "place_id"])
    assert ground.at[("building", "B1"), "ring_low_m"] == pytest.approx(19.4)
    assert country.answer("B1")["ground_m"] == pytest.approx(19.4)


def test_datum_without_shift_is_not_compared(country: Any) -> None:
    """A level on an unrelated datum is no level, and the engineer is asked."""
    country.source("river", np.full((12, 12), 20.62), datum="Chart")
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert row["answer"] == contract.NOT_MODELLED
    assert np.isnan(row["level_m"])
    assert country.said().count("level-03") == 1


def test_freeboard_inside_is_taken_out(country: Any) -> None:
    """A grid that holds 0.30 m of freeboard gives 20.92 - 0.30 = 20.62."""
    country.source("river", np.full((12, 12), 20.92), freeboard_in_m=0.3)
    country.chamber("C1", 5, 5)
    assert country.answer("C1")["level_m"] == pytest.approx(20.62)


def test_groundwater_stands_in_every_event(country: Any) -> None:
    """A groundwater surface has no chance, is never dry, and is unknown where it has no value."""
    values = np.full((12, 12), 18.5)
    values[:, 8:] = NONE
    country.source("table", values, kind="groundwater", mechanism="groundwater", aep=None)
    country.flood["groundwater"] = "surface"
    country.chamber("C1", 5, 2)
    country.chamber("C2", 5, 11)
    row = country.answer("C1")
    assert (row["answer"], row["aep_per_year"]) == (contract.LEVEL, -1.0)
    assert row["level_m"] == pytest.approx(18.5)
    assert country.answer("C2")["answer"] == contract.NOT_MODELLED


def test_wrong_coordinate_system_stops_the_run(country: Any) -> None:
    """A grid in another system is the caller's fault, told in one message."""
    country.raster("river.tif", np.full((12, 12), 20.62), crs="EPSG:32630")
    country.source("river")
    country.chamber("C1", 5, 5)
    with pytest.raises(UsageError, match=r"river\.tif"):
        country.flow()


def test_polygon_answers(country: Any) -> None:
    """Inside: its level; beside: dry with the nearest water 30 m off; far outside: not modelled."""
    country.outlines(
        (country.boxed(0, 0, 12, 4), 4.2, 0.01), domain_shape=country.boxed(0, 0, 12, 8)
    )
    for name, col in (("in", 2), ("beside", 5), ("out", 10)):
        country.chamber(name, 5, col)
    assert country.answer("in")["level_m"] == pytest.approx(4.2)
    beside = country.answer("beside")
    assert (beside["answer"], beside["is_nearest"]) == (contract.DRY, True)
    assert beside["distance_m"] == pytest.approx(30.0, abs=0.1)
    assert country.answer("out")["answer"] == contract.NOT_MODELLED


def test_polygon_boundary_takes_the_higher(country: Any) -> None:
    """Within the position's doubt of a boundary the higher of two levels counts."""
    country.outlines(
        (country.boxed(0, 0, 12, 6), 4.2, 0.01), (country.boxed(0, 6, 12, 6), 4.6, 0.01)
    )
    country.chamber("C1", 5, 5, plan_u_m=12.0)
    country.chamber("C2", 5, 5, plan_u_m=2.0)
    assert country.answer("C1")["level_m"] == pytest.approx(4.6)
    assert country.answer("C2")["level_m"] == pytest.approx(4.2)


def test_polygon_that_crosses_itself_is_no_crash(country: Any) -> None:
    """A bow-tie outline is mended, its inside stays wet."""
    import shapely

    bow = shapely.Polygon([(500000, 650000), (500240, 649760), (500240, 650000), (500000, 649760)])
    country.outlines((bow, 4.2, 0.01), domain_shape=bow)
    country.chamber("C1", 5, 1)
    assert country.answer("C1")["answer"] in contract.ANSWERS


def test_report_level_reaches_every_place_of_its_site(country: Any) -> None:
    """One level for a site: its buildings and chambers, and nobody else's."""
    country.report()
    country.chamber("C1", 5, 5)
    country.chamber("C2", 5, 6, site_id="S2")
    country.building("B1", 5, 7)
    rows = country.flow()["floods"]
    assert sorted(rows["place_id"]) == ["B1", "C1"]
    assert set(rows["source_id"]) == {"survey:F1"}
    assert rows["level_m"].tolist() == pytest.approx([20.62, 20.62])
    assert rows["u_m"].tolist() == [0.20, 0.20]


def test_depth_freeboard_and_shift(country: Any) -> None:
    """Depth 0.92 over ground 19.80, freeboard 0.30 inside, shift +0.10: 20.52."""
    country.shifts = ({"datum": "Old", "add_m": 0.1, "u_m": 0.0, "source": "tie"},)
    country.report(
        value_is="depth above ground", value_m=0.92, ground_m=19.80, freeboard_in="yes",
        freeboard_in_m=0.30, datum="Old",
    )  # fmt: skip
    country.chamber("C1", 5, 5)
    assert country.answer("C1")["level_m"] == pytest.approx(20.52)


def test_past_flood_is_kept_and_is_no_event(country: Any) -> None:
    """A mark of 2007 keeps its level under the mark for past floods."""
    country.report(source="past flood", past_date="2007-07-20", aep_per_year=NONE, event="2007")
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert (row["aep_per_year"], round(row["level_m"], 2)) == (-2.0, 20.62)


def test_site_without_any_level_is_asked(country: Any) -> None:
    """Nothing modelled at a site: one question on the site, none on its places."""
    country.source("river", np.full((12, 12), NONE), domain_shape=country.boxed(0, 0, 2, 2))
    country.chamber("C1", 8, 8)
    assert country.said() == ["water-01"]


def test_place_outside_is_named_once_per_site(country: Any, wet_column: Callable[..., Any]) -> None:
    """Two places outside a model that covers their site: one line that names both."""
    country.source("river", wet_column(20.62, 0, 3), domain_shape=country.boxed(0, 0, 12, 8))
    for name, col in (("C1", 2), ("C2", 10), ("C3", 11)):
        country.chamber(name, 5, col)
    findings = country.flow()["findings"]
    assert findings["code"].tolist() == ["water-08"]
    assert "C2" in findings["message"].iloc[0]
    assert "C3" in findings["message"].iloc[0]


def test_sources_apart_are_asked_once(country: Any) -> None:
    """Grid 20.62 and report 21.20 for the same event differ by more than 0.3 m."""
    country.source("river", np.full((12, 12), 20.62))
    country.report(value_m=21.20)
    for name, col in (("C1", 5), ("C2", 6)):
        country.chamber(name, 5, col)
    assert country.said() == ["water-10"]

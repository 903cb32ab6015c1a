"""Floods at places: less knowledge never dries anything, and nobody is asked in vain."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.core import contract
from pipeline.core.errors import UsageError

NONE = float("nan")
EVERYWHERE = (0, 0, 12, 12)


@pytest.mark.parametrize(
    ("ground_m", "answer"),
    [(20.80, contract.HOLE), (20.801, contract.DRY), (NONE, contract.HOLE)],
)
def test_ground_decides_between_hole_and_dry(country: Any, ground_m: float, answer: str) -> None:
    """Equal is wet: ground at the level is a hole, a millimetre above is dry, unknown is a hole."""
    values = np.full((12, 12), 20.80)
    values[5, 5] = NONE
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE), dtype="float64")
    country.ground = np.full((12, 12), 20.0)
    country.ground[5, 5] = ground_m
    country.ground = country.ground.astype("float64")
    country.chamber("C1", 5, 5)
    original = country.raster
    country.raster = lambda name, v, **k: original(name, v, dtype="float64", **k)
    assert country.answer("C1")["answer"] == answer


def test_losing_the_domain_never_dries(country: Any, wet_column: Callable[..., Any]) -> None:
    """Without the model's outline a place is no drier than with it."""
    wetness = {contract.DRY: 0, contract.NOT_MODELLED: 1, contract.HOLE: 2, contract.LEVEL: 2}
    country.source("with", wet_column(20.62, 0, 5), domain_shape=country.boxed(*EVERYWHERE))
    country.source("blank", wet_column(20.62, 0, 5))
    for col in range(12):
        country.chamber(f"C{col:02}", 5, col)
    floods = country.flow()["floods"].pivot_table(
        index="place_id", columns="source_id", values="answer", aggfunc="first"
    )
    worse = floods[floods["blank"].map(wetness) < floods["with"].map(wetness)]
    assert worse.empty, worse


def test_missing_tile_in_the_domain_is_not_dry(
    country: Any, wet_column: Callable[..., Any]
) -> None:
    """A place in the outline but outside the raster's file was not modelled by that file."""
    country.source("river", wet_column(20.62, 0, 1), domain_shape=country.boxed(0, 0, 12, 40))
    country.chamber("C1", 5, 30)
    assert country.answer("C1")["answer"] == contract.NOT_MODELLED


@pytest.mark.parametrize("mark", [0.0, -9999.0, 99999.0, -3.4028235e38, np.inf, -99.9])
def test_no_data_in_its_disguises(country: Any, mark: float) -> None:
    """Undeclared 0, -9999, huge and infinite values, and a declared -99.9: never a level."""
    values = np.full((12, 12), mark)
    values[:, :2] = 20.62
    values[0, :] = 20.62
    nodata = -99.9 if mark == -99.9 else None
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE), nodata=nodata)
    country.chamber("C1", 8, 8)
    row = country.answer("C1")
    assert (row["answer"], pd.isna(row["level_m"])) == (contract.DRY, True)


def test_sea_round_an_island_is_no_padding(country: Any) -> None:
    """One level of the sea all round an island is water: it must not become 'no data'."""
    values = np.full((12, 12), 3.2)
    values[4:8, 4:8] = NONE
    values[5, 5] = 3.25
    country.source("sea", values, mechanism="sea", domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 1, 1)
    row = country.answer("C1")
    assert (row["answer"], round(row["level_m"], 3)) == (contract.LEVEL, 3.2)


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1000.0), ("ft", 1 / 0.3048), ("m", 1.0)])
def test_units(country: Any, unit: str, factor: float) -> None:
    """20.62 m written in millimetres or feet (0.3048 m exactly) is 20.62 m."""
    country.source("river", np.full((12, 12), 20.62 * factor), unit=unit)
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert row["answer"] == contract.LEVEL
    assert row["level_m"] == pytest.approx(20.62, abs=1e-3)


def test_unknown_position_doubt_is_not_zero(country: Any) -> None:
    """A position of unknown doubt is no better than one placed to a cell."""
    values = np.full((12, 12), 20.62)
    values[:, 6:] = 20.90
    country.source("river", values)
    country.chamber("C1", 5, 5, plan_u_m=NONE)
    assert country.answer("C1")["level_m"] == pytest.approx(20.90)


def test_doubtful_building_position_widens_the_circle(country: Any) -> None:
    """A building placed by its site to 30 m may stand 30 m nearer to the water."""
    values = np.full((12, 12), NONE)
    values[5, 9] = 20.62
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE))
    country.building("B1", 5, 5, plan_u_m=30.0)
    assert country.answer("B1")["answer"] == contract.LEVEL


def test_datum_shift_moves_level_and_doubt(country: Any) -> None:
    """Level 20.62 on another datum, +0.25 with u 0.05: 20.87, u = sqrt(0.10^2 + 0.05^2)."""
    country.shifts = ({"datum": "Old", "add_m": 0.25, "u_m": 0.05, "source": "tie"},)
    country.source("river", np.full((12, 12), 20.62), datum="Old")
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert row["level_m"] == pytest.approx(20.87)
    assert row["u_m"] == pytest.approx(0.1118, abs=1e-4)


def test_shift_counts_when_ground_is_compared(country: Any) -> None:
    """A hole of 20.62 + 0.50 = 21.12 stands above ground 20.90 although 20.62 does not."""
    country.shifts = ({"datum": "Old", "add_m": 0.5, "u_m": 0.0, "source": "tie"},)
    values = np.full((12, 12), 20.62)
    values[5, 5] = NONE
    country.source("river", values, datum="Old", domain_shape=country.boxed(*EVERYWHERE))
    country.ground_m = 20.90
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert (row["answer"], round(row["level_m"], 3)) == (contract.HOLE, 21.12)


def test_two_tiles_of_one_event_make_one_row(country: Any) -> None:
    """Two files of one source and event: the highest answer, one row, no double key."""
    west, east = np.full((12, 12), NONE), np.full((12, 12), NONE)
    west[:, :6], east[:, 6:] = 20.62, 20.70
    country.source("river", west, domain_shape=country.boxed(*EVERYWHERE))
    country.source("other", east)
    country.sources[1]["id"] = "river"
    country.chamber("C1", 5, 8)
    assert country.answer("C1")["level_m"] == pytest.approx(20.70)


def test_a_grid_that_points_elsewhere_is_not_opened(country: Any) -> None:
    """A text file that names other files is no raster of ours, whatever its name ends in."""
    inner = country.raster("inner.tif", np.full((12, 12), 20.62))
    (country.folder / "river.tif").write_text(
        '<VRTDataset rasterXSize="12" rasterYSize="12"><SRS>EPSG:27700</SRS>'
        "<GeoTransform>500000,20,0,650000,0,-20</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="1">{inner.name}</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )
    country.source("river")
    country.chamber("C1", 5, 5)
    with pytest.raises(UsageError, match=r"river\.tif"):
        country.flow()


def test_place_half_outside_the_domain_is_not_dry(country: Any) -> None:
    """A place that may lie outside the modelled area is not dry."""
    country.outlines(
        (country.boxed(0, 0, 12, 2), 4.2, 0.01), domain_shape=country.boxed(0, 0, 12, 8)
    )
    country.chamber("C1", 5, 7, plan_u_m=25.0)
    assert country.answer("C1")["answer"] == contract.NOT_MODELLED


def test_outline_without_level_is_never_dry(country: Any) -> None:
    """Inside an outline of unknown level the water stands at an unknown height."""
    country.outlines(
        (country.boxed(0, 0, 12, 6), NONE, 0.01), (country.boxed(0, 0, 12, 6), 3.0, 0.01),
        domain_shape=country.boxed(*EVERYWHERE),
    )  # fmt: skip
    country.chamber("C1", 5, 2)
    row = country.answer("C1")
    assert row["answer"] == contract.NOT_MODELLED
    assert "outline" in row["assumed"]


def test_polygon_without_chance_counts_in_every_event(country: Any) -> None:
    """A polygon whose chance is blank is water in each event of its source, not in none."""
    country.outlines(
        (country.boxed(0, 0, 12, 2), 4.2, 0.01), (country.boxed(0, 4, 12, 2), 5.0, NONE),
        domain_shape=country.boxed(*EVERYWHERE),
    )  # fmt: skip
    country.chamber("C1", 5, 4)
    assert country.answer("C1")["level_m"] == pytest.approx(5.0)


@pytest.mark.parametrize(
    "lost",
    [
        {"value_m": NONE},
        {"aep_per_year": NONE, "event": "often"},
        {"datum": "Chart"},
        {"datum": None},
        {"value_is": None},
        {"value_is": "depth above ground"},
    ],
)
def test_unreadable_row_leaves_no_flood_level(country: Any, lost: dict[str, Any]) -> None:
    """A row that cannot be used leaves its places not modelled in every event it could mean."""
    country.report(**lost)
    country.chamber("C1", 5, 5)
    row = country.answer("C1")
    assert row["answer"] == contract.NOT_MODELLED
    assert np.isnan(row["level_m"])
    assert row["aep_per_year"] in (0.01, -1.0)
    assert "could not" in row["assumed"]


def test_row_of_an_unknown_place_gives_no_level_anywhere(country: Any) -> None:
    """A level whose place cannot be told makes its workbook's places unknown, and no others."""
    country.report(applies_to="nowhere", value_m=12.0)
    country.chamber("C1", 5, 5)
    country.chamber("C2", 5, 6, file="two.xlsx")
    rows = country.flow()["floods"]
    assert rows["place_id"].tolist() == ["C1"]
    assert rows["level_m"].isna().all()
    assert rows["answer"].tolist() == [contract.NOT_MODELLED]


def test_hole_is_asked(country: Any) -> None:
    """A filled hole is a question to the manager."""
    values = np.full((12, 12), 20.62)
    values[5, 5] = NONE
    country.source("river", values, domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 5, 5)
    findings = country.flow()["findings"]
    assert findings["code"].tolist() == ["water-14"]
    assert findings["weight"].tolist() == ["ASK"]


def test_with_and_without_defences_are_not_compared(country: Any) -> None:
    """Levels with and without defences 1 m apart: told once as mixed, never as quarrelling."""
    country.source("a", np.full((12, 12), 20.62))
    country.source("b", np.full((12, 12), 21.62), defences="without")
    country.add("sites", site_id="S2", critical_class="ordinary")
    country.chamber("C1", 5, 5)
    country.chamber("C2", 5, 6, site_id="S2")
    assert country.said() == ["water-17"]


def test_design_event_between_two_modelled_ones_is_no_gap(country: Any) -> None:
    """A policy of 0.5 % between grids of 1 % and 0.1 % is answered by the curve."""
    country.source("a", np.full((12, 12), 20.62))
    country.source("b", np.full((12, 12), 21.05), aep=0.001)
    country.flood["design_aep"] = 0.005
    country.chamber("C1", 5, 5)
    assert country.said() == []


def test_groundwater_under_an_outline_does_not_need_the_point(country: Any) -> None:
    """A footprint over two cells takes the higher table (9.07), however its point is known."""
    values = np.full((12, 12), 8.91)
    values[:, 6:] = 9.07
    country.source("table", values, kind="groundwater", mechanism="groundwater", aep=None)
    country.building("B1", 5, 5, plan_u_m=10.5, shape=country.boxed(5, 5, 1, 2))
    country.building("B2", 5, 5, plan_u_m=0.5, shape=country.boxed(5, 5, 1, 2))
    assert country.answer("B1")["level_m"] == pytest.approx(9.07)
    assert country.answer("B2")["level_m"] == pytest.approx(9.07)


def test_a_refused_row_takes_its_place_beside_a_grid(
    country: Any, wet_column: Callable[..., Any]
) -> None:
    """A blank report of a site that a grid covers: the site's places are marked, others not."""
    country.source("river", wet_column(20.62, 0, 2), domain_shape=country.boxed(*EVERYWHERE))
    country.chamber("C1", 5, 8)
    country.chamber("C2", 5, 9, site_id="S2")
    country.report(value_m=NONE)
    floods = country.flow()["floods"]
    marked = floods[floods["is_refused"]]
    assert set(marked["place_id"]) == {"C1"}
    assert not floods.loc[floods["source_id"] == "river", "is_refused"].any()


def test_a_value_in_question_may_wet_and_clears_nothing(country: Any) -> None:
    """A level that looks like a depth stays in the search, and its place is marked."""
    country.chamber("C1", 5, 8)
    country.report(value_m=0.6, doubted="value_m")
    row = country.answer("C1")
    assert (row["level_m"], row["is_refused"]) == (0.6, True)


def test_coordinates_near_nothing_do_not_vanish(country: Any) -> None:
    """A flood level 80 m from every place: all places of its workbook are marked, none gets it.

    A centre 60 m off would be out of reach as well: the reach is 50 m.
    """
    country.chamber("C1", 5, 5)
    x, y = country.rows["chambers"][0]["x_m"], country.rows["chambers"][0]["y_m"]
    country.report(applies_to=None, x_m=x + 80.0, y_m=y)
    row = country.answer("C1")
    assert (row["answer"], row["is_refused"]) == (contract.NOT_MODELLED, True)
    assert pd.isna(row["level_m"])


def test_of_ground_and_cover_the_higher_bounds_a_dry_event(country: Any) -> None:
    """Dry on ground of 20.00 under a cover of 20.40 or 19.60: the water stays under 20.40 or 20."""
    from pipeline.levels import _bound_by_covers
    from pipeline.levels.chain import Level
    from pipeline.levels.found import Found

    country.source("river", np.full((12, 12), NONE), domain_shape=country.boxed(*EVERYWHERE))
    for name, col in (("C1", 3), ("C2", 5), ("C3", 7)):
        country.chamber(name, 5, col)
    found = Found()
    found.put("cover", "C1", "S1", Level(20.40))
    found.put("cover", "C2", "S1", Level(19.60))
    bound = _bound_by_covers(country.flow()["floods"], found).set_index("place_id")["ground_m"]
    assert list(bound.loc[["C1", "C2", "C3"]].round(3)) == [20.40, 20.0, 20.0]


@pytest.mark.parametrize(
    ("site", "freeboard_m"),
    [
        ({"critical_class": "vital", "freeboard_m": 0.3}, 0.3),
        ({"critical_class": "vital", "freeboard_m": NONE, "stopped": "freeboard_m"}, 0.9),
        ({"critical_class": "vital", "freeboard_m": 0.1, "doubted": "freeboard_m"}, 0.9),
        ({"critical_class": "vital", "freeboard_m": 1.2, "doubted": "freeboard_m"}, 1.2),
        ({"critical_class": "vital", "design_event": None, "stopped": "design_event"}, 0.9),
    ],
)
def test_a_refused_policy_is_the_strictest(
    country: Any, site: dict[str, Any], freeboard_m: float
) -> None:
    """A freeboard or event of the site row that cannot be used gives way to the strictest one."""
    country.flood = {"policy": {"vital": {"freeboard_m": 0.5}, "other": {"freeboard_m": 0.9}}}
    country.add("sites", site_id="S1", **site)
    country.chamber("C1", 5, 5)
    policy = country.flow()["policies"].iloc[0]
    assert policy["freeboard_m"] == freeboard_m

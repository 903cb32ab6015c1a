"""Openings, cables, closed gaps, collars and layers of single cross-sections."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pipeline.core.materials import Materials
from pipeline.design.cables import body, settle
from pipeline.design.geometry import Array, Opening, largest_free_circle_mm, opening
from pipeline.design.layer import layer_of, outside_envelope
from pipeline.design.packing import overlap_mm
from pipeline.design.section import Section, SectionRule, Strand, draw, has_closed_gap, outline

RULE = SectionRule(may_separate=True, clearance_mm=6.0, objective="larger first")
AS_FOUND = replace(RULE, may_separate=False)


def _strand(
    outer_mm: float, group_no: int, kind: str = "single", covering: str = "plastic"
) -> Strand:
    return Strand(f"K{group_no}", "LV", covering, outer_mm, kind, group_no)


@pytest.mark.parametrize(
    ("shape", "a", "b", "area", "perimeter"),
    [
        ("round", 125.0, 0.0, 12271.846, 392.699),
        ("square", 100.0, 100.0, 10000.0, 400.0),
        ("rectangular", 200.0, 60.0, 12000.0, 520.0),
        # flat-sided: circle of 60 and a rectangle 40 x 60: 2827.433 + 2400; 60 pi + 80
        ("oval", 100.0, 60.0, 5227.433, 268.496),
    ],
)
def test_openings(shape: str, a: float, b: float, area: float, perimeter: float) -> None:
    """Areas and perimeters of the four shapes, by hand; GEOS agrees."""
    hole = opening(shape, a, b)
    assert hole.area_mm2 == pytest.approx(area, abs=5e-4)
    assert hole.perimeter_mm == pytest.approx(perimeter, abs=5e-4)
    assert outline(hole).area == pytest.approx(area, rel=2e-4)


def test_no_outline_for_a_shape_not_seen() -> None:
    """A shape that nobody saw has no outline."""
    with pytest.raises(ValueError, match="not seen"):
        opening("not seen", 100.0, 0.0)


@pytest.mark.parametrize("shape", ["round", "square", "rectangular", "oval"])
def test_largest_free_circle_against_a_fine_grid(shape: str) -> None:
    """Never below the best of a fine grid, and at most half a cell's diagonal above it."""
    rng = np.random.default_rng(11)
    hole = opening(shape, 120.0, 120.0 if shape == "square" else 90.0)
    side = np.linspace(-60.0, 60.0, 201)
    points = np.stack(np.meshgrid(side, side), -1).reshape(-1, 2)
    geos = shapely.points(points)
    wall = shapely.distance(geos, outline(hole).exterior)
    inside = shapely.contains_properly(outline(hole), geos)
    points, wall = points[inside], wall[inside]
    for _ in range(6):
        n = int(rng.integers(1, 7))
        radii = rng.uniform(4.0, 16.0, n)
        xy = settle(hole, [body("single", [i], [radii[i]]) for i in range(n)], spread_mm=6.0)
        assert xy is not None
        found = largest_free_circle_mm(hole, xy, radii)
        gap = np.linalg.norm(points[:, None] - xy[None], axis=2) - radii
        best = np.minimum(wall, gap.min(axis=1)).max()
        # 0.6 mm cells: half a diagonal is 0.43; the polygon's arcs lie up to 0.01 inside
        assert best <= found <= best + 0.44


def test_largest_free_circle_by_hand() -> None:
    """One 36 mm cable at the bottom of 125: (125 - 36)/2; a central one: a ring of (125 - 36)/4."""
    hole = opening("round", 125.0, 0.0)
    low = np.array([[0.0, -44.5]])
    assert largest_free_circle_mm(hole, low, np.array([18.0])) == pytest.approx(44.5)
    middle = np.array([[0.0, 0.0]])
    assert largest_free_circle_mm(hole, middle, np.array([18.0])) == pytest.approx(22.25)


def test_cables_lie_lowest_and_touch() -> None:
    """Two 36 mm cables in 125 mm lie side by side: centres 18 off the middle, 40.70 down.

    By hand: distance of the centres from the middle 62.5 - 18 = 44.5; sqrt(44.5^2 - 18^2) = 40.70.
    """
    hole = opening("round", 125.0, 0.0)
    xy = settle(hole, [body("trefoil", [0, 1], [18.0, 18.0])])
    assert xy is not None
    assert sorted(xy[:, 0]) == pytest.approx([-18.0, 18.0])
    assert xy[:, 1] == pytest.approx([-40.6970, -40.6970], abs=1e-3)
    single = settle(hole, [body("single", [0], [18.0])])
    assert single is not None
    assert single[0] == pytest.approx([0.0, -44.5])


def test_trefoil_rests_on_two_cables() -> None:
    """A trefoil of 33 mm cables in 118 mm: two below, 33 sqrt(3)/2 = 28.579 under the third."""
    xy = settle(opening("round", 118.0, 0.0), [body("trefoil", [0, 1, 2], [16.5] * 3)])
    assert xy is not None
    low, high = np.sort(xy[:, 1])[:2], xy[:, 1].max()
    assert low[0] == pytest.approx(low[1])
    assert high - low[0] == pytest.approx(28.579, abs=1e-3)
    assert np.hypot(*xy[np.argmin(xy[:, 1])]) == pytest.approx(59.0 - 16.5)


def test_groups_move_as_one_when_separated(materials: Materials) -> None:
    """Separated: 6 mm between bodies and to the wall, none inside the trefoil."""
    strands = [_strand(33.0, 1, "trefoil")] * 3 + [_strand(28.0, 2)]
    section = draw(opening("round", 138.0, 0.0), strands, materials=materials, rule=RULE)
    assert section is not None
    assert section.arrangement == "separated to 6 mm"
    xy = section.xy_mm
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert np.linalg.norm(xy[a] - xy[b]) == pytest.approx(33.0)
    to_single = np.linalg.norm(xy[:3] - xy[3], axis=1) - 16.5 - 14.0
    assert to_single.min() >= 6.0 - 1e-6
    radii = np.array([16.5, 16.5, 16.5, 14.0])
    assert np.all(69.0 - np.hypot(xy[:, 0], xy[:, 1]) - radii >= 6.0 - 1e-6)


def test_cables_that_do_not_fit_are_told(materials: Materials) -> None:
    """Two 50 mm cables do not fit in 90 mm, though their area does (62 %)."""
    strands = [_strand(50.0, 1), _strand(50.0, 2)]
    assert draw(opening("round", 90.0, 0.0), strands, materials=materials, rule=RULE) is None
    assert draw(opening("round", 100.0, 0.0), strands, materials=materials, rule=RULE) is not None


def test_closed_gap_of_a_trefoil() -> None:
    """Three touching 33 mm circles close a gap of radius 16.5 (2/sqrt 3 - 1) = 2.55 mm: a 6 mm
    nozzle cannot enter, a 5 mm one can; apart they close nothing."""
    hole = opening("round", 138.0, 0.0)
    xy = settle(hole, [body("trefoil", [0, 1, 2], [16.5] * 3)], spread_mm=6.0)
    assert xy is not None
    radii = np.full(3, 16.5)
    assert _closed(hole, xy, radii, 6.0)
    assert not _closed(hole, xy, radii, 4.5)
    assert not _closed(hole, xy * 1.5, radii * 0.9, 6.0)


def _closed(hole: Opening, xy: Array, radii: Array, nozzle_mm: float) -> bool:
    free_mm = largest_free_circle_mm(hole, xy, radii)
    return has_closed_gap(hole, xy, radii, nozzle_mm=nozzle_mm, free_circle_mm=free_mm)


def test_cables_that_stand_apart_close_nothing_off() -> None:
    """Without a near pair the answer is that of shapely: does the free space take the nozzle."""
    rng = np.random.default_rng(8)
    seen = set()
    for _ in range(60):
        hole, radius = opening("round", 60.0, 0.0), float(rng.uniform(20.0, 28.0))
        xy = np.array([[0.0, float(rng.uniform(0.0, 30.0 - radius - 0.26))]])
        cable = shapely.Point(xy[0]).buffer(radius + 0.125, 256)
        free = shapely.Point(0.0, 0.0).buffer(30.0 - 0.125, 256).difference(cable)
        wants = bool(free.buffer(-3.0).is_empty)
        assert _closed(hole, xy, np.array([radius]), 6.0) == wants
        seen.add(wants)
    assert seen == {True, False}


def test_small_single_cables_get_the_smallest_collar(materials: Materials) -> None:
    """A 12 mm cable takes the 20 mm collar (bore 16.0 by the wall rule; 15 mm has 11.6)."""
    hole = opening("round", 90.0, 0.0)
    section = draw(hole, [_strand(12.0, 1), _strand(30.0, 2)], materials=materials, rule=RULE)
    assert section is not None
    assert {i: item.id for i, item in section.collars.items()} == {0: "collar-20"}
    found = draw(hole, [_strand(12.0, 1)], materials=materials, rule=AS_FOUND)
    assert found is not None
    assert found.collars == {}  # without leave nothing is moved


def test_pieces_never_overlap_at_true_sizes(materials: Materials) -> None:
    """Packed with sizes rounded the strict way, the drawing holds at the true sizes."""
    hole = opening("round", 117.6, 0.0)
    section = draw(hole, [_strand(32.4, 1), _strand(21.7, 2)], materials=materials, rule=RULE)
    assert section is not None
    sleeves = section.sleeves
    xy = np.vstack([section.xy_mm, [(s.x_mm, s.y_mm) for s in sleeves]])
    radii = np.array([32.4, 21.7, *(s.outer_mm for s in sleeves)]) / 2.0
    assert overlap_mm(hole, xy, radii) <= 1e-6
    sizes = [s.outer_mm for s in sleeves]
    assert sizes == sorted(sizes, reverse=True)


def test_least_void_never_leaves_more_void(materials: Materials) -> None:
    """The objective `least void` fills at least as much area as `larger first`."""
    filled = {}
    for objective in ("larger first", "least void"):
        total = 0.0
        for bore in (90.0, 103.0, 118.0, 138.0):
            section = draw(
                opening("round", bore, 0.0),
                [_strand(33.0, 1)],
                materials=materials,
                rule=replace(RULE, objective=objective),
            )
            assert section is not None
            total += sum(s.outer_mm**2 for s in section.sleeves)
        filled[objective] = total
    assert filled["least void"] >= filled["larger first"]


def _section(hole: Opening, strands: list[Strand]) -> Section:
    return Section(hole, tuple(strands), np.zeros((len(strands), 2)), free_circle_mm=62.5)


def test_unbonded_coverings_do_not_count(materials: Materials) -> None:
    """Fibrous wrap and unknown coverings add no bonded perimeter; plastic does."""
    hole = opening("round", 125.0, 0.0)
    plain = {"head_m": 1.0, "wall": "smooth plastic", "surface": "dry", "durations": ("long",),
             "sealant": materials.sealant, "least_mm": 20.0, "water_kg_per_m3": 1000.0}  # fmt: skip
    wall = np.pi * 125.0
    for covering in ("fibrous wrap", "unknown", "bare armour"):
        layer = layer_of(_section(hole, [_strand(36.0, 1, covering=covering)]), **plain)  # type: ignore[arg-type]
        assert layer.bonded_perimeter_mm == pytest.approx(wall)
    layer = layer_of(_section(hole, [_strand(36.0, 1)]), **plain)  # type: ignore[arg-type]
    assert layer.bonded_perimeter_mm == pytest.approx(wall + np.pi * 36.0)


def test_weaker_circumstances_never_thin_the_layer(materials: Materials) -> None:
    """Wet for dry, cyclic for long, unknown for a known wall, more head: never thinner."""
    section = _section(opening("round", 144.0, 0.0), [])

    def thick(head: float, wall: str, surface: str, *durations: str) -> float:
        return layer_of(
            section, head_m=head, wall=wall, surface=surface, durations=durations,  # type: ignore[arg-type]
            sealant=materials.sealant, least_mm=1.0, water_kg_per_m3=1000.0,
        ).layer_mm  # fmt: skip

    base = thick(2.0, "clay", "dry", "long")
    assert thick(2.0, "clay", "wet", "long") > base
    assert thick(2.0, "clay", "dry", "cyclic", "long") > base
    assert thick(2.5, "clay", "dry", "long") > base
    weakest = max(
        thick(2.0, w, "dry", "long") for w in ("smooth plastic", "clay", "fibre", "steel")
    )
    assert thick(2.0, "unknown duct", "dry", "long") >= weakest


def test_envelope_names_what_is_outside(materials: Materials) -> None:
    """Bore, circle, head, unknown head and duration are each named; inside is blank."""
    envelope = materials.sealant.envelope
    section = _section(opening("round", 125.0, 0.0), [])
    assert outside_envelope(envelope, section, head_m=5.0, durations=("long",)) == ""
    assert "head 5.001" in outside_envelope(envelope, section, head_m=5.001, durations=("long",))
    assert "not known" in outside_envelope(envelope, section, head_m=np.nan, durations=("long",))
    wide = _section(opening("round", 301.0, 0.0), [])
    assert "bore 301" in outside_envelope(envelope, wide, head_m=1.0, durations=("long",))
    short = envelope.model_copy(update={"durations": ("short",)})
    assert "duration" in outside_envelope(short, section, head_m=1.0, durations=("long",))

"""The section drawing: what stands in the tables is what is drawn, to scale and told apart."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from typing import Any

import pandas as pd
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from pipeline.publish.map_sections import sections
from pipeline.publish.section_drawing import (
    CABLE_SIGNS,
    SLEEVE_SIGNS,
    Piece,
    Section,
    across,
    along,
    drawing,
    fitted,
    key_of,
    paper_mm,
    section_of,
    side_by_side,
    sleeve_marks,
    sleeve_sizes,
)
from pipeline.publish.section_marks import Circle, Line, Oblong, Words, chord_mm, hatch


def _design(**changes: Any) -> dict[str, Any]:
    return {
        "end_id": "W-01", "is_designed": True, "shape": "round", "bore_mm": 120.0,
        "bore_b_mm": math.nan, "layer_mm": 22.3, "filler_length_mm": 80.0,
        "depth_needed_mm": 107.3, **changes,
    }  # fmt: skip


def _pieces() -> list[dict[str, Any]]:
    rows = [
        ("cable", "HV", 40.0, 0.0, -40.0),
        ("cable", "telecom", 14.0, 30.0, -20.0),
        ("collar", "telecom", 20.0, 30.0, -20.0),
        ("sleeve", None, 40.0, 0.0, 20.0),
        ("sleeve", None, 20.0, -35.0, 10.0),
        ("sleeve", None, 10.0, 35.0, 10.0),
    ]
    return [
        {"end_id": "W-01", "piece_no": i, "kind": k, "cable_class": c, "outer_mm": d,
         "x_mm": x, "y_mm": y}
        for i, (k, c, d, x, y) in enumerate(rows, start=1)
    ]  # fmt: skip


def _section(**changes: Any) -> Section:
    section = section_of(_design(**changes), _pieces())
    assert section is not None
    return section


def test_lengths_are_those_of_the_steps() -> None:
    """Whole millimetres, the layer up: recess 5 + 22.3 layer is worked as 5 and 23 (by hand)."""
    section = _section()
    assert (section.recess_mm, section.layer_mm, section.filler_mm) == (5.0, 23.0, 80.0)
    assert section.depth_mm == 108.0


def test_no_seal_no_drawing() -> None:
    """An end without a design has no section and no SVG."""
    assert section_of(_design(is_designed=False), []) is None
    tables = {
        "designs": pd.DataFrame([_design(is_designed=False)]),
        "placements": pd.DataFrame(_pieces()),
    }
    assert sections(tables, [{"opening_id": "W-01"}]) == {"drawings": [], "of": {}}


def test_every_piece_is_drawn_where_it_stands() -> None:
    """Each placement is one circle with its centre and radius, in mm of the duct."""
    circles = {
        (m.x_mm, m.y_mm, m.r_mm) for m in drawing(_section(), scale=3.0).marks
        if isinstance(m, Circle)
    }  # fmt: skip
    for row in _pieces():
        assert (row["x_mm"], row["y_mm"], row["outer_mm"] / 2.0) in circles
    assert (0.0, 0.0, 60.0) in circles


@pytest.mark.parametrize(
    ("shape", "b", "corner"),
    [("square", 120.0, 0.0), ("rectangular", 80.0, 0.0), ("oval", 80.0, 40.0)],
)
def test_outline_by_shape(shape: str, b: float, corner: float) -> None:
    """Square and rectangular openings have corners, an oval one ends in half circles."""
    outline = next(
        m for m in drawing(_section(shape=shape, bore_b_mm=b), scale=2.0).marks
        if isinstance(m, Oblong)
    )  # fmt: skip
    assert (outline.x1_mm - outline.x0_mm, outline.y1_mm - outline.y0_mm) == (120.0, b)
    assert outline.corner_mm == corner


def test_sub_duct_is_round() -> None:
    """A sub-duct is drawn as a circle of its bore."""
    marks = drawing(_section(shape="sub-duct", bore_mm=32.0), scale=1.0).marks
    assert any(isinstance(m, Circle) and m.r_mm == 16.0 for m in marks)


def test_along_the_duct_to_scale() -> None:
    """Sealant and filler are as long as they are; the bar of a cable runs through both."""
    section = _section()
    marks = drawing(section, scale=2.0).marks
    bars = [m for m in marks if isinstance(m, Oblong) and m.pen is not None]
    lengths = [round(m.x1_mm - m.x0_mm, 6) for m in bars]
    assert 23.0 in lengths
    assert 80.0 in lengths
    cable = [m for m in bars if math.isclose(m.y1_mm - m.y0_mm, 40.0) and m.y0_mm == -60.0]
    assert cable
    assert cable[0].x1_mm - cable[0].x0_mm > section.depth_mm


def test_hatch_ends_on_the_circle() -> None:
    """Chords of a circle by Pythagoras: r = 5, 3 off the centre, half a chord is 4."""
    assert chord_mm(5.0, 3.0) == 4.0
    assert chord_mm(5.0, 5.0) is None
    for (ax, ay), (bx, by) in hatch(10.0, -2.0, 5.0, 30.0, 0.9):
        assert math.hypot(ax - 10.0, ay + 2.0) == pytest.approx(5.0)
        assert math.hypot(bx - 10.0, by + 2.0) == pytest.approx(5.0)
        assert math.degrees(math.atan2(by - ay, bx - ax)) == pytest.approx(30.0)


def test_nothing_is_told_by_colour() -> None:
    """Classes differ in letters and in hatch or letters; sizes of sleeves differ in outline."""
    assert len({sign[0] for sign in CABLE_SIGNS.values()}) == len(CABLE_SIGNS)
    hatches = [sign[1:] for sign in CABLE_SIGNS.values() if sign[1]]
    assert len(set(hatches)) == len(hatches)
    assert len(set(SLEEVE_SIGNS)) == 6
    section = _section()
    assert sleeve_sizes(section) == [40.0, 20.0, 10.0]
    words = [m.words for m in drawing(section, scale=1.0).marks if isinstance(m, Words)]
    assert {"40", "20", "10", "HV", "T"} <= set(words)
    key = " ".join(m.words for m in key_of(section).marks if isinstance(m, Words))
    assert "1 x 40" in key
    assert "T = telecom" in key


def test_dimensions_in_words() -> None:
    """Bore, recess, sealant, filler and the scale stand beside the drawing."""
    words = [m.words for m in drawing(_section(), scale=2.5).marks if isinstance(m, Words)]
    assert {"Ø 120 mm", "recess 5 mm", "sealant 23 mm", "filler 80 mm", "Across, 1 : 2.5"} <= set(
        words
    )


def test_everything_lies_in_its_box() -> None:
    """No line and no circle leaves the paper that the drawing claims."""
    for view, scale, changes in itertools.product(
        (drawing, across, along),
        (1.0, 2.0, 5.0),
        ({}, {"shape": "rectangular", "bore_b_mm": 140.0}),
    ):
        one = view(_section(**changes), scale=scale)
        x0, y0, x1, y1 = one.box_mm
        for m in one.marks:
            if isinstance(m, Circle):
                assert x0 <= m.x_mm - m.r_mm
                assert m.x_mm + m.r_mm <= x1
            if isinstance(m, Line):
                assert all(x0 <= x <= x1 and y0 <= y <= y1 for x, y in m.ends_mm)
            if isinstance(m, Oblong):
                assert x0 <= m.x0_mm <= m.x1_mm <= x1
                assert y0 <= m.y0_mm <= m.y1_mm <= y1
            if isinstance(m, Words):
                # Adobe's metrics of Helvetica: capitals are 0.72 of the size
                wide = stringWidth(m.words, "Helvetica-Bold", m.height_mm * 1.39) * scale
                left = {"start": 0.0, "middle": wide / 2.0, "end": wide}[m.anchor]
                assert x0 <= m.x_mm - left
                assert m.x_mm - left + wide <= x1
                assert y0 <= m.y_mm - 0.3 * m.height_mm * scale
                assert m.y_mm + m.height_mm * scale <= y1


def test_fits_the_paper() -> None:
    """The largest standard scale that fits is taken."""
    one = fitted(_section(), width_mm=118.0, height_mm=76.0)
    x0, y0, x1, y1 = one.box_mm
    assert (x1 - x0) / one.scale <= 118.0
    assert (y1 - y0) / one.scale <= 76.0
    assert fitted(_section(), width_mm=400.0, height_mm=400.0).scale == 1.0


def test_svg_is_read_back_by_an_xml_reader() -> None:
    """The SVG holds each placement to 0.1 mm, no ids, no scripts, no styles."""
    tables = {"designs": pd.DataFrame([_design()]), "placements": pd.DataFrame(_pieces())}
    on_map = sections(tables, [{"opening_id": "W-01"}])
    svg, *words = on_map["drawings"][on_map["of"]["W-01"]]
    assert not re.search(r"<script|<style|\bid=|\bstyle=|\bon\w+=", svg)
    root = ET.fromstring(svg)
    space = "{http://www.w3.org/2000/svg}"
    texts = [t.text or "" for t in root.iter(f"{space}text")]
    scale = float(next(t for t in texts if t.startswith("Across")).split(": ")[1])
    circles = [
        tuple(float(c.attrib[k]) * scale for k in ("cx", "cy", "r"))
        for c in root.iter(f"{space}circle")
    ]
    assert "sleeve of 40 mm" in words
    assert any("sealant" in t for t in texts)  # the layer along the duct stands below
    middle = max(circles, key=lambda c: c[2])
    for row in _pieces():
        assert any(
            math.hypot(x - middle[0] - row["x_mm"], middle[1] - y - row["y_mm"]) < 0.1
            and abs(r - row["outer_mm"] / 2.0) < 0.1
            for x, y, r in circles
        )


@pytest.mark.parametrize("height", [46.0, 51.0, 76.0])
@pytest.mark.parametrize(
    ("shape", "a", "b"),
    [("round", 50.0, math.nan), ("round", 125.0, math.nan), ("round", 300.0, math.nan),
     ("rectangular", 400.0, 80.0), ("rectangular", 80.0, 300.0), ("oval", 160.0, 90.0)],
)  # fmt: skip
def test_two_views_use_the_free_paper(shape: str, a: float, b: float, height: float) -> None:
    """Both lie beside each other on 118 mm; none is smaller than one common scale would draw it."""
    section = _section(shape=shape, bore_mm=a, bore_b_mm=b)
    common = fitted(section, width_mm=118.0, height_mm=height)
    one, beside = side_by_side(section, width_mm=118.0, height_mm=height)
    assert one.scale <= common.scale
    assert beside.scale <= common.scale
    (wide, high), (wide_b, high_b) = paper_mm(one), paper_mm(beside)
    assert wide + wide_b <= 118.0
    assert max(high, high_b) <= height


def test_small_sleeves_stay_rings_with_numbers() -> None:
    """A sleeve of 10 mm at 1 : 5 is 2 mm on paper: its pen leaves most of it white, its size stands."""
    for rank in range(len(SLEEVE_SIGNS)):
        ring, *rest = sleeve_marks(Piece("sleeve", "", 10.0, 0.0, 0.0), rank, 5.0)
        assert isinstance(ring, Circle)
        assert ring.pen is not None
        assert ring.pen.width_mm <= 0.25
        words = [m for m in rest if isinstance(m, Words)]
        assert [m.words for m in words] == ["10"]
    full, *_ = sleeve_marks(Piece("sleeve", "", 40.0, 0.0, 0.0), 0, 5.0)
    assert isinstance(full, Circle)
    assert full.pen == SLEEVE_SIGNS[0][0]

"""The answer to a later cable says in the same breath which limits it exceeds."""

from __future__ import annotations

from typing import Any

from pipeline.core.materials import Materials
from pipeline.design import Stored, change_sheet

DESIGN = {
    "end_id": "E-01", "is_needed": "True", "is_designed": "True", "shape": "round",
    "bore_mm": "118.0", "bore_b_mm": "", "layer_mm": "20.0", "allowance_frac": "0.15",
    "sealant_ml": "200.0", "cure_days": "7", "hold_words": "", "hold_reach": "none",
    "cautions": "",
}  # fmt: skip


def lines(materials: Materials, cables: list[tuple[float, float, float]], *new: float) -> list[str]:
    """The sheet of a 118 mm bore with these cables (mm across, right, up) and no sleeve."""
    placed: list[dict[str, Any]] = [
        {"piece_no": str(i), "kind": "cable", "outer_mm": str(d), "x_mm": str(x), "y_mm": str(y)}
        for i, (d, x, y) in enumerate(cables, start=1)
    ]
    return change_sheet(Stored(DESIGN, placed, [], materials.filler, (40.0, 20.0)), list(new))


def test_fill_over_its_limit_stands_in_the_line_of_the_yes(materials: Materials) -> None:
    """36 and 80 mm in 118: (36^2 + 80^2) / 118^2 = 55.3 %, two cables 31 % (NEC ch. 9, table 1)."""
    verdict = lines(materials, [(36.0, 0.0, -41.0)], 80.0)[1]
    assert verdict.strip() == (
        "80 mm: yes, there is a place; but the fill limit for pulling is exceeded: "
        "55.3 % of the bore, over 31 % (NEC chapter 9, table 1)"
    )


def test_jam_stands_in_the_line_of_the_yes(materials: Materials) -> None:
    """Third 40 mm cable in 118: 118 / 40 = 2.95; 3 x 40^2 / 118^2 = 34.5 % is under 40 %."""
    verdict = lines(materials, [(40.0, -20.0, -34.0), (40.0, 20.0, -34.0)], 40.0)[1]
    assert "yes, there is a place; but it may jam: bore over cable 2.95" in verdict
    assert "exceeded" not in verdict


def test_within_the_limits_there_is_no_but(materials: Materials) -> None:
    """15 mm beside 36 mm: (36^2 + 15^2) / 118^2 = 10.9 % is under 31 %."""
    sheet = lines(materials, [(36.0, 0.0, -41.0)], 15.0)
    assert sheet[1].strip().startswith("15 mm: yes, ")
    assert not [line for line in sheet if "; but " in line]


def test_several_cables_have_an_answer_for_all_of_them(materials: Materials) -> None:
    """50 and 40 beside 36 mm: (50^2 + 40^2 + 36^2) / 118^2 = 38.8 % is under 40 % for three.

    On the way there 36 and 50 mm are 27.3 % of 31 %. With all of them in, 118 / 40 = 2.95 may jam.
    """
    sheet = lines(materials, [(36.0, 0.0, -41.0)], 40.0, 50.0)
    assert sheet[1].strip().startswith("all 2: yes, there are places; but it may jam: bore over")
    assert "exceeded" not in sheet[1]
    none = lines(materials, [(36.0, 0.0, -41.0)], 80.0, 80.0)
    assert none[1].strip() == "all 2: no, 1 of them finds a place"

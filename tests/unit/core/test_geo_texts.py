"""Grid letters, degrees-minutes-seconds, and addresses of cells, by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.core import geo
from pipeline.core.cells import Addresses, cell_name, letter


# 100 km squares of the national grid (OS guide, section 7): TG begins at 600 km E, 300 km N;
# SV at 0, 0; NU at 400, 600; HP at 400, 1200; TQ at 500, 100
@pytest.mark.parametrize(
    ("text", "east", "north", "size"),
    [
        ("TG 51409 13177", 651_409, 313_177, 1),  # the water tower of annex C
        ("TG5140913177", 651_409, 313_177, 1),
        ("tg 514 131", 651_400, 313_100, 100),
        ("SV00", 0, 0, 10_000),
        ("NU 80000 40000", 480_000, 640_000, 1),
        ("HP 6000 1000", 460_000, 1_210_000, 10),
        ("TQ 30, 80", 530_000, 180_000, 1_000),
    ],
)
def test_letters(text: str, east: float, north: float, size: float) -> None:
    """Letters give the square, figures the place in it and its size."""
    assert geo.grid_square(text) == geo.GridSquare(east, north, size)


@pytest.mark.parametrize(
    "text",
    ["TG 5140 131", "TG 514", "TI 12 34", "T 12 34", "TG", "TG 123456 123456", "", "TG 1a 2b"],
)
def test_letters_that_cannot_be_read(text: str) -> None:
    """Odd figures, no figures, a letter I, or too many are no grid reference."""
    with pytest.raises(geo.NoGridReference):
        geo.grid_square(text)


@pytest.mark.parametrize("text", ["XX 123 456", "AA 12 34", "VV 12 34", "ZZ 1 2"])
def test_letters_outside_the_country(text: str) -> None:
    """XX would give a negative northing: outside, not a position."""
    with pytest.raises(geo.OutsideGrid):
        geo.grid_square(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("52°39′27.2531″N", 52 + 39 / 60 + 27.2531 / 3600),
        ("1°43'4.5177\"W", -(1 + 43 / 60 + 4.5177 / 3600)),
        ("-1 30 0", -1.5),
        ("52° 39.5' N", 52 + 39.5 / 60),
        ("12.5 S", -12.5),
        ("52°61'00\"N", None),
        ("52°10'60\"N", None),
        ("52.65", None),
        ("north", None),
    ],
)
def test_degrees_minutes_seconds(text: str, value: float | None) -> None:
    """Minutes and seconds below 60; south and west count negative; plain figures are not DMS."""
    got = geo.degrees_from_dms(text)
    assert got == (pytest.approx(value, abs=1e-12) if value is not None else None)


def test_letters_of_columns() -> None:
    """A, Z, AA, AZ, BA, XFD: the last column of a spreadsheet is the 16 384th."""
    assert [letter(i) for i in (0, 25, 26, 51, 52, 16_383)] == ["A", "Z", "AA", "AZ", "BA", "XFD"]
    assert (cell_name("H", 14), cell_name("H", None), cell_name("", 3)) == ("H14", "H", "")


def test_addresses() -> None:
    """A house name is found under the letter it had in that sheet; else the row is named."""
    table = pd.DataFrame(
        [{"file": "north.xlsx", "sheet": "ducts", "house_name": "bore_mm", "letter": "H"}]
    )
    at = Addresses(table)
    assert at.cell("north.xlsx", "ducts", "bore_mm", 14) == "ducts!H14 in north.xlsx"
    assert at.cell("north.xlsx", "ducts", "shape", 14) == "ducts row 14 in north.xlsx"
    assert at.cell("north.xlsx", "ducts", "shape", pd.NA) == "ducts in north.xlsx"

"""World geoid heights at known cities, where a grid is installed."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.intake.checks.geoid import separation_m

# Expected values: EGM96 15' grid of the PROJ data package, as listed with the survey rules
# (geoid separation by city). City coordinates from memory, hence the tolerance of 0.6 m.
CITIES = {
    "Manchester": (-2.24, 53.48, 51.4),
    "London": (-0.13, 51.51, 46.0),
    "Inverness": (-4.22, 57.48, 53.5),
    "Belfast": (-5.93, 54.60, 56.0),
    "New York": (-74.01, 40.71, -32.8),
    "Mumbai": (72.88, 19.08, -68.5),
}
TOLERANCE_M = 0.6


@pytest.mark.parametrize("city", sorted(CITIES))
def test_separation_of_cities(city: str) -> None:
    """The detector gives the published geoid height with the right sign (h = H + N)."""
    lon, lat, expected_m = CITIES[city]
    got = separation_m([lon], [lat], "OGC:CRS84")
    if got is None:
        pytest.skip("no world geoid grid on this machine")
    assert got[0] == pytest.approx(expected_m, abs=TOLERANCE_M)


def test_unknown_place_stays_unknown() -> None:
    """A place without position has no separation; it is not zero."""
    got = separation_m([np.nan, -2.24], [np.nan, 53.48], "OGC:CRS84")
    if got is None:
        pytest.skip("no world geoid grid on this machine")
    assert np.isnan(got[0])
    assert np.isfinite(got[1])

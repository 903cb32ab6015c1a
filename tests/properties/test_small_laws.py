"""Laws of small functions, tried on whatever hypothesis thinks of."""

from __future__ import annotations

import json
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.core.curves import chance_of_level
from pipeline.core.harmless import harmless_text
from pipeline.core.units import down_mm, up_mm
from pipeline.publish.map_data import as_json

LEVEL = st.floats(-50.0, 500.0, allow_nan=False)
COMMON = settings(max_examples=200, deadline=None, derandomize=True)


@COMMON
@given(LEVEL)
def test_openings_round_down_and_water_up(level_m: float) -> None:
    """down <= level <= up, less than a millimetre apart, and whole millimetres stay."""
    low, high = float(down_mm(level_m)), float(up_mm(level_m))
    assert low <= level_m * 1000 + 1e-3
    assert high >= level_m * 1000 - 1e-3
    assert high - low <= 1
    whole = round(level_m, 3)
    assert float(down_mm(whole)) == float(up_mm(whole)) == round(whole * 1000)


@COMMON
@given(
    st.lists(st.tuples(LEVEL, st.sampled_from([0.1, 0.0333, 0.01, 0.005, 0.001]), st.booleans()),
             min_size=1, max_size=8),
    st.lists(LEVEL, min_size=2, max_size=6),
)  # fmt: skip
def test_higher_levels_are_never_reached_more_often(
    events: list[tuple[float, float, bool]], wanted: list[float]
) -> None:
    """The chance of a level-chance curve never rises with the level, whatever the events say."""
    levels, aeps, dry = (np.array(v) for v in zip(*events, strict=True))
    chance, _ = chance_of_level(levels, aeps, np.sort(np.array(wanted)), is_dry=dry)
    assert (np.diff(chance) <= 1e-12).all()
    assert ((chance > 0) & (chance <= 1)).all()


@COMMON
@given(st.text(max_size=40))
def test_no_text_is_a_formula(text: str) -> None:
    """Text cells never begin with a sign that a spreadsheet reads as a formula (OWASP list)."""
    out = harmless_text(text)
    assert out[:1] not in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
    assert out.lstrip("'") == text.replace("\x00", "").lstrip("'") or out.startswith("'")


@COMMON
@given(st.recursive(st.text(max_size=30) | st.integers() | st.none(),
                    lambda inner: st.lists(inner, max_size=3), max_leaves=8))  # fmt: skip
def test_data_cannot_end_its_script(value: object) -> None:
    """The map's data holds no '<', reads back the same, and has no line separators of scripts."""
    text = as_json({"value": value})
    assert "<" not in text
    assert "\u2028" not in text
    assert json.loads(text) == {"value": value}


def test_unknown_levels_stay_unknown() -> None:
    """NaN in, NaN out: nothing is rounded into being."""
    assert math.isnan(float(down_mm(math.nan)))
    assert math.isnan(float(up_mm(math.nan)))

"""Gas-tightness as a driver of its own: an end may need a seal though it is above water."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.core.errors import UsageError
from pipeline.core.materials import Materials
from pipeline.tables import Tables

Run = Callable[..., Tables]
ABOVE = [{"level_class": "above", "reason": "above by 900 mm", "rarest_level_m": 9.0,
          "policy_level_m": 8.5}]  # fmt: skip
RATED = [{"condition": "sound", "water_passing": "none", "inspected_on": "2029-06-01",
          "rated_head_m": 5.0}]  # fmt: skip


def _row(out: Tables, end: str = "D1") -> dict[str, Any]:
    return next(r for r in out["designs"].to_dict("records") if r["end_id"] == end)


@pytest.mark.parametrize("name", ["D1", "E1", "C1", "B1", "S1"])
def test_an_end_above_water_is_sealed_where_gas_is_named(run: Run, name: str) -> None:
    """Named by end, entry, far chamber, building or site: sealed though above, at the policy layer."""
    assert not _row(run(reach=ABOVE))["is_needed"]
    row = _row(run(policy={"gas_tight": (name,)}, reach=ABOVE))
    assert row["is_needed"]
    assert row["is_designed"]
    assert row["layer_mm"] == 20.0
    assert row["need_reason"].startswith(f"gas-tight: asked for at {name}; above")
    assert "Gas-tightness proved" in row["steps"]
    assert "not thereby a seal against gas" in row["cautions"]


def test_wet_wells_are_named_as_a_kind(run: Run) -> None:
    """'wet well' means every duct from one, and no other duct."""
    policy = {"gas_tight": ("wet well",)}
    assert not _row(run(policy=policy, reach=ABOVE))["is_needed"]
    row = _row(run(policy=policy, reach=ABOVE, chambers=[{"kind": "wet well"}]))
    assert row["is_needed"]
    assert "wet well C1" in row["need_reason"]
    assert row["hold_reach"] == "order"


def test_a_seal_rated_for_water_is_not_taken_as_gas_tight(run: Run) -> None:
    """A kept flood seal stays kept without the demand; with it a new seal goes over it."""
    row = _row(run(seals=RATED))
    assert (row["is_needed"], row["old_seal"]) == (False, "keep")
    row = _row(run(policy={"gas_tight": ("D1",)}, seals=RATED))
    assert (row["is_needed"], row["old_seal"]) == (True, "over-seal")


def test_chamber_ends_stay_as_they_are(run: Run) -> None:
    """The wall is where gas is stopped, as for water."""
    ends = [{}, {"end_id": "D2", "place_kind": "chamber", "place_id": "C1", "building_id": None}]
    assert not _row(run(policy={"gas_tight": ("C1",)}, ends=ends), "D2")["is_needed"]


def test_a_certificate_without_gas_test_holds_the_design(run: Run, materials: Materials) -> None:
    """With real materials and no gas test: outside the tested envelope, only where gas is asked."""
    about = materials.about.model_copy(update={"example": False, "certificate": "invented"})
    untested = materials.sealant.envelope.model_copy(update={"gas_tested": False})
    sealant = materials.sealant.model_copy(update={"envelope": untested})
    real = materials.model_copy(update={"about": about, "sealant": sealant})
    assert _row(run(stuff=real))["hold_reach"] == "none"
    row = _row(run(policy={"gas_tight": ("D1",)}, stuff=real))
    assert row["hold_codes"] == "outside envelope"
    assert "gas-tightness not tested" in row["hold_words"]
    tested = real.sealant.envelope.model_copy(update={"gas_tested": True})
    real = real.model_copy(update={"sealant": real.sealant.model_copy(update={"envelope": tested})})
    assert _row(run(policy={"gas_tight": ("D1",)}, stuff=real))["hold_reach"] == "none"


def test_a_name_that_stands_for_nothing_is_told(run: Run) -> None:
    """A slip of the pen in the setting must not leave an end unsealed without a word."""
    with pytest.raises(UsageError, match="B-nope"):
        run(policy={"gas_tight": ("B1", "B-nope")})

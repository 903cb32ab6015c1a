"""Laws of the water's way on the whole clean survey: moved together nothing changes, more never dries."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.core import contract, settings_file
from pipeline.core.settings import Settings
from pipeline.exposure import exposure
from pipeline.intake import intake
from pipeline.levels import levels
from pipeline.tables import Tables, hand_over

ROOT = Path(__file__).resolve().parents[2]
# wetter first; an opening without a flood level may be wet, so nothing may come to it from `below`
_DRYNESS = {contract.BELOW: 0, contract.NO_LEVEL: 0, contract.CLOSE: 1, contract.NO_FLOOD: 1,
            contract.ABOVE: 2}  # fmt: skip
_MOVED = {
    "levels": ("level_m", "second_level_m"),
    "floods": ("level_m", "ground_m"),
    "ground": ("ground_m", "ring_low_m"),
}


@pytest.fixture(scope="module")
def clean() -> tuple[Tables, Settings]:
    """Survey, levels and floods of the clean programme."""
    settings = settings_file.load(ROOT / "configs" / "clean.toml")
    tables = hand_over("intake", intake(settings))
    new = hand_over("levels", levels(tables, settings))
    tables.update({k: v for k, v in new.items() if k != "findings"})
    return tables, settings


def reach(tables: Tables, settings: Settings) -> pd.DataFrame:
    """Openings by id."""
    return exposure(tables, settings)["reach"].set_index("opening_id").sort_index()


@pytest.fixture(scope="module")
def as_is(clean: tuple[Tables, Settings]) -> pd.DataFrame:
    """Openings of the survey as it is."""
    return reach(*clean)


def with_table(clean: tuple[Tables, Settings], **tables: Any) -> tuple[Tables, Settings]:
    """The programme with some tables in place of its own."""
    return {**clean[0], **tables}, clean[1]


def assert_no_drier(before: pd.DataFrame, after: pd.DataFrame) -> None:
    """No opening of the first is drier in the second, and none is lost."""
    assert set(before.index) <= set(after.index)
    one = before["level_class"].map(_DRYNESS)
    two = after.loc[before.index, "level_class"].map(_DRYNESS)
    drier = two > one
    assert not drier.any(), after.loc[before.index][drier]
    known = before["margin_mm"].notna() & after.loc[before.index, "margin_mm"].notna()
    assert (after.loc[before.index, "margin_mm"][known] <= before["margin_mm"][known] + 1e-9).all()


@pytest.mark.parametrize("by_mm", [1, -1, 137, -2481, 10_000])
def test_moved_by_whole_millimetres_nothing_changes(
    clean: tuple[Tables, Settings], as_is: pd.DataFrame, by_mm: int
) -> None:
    """Every level, ground and flood level higher or lower by one amount: same classes and margins."""
    moved = {
        name: clean[0][name].assign(
            **{c: (clean[0][name][c] + by_mm / 1000.0).round(6) for c in columns}
        )
        for name, columns in _MOVED.items()
    }
    after = reach(*with_table(clean, **moved))
    assert after["level_class"].tolist() == as_is["level_class"].tolist()
    pd.testing.assert_series_equal(after["margin_mm"], as_is["margin_mm"])
    pd.testing.assert_series_equal(after["limit_mm"], as_is["limit_mm"])
    assert {contract.BELOW, contract.ABOVE} <= set(as_is["level_class"])


@pytest.mark.parametrize("by_mm", [1, 50, 300])
def test_higher_water_dries_nothing(
    clean: tuple[Tables, Settings], as_is: pd.DataFrame, by_mm: int
) -> None:
    """All water higher by one amount."""
    floods = clean[0]["floods"]
    after = reach(
        *with_table(clean, floods=floods.assign(level_m=floods["level_m"] + by_mm / 1000.0))
    )
    assert_no_drier(as_is, after)
    if by_mm == 300:
        assert (after["level_class"] != as_is["level_class"]).any()


@pytest.mark.parametrize("factor", [1.5, 4.0])
def test_larger_doubt_clears_nothing(
    clean: tuple[Tables, Settings], as_is: pd.DataFrame, factor: float
) -> None:
    """Every doubt larger: what was not above does not become it, and no margin changes."""
    table = clean[0]["levels"]
    wider = table.assign(
        **{c: table[c] * factor for c in ("u_shared_m", "u_own_m", "bias_m", "limit_mm")}
    )
    after = reach(*with_table(clean, levels=wider))
    above = after["level_class"] == contract.ABOVE
    assert (as_is.loc[above, "level_class"] == contract.ABOVE).all()
    pd.testing.assert_series_equal(after["margin_mm"], as_is["margin_mm"])


def test_one_link_more_dries_nothing(clean: tuple[Tables, Settings], as_is: pd.DataFrame) -> None:
    """A proved duct more from each entry to each chamber of another place, one at a time."""
    ends = clean[0]["ends"]
    pattern = ends[ends["place_kind"] == "entry"].iloc[0]
    entries = sorted(ends.loc[ends["place_kind"] == "entry", "place_id"].dropna().unique())
    chambers = sorted(clean[0]["chambers"]["chamber_id"])
    changed = 0
    for i, entry in enumerate(entries[:6]):
        like = ends[ends["place_id"] == entry].iloc[0]
        row = {**pattern.to_dict(), **like.to_dict(), "end_id": "NEW-1",
               "far_place_id": chambers[(i * 3) % len(chambers)], "far_end_id": None}  # fmt: skip
        more = pd.concat([ends, pd.DataFrame([row]).astype(ends.dtypes.to_dict())])
        after = reach(*with_table(clean, ends=more.reset_index(drop=True)))
        assert_no_drier(as_is, after)
        changed += int("NEW-1" in after.index)
    assert changed == 6


def test_one_seal_fewer_dries_nothing(clean: tuple[Tables, Settings], as_is: pd.DataFrame) -> None:
    """Sound, rated and inspected seals in six ends that are below; then without one at a time."""
    below = as_is[(as_is["level_class"] == contract.BELOW) & as_is["end_id"].notna()]
    ends = sorted(below["end_id"])[:6]
    rows = [
        {"seal_id": f"Z-{i}", "end_id": end, "kind": "mastic", "condition": "sound",
         "water_passing": "none", "inspected_on": "2026-02-01", "rated_head_m": 20.0}
        for i, end in enumerate(ends)
    ]  # fmt: skip
    empty = clean[0]["seals"]
    seals = pd.DataFrame(rows).reindex(columns=empty.columns).astype(empty.dtypes.to_dict())
    sealed = reach(*with_table(clean, seals=seals))
    assert_no_drier(sealed, as_is)
    assert (sealed.loc[below.index, "level_class"] != contract.BELOW).sum() == 6
    for i in range(len(seals)):
        fewer = seals.drop(index=seals.index[i]).reset_index(drop=True)
        assert_no_drier(sealed, reach(*with_table(clean, seals=fewer)))


def test_a_duct_less_known_dries_nothing(
    clean: tuple[Tables, Settings], as_is: pd.DataFrame
) -> None:
    """Proof and far end of each duct forgotten, six at a time."""
    ends = clean[0]["ends"]
    for start in range(0, len(ends), 6):
        some = ends.index[start : start + 6]
        for column in ("far_proof", "far_place_id"):
            less = ends.copy()
            less.loc[some, column] = None
            assert_no_drier(
                as_is.assign(margin_mm=float("nan")), reach(*with_table(clean, ends=less))
            )

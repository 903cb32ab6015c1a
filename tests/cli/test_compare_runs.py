"""`stanch compare`: after one changed input it names that input and only what depends on it.

Runs are made from the clean sample by changing one thing at a time. What differs between two runs
is found here a second time with the csv module alone; which inputs a row depends on is checked
against runs in which each input was changed alone.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from pipeline import run as job
from pipeline.ask import compare_runs
from pipeline.core import settings_file
from pipeline.publish.record import write_record
from pipeline.publish.tables_csv import write_tables
from tests.spoiled import ROOT, Programme

BUYING = ROOT / "configs" / "buying"
END = "K01-B1-E1-03"
Rows = dict[tuple[str, ...], dict[str, str]]
Maker = Callable[[str], Path]


def dip(p: Programme) -> None:
    """One measured number of one duct end: 0.30 m higher."""
    assert p.book.value("ducts", END, "above_m") == -1.71
    p.book.type("ducts", END, "above_m", -1.41)


def grid(p: Programme) -> None:
    """The 1 % grid 0.15 m higher."""

    def raise_water(cells: object, index: object) -> None:
        del index
        cells[cells > -1000] += 0.15  # type: ignore[index, operator]

    p.grid("level_1pc.tif", raise_water)


def price(p: Programme) -> None:
    """One price of one item: 4.00 a pack of 50 dearer."""
    text = (BUYING / "prices.csv").read_text("utf-8")
    assert "sleeve-20,S1,S1-2020,50,19.50" in text
    (p.folder / "prices.csv").write_text(text.replace("2020,50,19.50", "2020,50,23.50"), "utf-8")
    p.change((BUYING / "prices.csv").as_posix(), (p.folder / "prices.csv").as_posix())


def policy(p: Programme) -> None:
    """Freeboard 0.45 m in place of 0.30."""
    p.change("freeboard_m = 0.30", "freeboard_m = 0.45")


def materials(p: Programme) -> None:
    """The largest sleeve is 36 mm in place of 40."""
    file = ROOT / "configs" / "materials_example.toml"
    text = file.read_text("utf-8").replace("outer_mm = 40.0", "outer_mm = 36.0")
    (p.folder / "materials.toml").write_text(text, "utf-8")
    p.change(file.as_posix(), (p.folder / "materials.toml").as_posix())


def several(p: Programme) -> None:
    """All but the materials at once."""
    for spoil in (dip, grid, price, policy):
        spoil(p)


def nothing(p: Programme) -> None:
    """The programme as it is."""
    del p


def second(p: Programme) -> None:
    """The second example catalogue with its items and prices."""
    configs = ROOT / "configs"
    for old, new in (
        ("materials_example.toml", "materials_second_example.toml"),
        ("buying/items.csv", "buying/items_second.csv"),
        ("buying/prices.csv", "buying/prices_second.csv"),
    ):
        p.change((configs / old).as_posix(), (configs / new).as_posix())


SPOILS = {f.__name__: f for f in (nothing, dip, grid, price, policy, materials, several, second)}
# words that name each input in a line of the comparison
NAMED = {
    "dip": f"survey.xlsx ducts!U4 (above_m of {END}): -1.71 -> -1.41",
    "grid": "file of flood.source[river 1 %].path: level_1pc.tif",
    "price": "prices.csv sleeve-20 from S1, pack of 50, from 2026-01-01: price_minor 1950 -> "
    "price_minor 2350",
    "policy": "setting flood.freeboard_m: 0.3 -> 0.45",
    "materials": "materials.toml sleeve-40: outer_mm 40.0 -> outer_mm 36.0",
}  # fmt: skip
# sheet of the workbook, table, columns that name a row there
SHEETS = (
    ("Openings", "reach", ("opening_id",)),
    ("Ends", "designs", ("end_id",)),
    ("Quantities", "needs", ("item_id", "region", "month", "site_id", "firmness", "belongs_to")),
    ("Packages", "choices", ("building_id",)),
    ("Package steps", "packages", ("package_id",)),
    ("Orders", "order_lines", ("item_id", "region", "month")),
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Maker:
    """Run folders of the clean sample by what was changed in it: record and tables only."""
    folders: dict[str, Path] = {}

    def make(name: str) -> Path:
        if name not in folders:
            home = tmp_path_factory.mktemp(name)
            programme = Programme(home)
            SPOILS[name](programme)
            config = programme.config()
            settings = settings_file.load(config)
            tables, run_id, _ = job.compute(config, settings)
            write_tables(home / "run" / "tables", tables)
            write_record(home / "run" / "run.json", tables, settings, run_id, when=dict)
            folders[name] = home / "run"
        return folders[name]

    return make


def rows(folder: Path, table: str, key: tuple[str, ...]) -> Rows:
    """A table of a run by key, read with the csv module alone."""
    with (folder / "tables" / f"{table}.csv").open(encoding="utf-8-sig", newline="") as file:
        return {tuple(r[k] for k in key): r for r in csv.DictReader(file)}


def differ(one: Path, other: Path, table: str, key: tuple[str, ...]) -> set[tuple[str, ...]]:
    """Keys of rows that differ between two runs."""
    a, b = rows(one, table, key), rows(other, table, key)
    return {k for k in a.keys() | b.keys() if a.get(k) != b.get(k)}


def sheet(file: Path, name: str) -> list[dict[str, object]]:
    """Rows of a sheet of the workbook by heading."""
    page = openpyxl.load_workbook(file)[name]
    head, *body = list(page.iter_rows(min_row=4, values_only=True))
    return [
        dict(zip((str(h) for h in head), row, strict=True))
        for row in body
        if row[0] != "Nothing to list."
    ]


def listed(file: Path, name: str, width: int) -> dict[tuple[str, ...], set[int]]:
    """Keys of the rows of a sheet, and the numbers of the inputs that each names."""
    out = {}
    for row in sheet(file, name):
        key = tuple(str(v) for v in list(row.values())[:width])
        causes = str(row["Depends on inputs no."] or "")
        out[key] = {int(n) for n in causes.split(",") if n.strip()}
    return out


def numbers(file: Path) -> dict[str, int]:
    """Number of each known input in the sheet Inputs."""
    out = {}
    for row in sheet(file, "Inputs"):
        words = f"{row['Input']}: {row['Before']} -> {row['After']}"
        for name, start in NAMED.items():
            if words.startswith(start):
                out[name] = int(str(row["No."]))
    return out


def compare(one: Path, other: Path, out: Path) -> list[str]:
    """Compare and write the workbook."""
    return compare_runs(one, other, out=out)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(n, marks=pytest.mark.slow) if n in {"materials", "grid", "policy"} else n
        for n in NAMED
    ],
)
def test_one_changed_input_is_named_and_only_what_depends_on_it(
    made: Maker, tmp_path: Path, name: str
) -> None:
    """Exactly the rows that differ are listed, and each names the one input that was changed."""
    base, changed, out = made("nothing"), made(name), tmp_path / "c.xlsx"
    lines = compare(base, changed, out)
    assert any(NAMED[name] in line for line in lines), lines
    number = numbers(out)[name]
    inputs = [r for r in sheet(out, "Inputs") if "the same rows were read" not in str(r.values())]
    assert len(inputs) == 1
    seen = 0
    for title, table, key in SHEETS:
        found = listed(out, title, len(key))
        assert set(found) == differ(base, changed, table, key), title
        assert all(causes == {number} for causes in found.values()), title
        seen += len(found)
    assert seen


def test_what_a_dip_a_price_and_a_grid_leave_alone(made: Maker) -> None:
    """A dip moves no water; a price moves no level, class or drawing; a grid moves no level."""
    base = made("nothing")
    still = {
        "dip": ("floods", "policies", "needs", "order_lines"),
        "price": ("levels", "floods", "links", "reach", "designs", "needs"),
        "grid": ("levels", "links", "policies"),
        "policy": ("levels", "floods", "links"),
        "materials": ("levels", "floods", "links", "policies", "reach"),
    }
    for name, tables in still.items():
        text = "\n".join(compare_runs(base, made(name)))
        leads = next(line for line in text.splitlines() if "leads to:" in line)
        said = {"levels": " level", "floods": "flood level", "links": " link", "reach": "opening",
                "policies": "polic", "designs": " end", "needs": " need",
                "order_lines": "order line"}  # fmt: skip
        for table in tables:
            words = leads.replace("flood level", "") if table == "levels" else leads
            assert said[table] not in words, (name, table, leads)


def test_openings_of_a_dip_hang_on_that_end(made: Maker, tmp_path: Path) -> None:
    """Every opening listed for a changed number of one end has the end itself on its way."""
    out = tmp_path / "c.xlsx"
    compare(made("nothing"), made("dip"), out)
    for (opening,) in listed(out, "Openings", 1):
        both = [rows(made(n), "reach", ("opening_id",))[opening,] for n in ("nothing", "dip")]
        assert opening == END or any(END in r["way_words"] for r in both), opening


def test_money_of_a_price_ties_to_the_packs(made: Maker) -> None:
    """The order total moves by packs x 4.00 in the line of that item and in the sum."""
    base, dearer = (rows(made(n), "order_lines", ("region", "month", "item_id"))
                    for n in ("nothing", "price"))  # fmt: skip
    packs = sum(int(r["packs_count"]) for k, r in base.items() if k[2] == "sleeve-20")
    sums = [sum(int(r["line_minor"]) for r in t.values()) for t in (base, dearer)]
    assert packs > 0
    assert sums[1] - sums[0] == packs * 400
    line = next(x for x in compare_runs(made("nothing"), made("price")) if "Orders (" in x)
    assert f"{sums[0] / 100:,.2f} GBP -> {sums[1] / 100:,.2f} GBP (+{packs * 4} GBP)" in line


@pytest.mark.slow
def test_of_several_inputs_every_one_that_alone_changes_a_row_is_named(
    made: Maker, tmp_path: Path
) -> None:
    """A row names at least the inputs that change it when they are changed alone."""
    base, out = made("nothing"), tmp_path / "c.xlsx"
    compare(base, made("several"), out)
    number = numbers(out)
    names = ("dip", "grid", "price", "policy")
    assert sorted(number) == sorted(names)
    narrow = 0
    for title, table, key in SHEETS:
        found = listed(out, title, len(key))
        assert set(found) == differ(base, made("several"), table, key), title
        alone = {n: differ(base, made(n), table, key) for n in names}
        for row, causes in found.items():
            assert causes, (title, row)
            assert {number[n] for n in names if row in alone[n]} <= causes, (title, row)
            narrow += len(causes) < len(names)
    assert narrow >= 20  # the answer is not simply 'all of them'
    for row, causes in listed(out, "Ends", 1).items():
        assert number["price"] not in causes, row


def test_the_same_inputs(made: Maker) -> None:
    """A run against itself says so, and nothing else."""
    lines = compare_runs(made("nothing"), made("nothing"))
    assert lines[1] == "The same inputs; nothing differs."
    assert len(lines) == 2


@pytest.mark.slow
def test_two_catalogues_side_by_side(made: Maker, tmp_path: Path) -> None:
    """The second example catalogue: its sleeves come in, those of the first go out, in one table."""
    out = tmp_path / "c.xlsx"
    compare(made("nothing"), made("second"), out)
    quantities = {
        str(r["Item"]): (r["Quantity, before"], r["Quantity, after"])
        for r in sheet(out, "Quantities")
        if str(r["Item"]).startswith("sleeve-")
    }
    assert {q for i, q in quantities.items() if q[0] is None}, quantities
    for item, (before, after) in quantities.items():
        assert (before is None) == (item in {"sleeve-12", "sleeve-18", "sleeve-25", "sleeve-35"})
        assert (after is None) == (before is not None)
    assert not sheet(out, "Openings")


@pytest.mark.slow
def test_two_writes_are_the_same_bytes(made: Maker, tmp_path: Path) -> None:
    """The workbook knows no clock and no path."""
    for name in ("a.xlsx", "b.xlsx"):
        compare(made("nothing"), made("dip"), tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


@pytest.mark.slow
def test_hostile_words_stay_text(made: Maker, tmp_path: Path) -> None:
    """A survey text with an escape and a formula is shown as text on screen and in the workbook."""
    import shutil

    copy = tmp_path / "copy"
    shutil.copytree(made("nothing"), copy)
    file = copy / "tables" / "sites.csv"
    text = file.read_text("utf-8-sig")
    old = rows(copy, "sites", ("site_id",))["K01",]["site_name"]
    file.write_text(text.replace(old, "=1+1 \x1b[31mred", 1), "utf-8-sig")
    lines = compare_runs(made("nothing"), copy, out=tmp_path / "c.xlsx")
    assert not any("\x1b" in line for line in lines)
    assert any("=1+1" in line for line in lines)
    page = openpyxl.load_workbook(tmp_path / "c.xlsx")["Inputs"]
    cells = [c for row in page.iter_rows() for c in row if "=1+1" in str(c.value)]
    assert cells
    assert all(c.data_type == "s" for c in cells)


def test_a_release_is_an_input(made: Maker, tmp_path: Path) -> None:
    """A record that came in is named with file, sheet and row; nothing says 'the same rows'."""
    import shutil

    copy = tmp_path / "copy"
    shutil.copytree(made("nothing"), copy)
    file = copy / "tables" / "releases.csv"
    head = file.read_text("utf-8-sig").splitlines()[0].split(",")
    row = {"file": "releases.csv", "sheet": "releases", "row": "2", "release_id": "R-1",
           "end_id": END, "hold": "water", "is_used": "True"}  # fmt: skip
    text = ",".join(head) + "\n" + ",".join(row.get(h, "") for h in head) + "\n"
    file.write_text(text, "utf-8-sig")
    designs = copy / "tables" / "designs.csv"
    old = rows(copy, "designs", ("end_id",))[END,]["hours_h"]
    lines = designs.read_text("utf-8-sig").splitlines(keepends=True)
    changed = [x.replace(old, "9.75") if x.startswith(f"{END},") else x for x in lines]
    designs.write_text("".join(changed), "utf-8-sig")
    told = compare_runs(made("nothing"), copy)
    assert "  1. releases.csv releases row 2: R-1: none -> added" in told, told
    assert any(x.startswith(f"  {END}: ") and x.endswith("because of 1") for x in told), told


def test_record_without_catalogue(made: Maker, tmp_path: Path) -> None:
    """A run folder of an earlier build names the price file where it cannot name the price."""
    import shutil

    copies = []
    for name in ("nothing", "price"):
        copy = tmp_path / name
        shutil.copytree(made(name), copy)
        record = json.loads((copy / "run.json").read_text("utf-8"))
        del record["catalogue"]
        (copy / "run.json").write_text(json.dumps(record), "utf-8")
        copies.append(copy)
    lines = compare_runs(copies[0], copies[1])
    assert any("rows of buying.prices: prices.csv -> prices.csv" in line for line in lines), lines


def call(*words: str) -> subprocess.CompletedProcess[str]:
    """Call the command as a shell would."""
    return subprocess.run(
        [sys.executable, "-m", "pipeline.cli.app", "compare", *words],
        capture_output=True, text=True, check=False, timeout=120, cwd=ROOT,
    )  # fmt: skip


def test_exit_codes(made: Maker, tmp_path: Path) -> None:
    """0 when done, differing or not; 4 for what is no run folder or a file that is there."""
    base, changed, out = str(made("nothing")), str(made("dip")), tmp_path / "näme of it.xlsx"
    done = call(base, changed, "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert out.is_file()
    assert NAMED["dip"] in done.stdout
    assert call(base, base).returncode == 0
    kept = out.read_bytes()
    for words in ((base, changed, "--out", str(out)), (base, str(tmp_path)), (base, "none"),
                  (base, changed, "--out", str(tmp_path / "c.csv"))):  # fmt: skip
        refused = call(*words)
        assert refused.returncode == 4, words
        assert "Traceback" not in refused.stderr
    assert out.read_bytes() == kept

"""The house rules that a machine can hold: imports, sizes, unit suffixes, register, help."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.core.rules import rules
from pipeline.core.survey import TABLE_OF_SHEET, columns, record_columns
from pipeline.tables import REGISTRY, blank, dictionary

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "pipeline"
MODULES = sorted(PACKAGE.rglob("*.py"))
HEAVY = ("pandas", "geopandas", "rasterio", "folium", "scipy")

# house.md: numeric names end in their unit. Beyond its list: what the trade writes so.
UNITS = (
    "_m", "_mm", "_mm2", "_m2", "_ml", "_l_per_s", "_l_per_min", "_kpa", "_kg", "_h", "_days",
    "_per_year", "_frac", "_count", "_minor", "_deg", "_min", "_km", "_year",
)  # fmt: skip
# plain numbers, ratios and numberings that have no unit
NO_UNIT = {
    "row", "row_no", "col_no", "group_no", "piece_no", "step_no", "day_no", "state_no", "rank", "year",
    "ratio", "quantity", "quantity_p50", "quantity_p90",
    "quantity_own_u", "need_firm", "need_firm_p90", "need_provisional", "need_provisional_p90",
    "need_held", "need_provisional_later", "need_provisional_later_p90", "need_held_later",
    "spare", "unit_per_piece", "observed_value",
}  # fmt: skip


def test_import_rule() -> None:
    """Stages never import each other; everything looks down (import-linter)."""
    done = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("command", [[], ["run"], ["check"], ["rules"], ["serve"]])
def test_help_is_light(command: list[str]) -> None:
    """Asking for help loads none of the heavy libraries."""
    code = (
        "import sys\n"
        f"sys.argv = ['stanch', *{command!r}, '--help']\n"
        "from pipeline.cli.app import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "import json\n"
        f"print('LOADED', json.dumps([m for m in {HEAVY!r} if m in sys.modules]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = json.loads(done.stdout.split("LOADED")[1])
    assert loaded == []
    assert "Usage" in done.stdout


def test_every_command_stands_in_the_readme() -> None:
    """A command that the README does not show is a command nobody finds."""
    from pipeline.cli.app import app

    readme = (ROOT / "README.md").read_text("utf-8")
    for command in app.registered_commands:
        assert f"stanch {command.name}" in readme


def test_only_cli_prints_and_exits() -> None:
    """No room but the command line prints or exits."""
    for module in MODULES:
        if "cli" in module.relative_to(PACKAGE).parts:
            continue
        tree = ast.parse(module.read_text("utf-8"))
        calls = {
            n.func.id for n in ast.walk(tree)
            if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
        }  # fmt: skip
        assert not calls & {"print", "exit", "quit"}, module


def test_sizes() -> None:
    """Modules stay under 500 lines (median at most 200), functions under 80 (p90 at most 40)."""
    lines = [len(m.read_text("utf-8").splitlines()) for m in MODULES]
    assert max(lines) <= 500, max(zip(lines, MODULES, strict=True))
    assert sorted(lines)[len(lines) // 2] <= 200
    bodies = []
    for module in MODULES:
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                first = (
                    node.body[1] if _is_doc(node.body[0]) and len(node.body) > 1 else node.body[0]
                )
                bodies.append(((node.end_lineno or 0) - first.lineno + 1, f"{module}:{node.name}"))
    bodies.sort()
    assert bodies[-1][0] <= 80, bodies[-1]
    assert bodies[int(len(bodies) * 0.9)][0] <= 40


def _is_doc(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def test_numeric_columns_name_their_unit() -> None:
    """Every numeric hand-over column ends in its unit or stands in the short list of pure numbers."""
    bad = [
        f"{table.name}.{col.name}"
        for table in REGISTRY.values()
        for col in table.columns
        if col.kind in ("real", "whole")
        and col.name not in NO_UNIT
        and not col.name.endswith(UNITS)
    ]
    assert bad == []


def test_flags_are_named_as_flags() -> None:
    """True/false columns made by us begin with is_, has_ or name a yes/no question of the survey."""
    survey = {c.house_name for c in (*columns(), *record_columns()) if c.kind == "yesno"}
    bad = [
        f"{table.name}.{col.name}"
        for table in REGISTRY.values()
        for col in table.columns
        if col.kind == "flag"
        and col.name not in survey
        and not re.match(r"(is|has)_|margin_is_", col.name)
    ]
    assert bad == []


def test_dictionary_covers_every_table() -> None:
    """The dictionary is made from the schemas: each table and column, with a meaning."""
    book = dictionary()
    assert set(book["table"]) == set(REGISTRY)
    assert (book["meaning"].str.len() > 0).all()
    for name in REGISTRY:
        assert list(blank(name).columns) == list(REGISTRY[name].names)


def test_every_survey_sheet_has_a_table() -> None:
    """Sheets of the definition and hand-over tables match, key by key."""
    sheets = {c.sheet for c in columns()} - {"about"}
    assert sheets == set(TABLE_OF_SHEET)
    for sheet, name in TABLE_OF_SHEET.items():
        headings = {c.survey_heading for c in REGISTRY[name].columns} - {""}
        assert headings == {c.heading for c in columns() if c.sheet == sheet}


def test_register_is_complete() -> None:
    """134 rules of the survey, three of ours and 22 of the records: weight, message, who answers."""
    register = rules()
    assert len(register) == 159
    for code, rule in register.items():
        assert rule.weight in ("STOP", "ASK", "NOTE"), code
        assert rule.message, code
        assert rule.mend or rule.weight == "NOTE", code
        assert rule.answered_by or rule.weight == "NOTE", code


# a path of one machine: a home folder, a mounted drive, a checkout under the root
_MACHINE = re.compile(r"""(?<![\w.~/:-])/(?:home|Users|root|mnt|media|work|workspace)/\w""")


def test_no_machine_path_or_verdict_in_the_texts() -> None:
    """No tracked text names a path of a machine; no output text says 'safe' as a verdict."""
    assert _MACHINE.search("see " + "/mnt" + "/x")
    assert not _MACHINE.search("pipeline" + "/mnt" + "/x")  # within a path it is a folder of ours
    for module in [*MODULES, *PACKAGE.rglob("*.csv"), *PACKAGE.rglob("*.js")]:
        text = module.read_text("utf-8")
        assert not _MACHINE.search(text), module
        assert not re.search(r"""["'>][^"'<]*\bis safe\b""", text), module

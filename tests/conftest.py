"""What tests share: paths, the programs of this machine, and one run of the example."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

ROOT = Path(__file__).parents[1]
NEEDED = {"browser": "chromium", "office": "soffice"}


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip by name what this machine has no program for."""
    for marker, program in NEEDED.items():
        if item.get_closest_marker(marker) and shutil.which(program) is None:
            pytest.skip(f"{program} is not on this machine")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: Any) -> Iterator[None]:
    """Where everything is installed (.ci/run), a skip is a failure."""
    outcome: Any = yield
    report = outcome.get_result()
    if os.environ.get("STANCH_NO_SKIP") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {report.longrepr}"


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the repository."""
    return ROOT


@pytest.fixture(scope="session")
def example_run(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of the example, made once for all workers through the command line."""
    return _shared_run(root, tmp_path_factory, "example")


@pytest.fixture(scope="session")
def clean_run(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of the clean sample, made once for all workers."""
    return _shared_run(root, tmp_path_factory, "clean")


def _shared_run(root: Path, factory: pytest.TempPathFactory, name: str) -> Path:
    base = factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        base = base.parent
    folder, lock, log = base / f"{name}-run", base / f"{name}.lock", base / f"{name}.log"
    try:
        lock.mkdir()
    except FileExistsError:
        _wait_for(folder, log)
        return folder
    done = subprocess.run(
        [
            str(Path(sys.executable).with_name("stanch")),
            "run",
            str(root / "configs" / f"{name}.toml"),
            "--out",
            str(folder),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    log.write_text(f"{done.returncode}\n{done.stdout}\n{done.stderr}", encoding="utf-8")
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def _wait_for(folder: Path, log: Path) -> None:
    for _ in range(1200):
        if log.exists():
            break
        time.sleep(0.5)
    assert folder.is_dir(), log.read_text("utf-8") if log.exists() else "the run did not end"


@pytest.fixture(scope="session")
def table(example_run: Path) -> Callable[[str], pd.DataFrame]:
    """Read a table of the example run, ids as text."""

    def read(name: str) -> pd.DataFrame:
        return read_table(example_run / "tables" / f"{name}.csv")

    return read


def read_table(path: Path) -> pd.DataFrame:
    """Read a table of a run folder: text stays text ('NA' is a region), blanks are missing."""
    return pd.read_csv(path, keep_default_na=False, na_values=[""], dtype_backend="numpy_nullable")


@pytest.fixture
def book(tmp_path: Path) -> Callable[..., Path]:
    """Write a workbook: sheet name -> rows."""

    def write(name: str = "north.xlsx", /, **sheets: Sequence[Sequence[Any]]) -> Path:
        workbook = openpyxl.Workbook()
        workbook.remove(workbook.worksheets[0])
        for title, rows in sheets.items():
            page = workbook.create_sheet(title)
            for row in rows:
                page.append(list(row))
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        workbook.save(path)
        return path

    return write

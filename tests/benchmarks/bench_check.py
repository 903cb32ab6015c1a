"""Checking a large survey against the bare fastest reader and against pandas + openpyxl.

Prints ratios of one run; nothing is asserted. `python tests/benchmarks/bench_check.py [rows]`:
rows x 25 columns of duct ends, 5 % of the rows faulty, all rules on.
"""

from __future__ import annotations

import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter
from python_calamine import CalamineWorkbook

from pipeline.core.survey import of_sheet
from pipeline.intake import check

COLUMNS = 25
FAULTY = 0.05


def survey(path: Path, rows: int) -> None:
    """A workbook of chambers and duct ends with 5 % faulty rows."""
    rng = random.Random(1)
    book = xlsxwriter.Workbook(str(path), {"constant_memory": True})
    page = book.add_worksheet("chambers")
    page.write_row(0, 0, ["chamber_id", "site_id"])
    chambers = max(rows // 20, 1)
    for c in range(chambers):
        page.write_row(c + 1, 0, [f"C-{c:06}", "S-1"])
    names = [c.heading for c in of_sheet("ducts")][:COLUMNS]
    page = book.add_worksheet("ducts")
    page.write_row(0, 0, names)
    for r in range(rows):
        page.write_row(r + 1, 0, [value(n, r, chambers, rng) for n in names])
    page = book.add_worksheet("sites")
    page.write_row(0, 0, ["site_id", "region"])
    page.write_row(1, 0, ["S-1", "North"])
    book.close()


def value(name: str, r: int, chambers: int, rng: random.Random) -> Any:
    """A cell of a column; one row in twenty is faulty."""
    wrong = r % int(1 / FAULTY) == 0
    plain: dict[str, Any] = {
        "end_id": f"D-{r:07}", "place_kind": "chamber", "place_id": f"C-{r % chambers:06}",
        "face": "ABCD"[r % 4], "row": r % 7 + 1, "col": r // 7 % 9 + 1, "shape": "round",
        "bore_mm": "TBC" if wrong else 90 + r % 40, "bore_method": "rule",
        "material": "smooth plastic", "use": "power", "contents": "empty", "draw_cord": "no",
        "level_method": "dip", "ref_point_id": "", "dip_down_m": round(0.6 + rng.random(), 3),
        "measured_to": "invert", "far_place_id": "unknown", "far_proof": "unknown",
    }  # fmt: skip
    return plain.get(name, "")


def timed(work: Callable[[], Any]) -> float:
    """Seconds of one call."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def main() -> None:
    """Print times, ratios and peak memory."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.xlsx"
        survey(path, rows)

        def bare() -> None:
            book = CalamineWorkbook.from_path(str(path))
            for name in book.sheet_names:
                book.get_sheet_by_name(name).to_python()

        reading = timed(bare)
        found: dict[str, Any] = {}
        checking = timed(lambda: found.update(check([path])))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        frames = timed(lambda: pd.read_excel(path, sheet_name=None, engine="openpyxl"))
    print(
        f"{rows:,} rows x {COLUMNS} columns, {FAULTY:.0%} faulty, {len(found['findings']):,} findings"
    )
    print(f"bare reader (calamine)      {reading:8.1f} s")
    print(f"pandas + openpyxl, reading  {frames:8.1f} s")
    print(f"check, all rules            {checking:8.1f} s, peak {peak:.2f} GB")
    print(f"check / bare reader         {checking / reading:8.1f}   (aim: at most 4)")
    print(f"pandas + openpyxl / check   {frames / checking:8.2f}   (aim: at least 3)")


if __name__ == "__main__":
    main()

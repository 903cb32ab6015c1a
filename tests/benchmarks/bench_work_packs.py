"""Pages a second of the work packs, against a plain page of text of the same library in one run.

Prints seconds of the processor; nothing is asserted. `python tests/benchmarks/bench_work_packs.py [config] [times]` computes
the programme once, then writes its packs.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from pipeline.core.settings_file import load
from pipeline.publish.work_packs import write_work_packs
from pipeline.run import compute


def plain(path: Path, pages: int) -> float:
    """Processor seconds for pages of forty lines of text each."""
    start = time.process_time()
    canvas = Canvas(str(path), invariant=1)
    for page in range(pages):
        for line in range(40):
            canvas.drawString(40, 800 - 18 * line, f"page {page}, line {line}: plain words only")
        canvas.showPage()
    canvas.save()
    return time.process_time() - start


def main() -> None:
    """Print pages a second."""
    root = Path(__file__).parents[2]
    config = Path(sys.argv[1]) if len(sys.argv) > 1 else root / "configs" / "example.toml"
    times = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    settings = load(config)
    tables, _, _ = compute(config, settings)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for turn in range(times):
            start = time.process_time()
            paths = write_work_packs(folder / str(turn), tables, settings, run_id="bench")
            took = time.process_time() - start
            pages = sum(len(PdfReader(p).pages) for p in paths)
            bare = plain(folder / "plain.pdf", pages)
            print(
                f"{len(paths)} packs, {pages} pages: {took:.2f} s, {pages / took:.0f} pages/s; "
                f"plain text {pages / bare:.0f} pages/s ({took / bare:.1f} x)"
            )


if __name__ == "__main__":
    main()

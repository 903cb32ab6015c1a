"""Broken, dressed-up and hostile files through `stanch check`: one line each, the rest is read."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest

MOST_BYTES = 1_500_000_000
MOST_SECONDS = 30
GOOD = [["chamber_id", "site_id"], ["CH-1", "S1"], ["CH-2", "S1"]]


def workbook(path: Path, rows: list[list[Any]], sheet: str = "chambers") -> Path:
    """A workbook of one sheet."""
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    page.title = sheet
    for row in rows:
        page.append(row)
    book.save(path)
    return path


def _inside(path: Path, change: Callable[[str, bytes], bytes | None]) -> None:
    """Rewrite the parts of a workbook; None leaves a part out."""
    with zipfile.ZipFile(path) as packed:
        parts = {n: packed.read(n) for n in packed.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in parts.items():
            new = change(name, data)
            if new is not None:
                packed.writestr(name, new)


def protected(path: Path) -> None:
    """The old container that a password-protected workbook is kept in."""
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 2000)


def truncated(path: Path) -> None:
    """A workbook cut in the middle."""
    data = workbook(path, GOOD * 50).read_bytes()
    path.write_bytes(data[: len(data) // 2])


def empty(path: Path) -> None:
    """A file of no bytes."""
    path.write_bytes(b"")


def web_page(path: Path) -> None:
    """A sign-in page under a workbook's name."""
    path.write_text("<html><body>Sign in</body></html>")


def bomb(path: Path) -> None:
    """A part that unpacks to 2 GB of zeros."""
    workbook(path, GOOD)
    with (
        zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as packed,
        packed.open("xl/media/big.bin", "w", force_zip64=True) as part,
    ):
        for _ in range(500):
            part.write(b"\x00" * 4_000_000)


def no_parts(path: Path) -> None:
    """A zip that holds no workbook."""
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("readme.txt", "nothing")


def broken_xml(path: Path) -> None:
    """A sheet whose XML ends in the middle."""
    workbook(path, GOOD)
    _inside(path, lambda n, d: d[: len(d) // 2] if "sheet1" in n else d)


def lost_sheet(path: Path) -> None:
    """A workbook that names a sheet which is not there."""
    workbook(path, GOOD)
    _inside(path, lambda n, d: None if "sheet1" in n else d)


def entities(path: Path) -> None:
    """An external entity that would read a file of this machine."""
    workbook(path, GOOD)
    evil = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
    _inside(path, lambda n, d: d.replace(b"<worksheet", evil + b"<worksheet", 1).replace(
        b"<v>", b"<v>&e;", 1) if "sheet1" in n else d)  # fmt: skip


def laughs(path: Path) -> None:
    """Entities that grow without end."""
    workbook(path, GOOD)
    lines = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 12))
    evil = f'<!DOCTYPE x [<!ENTITY a0 "ha">{lines}]>'.encode()
    _inside(path, lambda n, d: d.replace(b"<worksheet", evil + b"<worksheet", 1).replace(
        b"<v>", b"<v>&a11;", 1) if "sheet1" in n else d)  # fmt: skip


def far_cell(path: Path) -> None:
    """A cell in the last corner of the sheet."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "chambers"
    book.worksheets[0].append(GOOD[0])
    book.worksheets[0].cell(1_048_576, 16_384, "x")
    book.save(path)


def packed_csv(path: Path) -> None:
    """A zip under the name of a CSV file."""
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("chambers.csv", "chamber_id,site_id\nCH-9,S1\n")


def binary_csv(path: Path) -> None:
    """NUL bytes in a CSV file."""
    path.write_bytes(b"chamber_id,site_id\nCH-9,\x00\x00\n")


def pdf(path: Path) -> None:
    """A report."""
    path.write_bytes(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3")


def no_json(path: Path) -> None:
    """JSON that is none."""
    path.write_text("{'type': 'FeatureCollection'")


def deep_json(path: Path) -> None:
    """JSON nested a hundred thousand times."""
    path.write_text("[" * 100_000 + "]" * 100_000)


def many_rows(path: Path) -> None:
    """Formatting down to the last of a million rows."""
    workbook(path, GOOD)
    blank = b"".join(b'<row r="%d" s="1"/>' % r for r in range(4, 1_000_000, 1))
    _inside(path, lambda n, d: d.replace(b"</sheetData>", blank + b"</sheetData>")
            if "sheet1" in n else d)  # fmt: skip


REFUSED: list[tuple[str, Callable[[Path], None]]] = [
    ("protected.xlsx", protected), ("old.xls", protected), ("cut.xlsx", truncated),
    ("empty.xlsx", empty), ("page.xlsx", web_page), ("bomb.xlsx", bomb), ("zip.xlsx", no_parts),
    ("xml.xlsx", broken_xml), ("lost.xlsx", lost_sheet), ("entity.xlsx", entities),
    ("laughs.xlsx", laughs), ("far.xlsx", far_cell), ("chambers.csv", packed_csv),
    ("binary.csv", binary_csv), ("report.pdf", pdf), ("points.geojson", no_json),
    ("deep.geojson", deep_json),
]  # fmt: skip


def _limit() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES * 3, MOST_BYTES * 3))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))


# The command itself, with a watch on what the interpreter does: asking anything of a network, or
# opening a file to write, ends it at once.
FORBIDDEN = 97
WATCHED = f"""
import os, sys

def watch(event, args):
    outside = event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname",
                        "socket.sendto", "urllib.Request")
    written = event == "open" and isinstance(args[1], str) and set(args[1]) & set("wax+")
    if outside or (written and args[0] not in ("/dev/null", os.devnull)):
        os.write(2, repr((event, args[:2])).encode())
        os._exit({FORBIDDEN})

from pipeline.cli.app import main
sys.addaudithook(watch)
main()
"""


@cache
def _alone() -> list[str]:
    """A namespace without any network, where the machine allows one to make it."""
    words = ["unshare", "-rn"]
    try:
        done = subprocess.run([*words, "true"], capture_output=True, check=False)
    except OSError:
        return []
    return words if done.returncode == 0 else []


def test_the_watch_ends_a_command_that_asks_the_network() -> None:
    """The watch itself can fail: a request and a written file are both caught."""
    for deed in ("__import__('socket').create_connection(('127.0.0.1', 9))", "open('x', 'w')"):
        program = WATCHED.replace("main()\n", deed)
        done = subprocess.run(
            [sys.executable, "-B", "-c", program], capture_output=True, check=False
        )
        assert done.returncode == FORBIDDEN, done.stderr


def run(folder: Path, *files: Path) -> tuple[int, dict[str, Any], str]:
    """`stanch check` on files with a limit on time and address space; its JSON."""
    done = subprocess.run(
        [*_alone(), sys.executable, "-B", "-c", WATCHED, "check", *map(str, files), "--format", "json"],
        capture_output=True, text=True, cwd=folder, timeout=MOST_SECONDS, check=False, preexec_fn=_limit,
    )  # fmt: skip
    assert done.returncode != FORBIDDEN, done.stderr
    assert "Traceback" not in done.stderr + done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout), done.stderr


@pytest.mark.parametrize(("name", "make"), REFUSED, ids=[m.__name__ + n for n, m in REFUSED])
def test_one_line_code_2_and_the_rest_is_read(
    tmp_path: Path, name: str, make: Callable[[Path], None]
) -> None:
    """The bad file is one STOP under its name; the good one beside it counts as usual."""
    (tmp_path / "in").mkdir()
    make(tmp_path / "in" / name)
    good = workbook(tmp_path / "in" / "good.xlsx", GOOD)
    before = sorted(p.name for p in tmp_path.rglob("*"))
    code, out, _ = run(tmp_path, tmp_path / "in" / name, good)
    assert code == 2
    lines = [f for f in out["findings"] if f["file"] == name and f["weight"] == "STOP"]
    assert [f["code"] for f in lines] in (["file-18"], ["file-26"]), lines
    assert [(c["file"], c["rows_count"]) for c in out["counts"]] == [("good.xlsx", 2)]
    assert sorted(p.name for p in tmp_path.rglob("*")) == before


def wide(path: Path) -> None:
    """A heading row of 16,000 columns."""
    workbook(path, [[*GOOD[0], *(f"x{i}" for i in range(16_000))], *GOOD[1:]])


def hostile_names(path: Path) -> None:
    """Members of the archive whose names lead out of it."""
    workbook(path, GOOD)
    with zipfile.ZipFile(path, "a") as packed:
        packed.writestr("../../outside.txt", "x")


def formulas_in_text(path: Path) -> None:
    """Texts that a spreadsheet would run."""
    rows = [*GOOD, ['=HYPERLINK("http://x")', "S1"], ["@SUM(1)", "S1"], ["+1+1", "S1"]]
    book = openpyxl.Workbook()
    book.worksheets[0].title = "chambers"
    for r, row in enumerate(rows, start=1):
        for c, text in enumerate(row, start=1):
            book.worksheets[0].cell(r, c).value = text
            book.worksheets[0].cell(r, c).data_type = "s"
    book.save(path)


def huge_numbers(path: Path) -> None:
    """1e308, nan and inf where coordinates belong."""
    head = ["chamber_id", "site_id", "easting", "northing", "cover_level_m"]
    workbook(
        path, [head, ["CH-1", "S1", 1e308, "nan", "inf"], ["CH-2", "S1", "NaN", -1e308, 1e308]]
    )


def twin_sheets(path: Path) -> None:
    """Two sheets that mean the same one."""
    book = openpyxl.Workbook()
    for name, an_id in (("chambers", "CH-1"), ("Manholes", "CH-2")):
        page = book.create_sheet(name)
        page.append(GOOD[0])
        page.append([an_id, "S1"])
    book.remove(book.worksheets[0])
    book.save(path)


def long_text(path: Path) -> None:
    """An id of ten thousand letters with marks that turn the writing round."""
    workbook(path, [GOOD[0], ["CH-1", "S1"], ["\u202e" + "x" * 10_000, "S1"]])


def one_quote(path: Path) -> None:
    """A quotation mark that is never closed."""
    path.write_text('chamber_id,site_id\nCH-1,"S1\nCH-2,S1\n')


READ: list[tuple[str, Callable[[Path], None], int]] = [
    ("rows.xlsx", many_rows, 2),
    ("wide.xlsx", wide, 2), ("names.xlsx", hostile_names, 2),
    ("formulas.xlsx", formulas_in_text, 5), ("huge.xlsx", huge_numbers, 2),
    ("twins.xlsx", twin_sheets, 2), ("long.xlsx", long_text, 2), ("chambers.csv", one_quote, 2),
]  # fmt: skip


@pytest.mark.parametrize(("name", "make", "count"), READ, ids=[m.__name__ for _, m, _ in READ])
def test_ugly_files_are_read_and_counted(
    tmp_path: Path, name: str, make: Callable[[Path], None], count: int
) -> None:
    """Rows in = used + asked + refused; every chamber is there; nothing is written outside."""
    (tmp_path / "in").mkdir()
    make(tmp_path / "in" / name)
    code, out, _ = run(tmp_path, tmp_path / "in" / name)
    total = {k: sum(c[k] for c in out["counts"]) for k in out["counts"][0] if k.endswith("_count")}
    assert total["rows_count"] == count
    assert count == total["used_count"] + total["asked_count"] + total["refused_count"]
    assert code in (1, 2)
    assert not (tmp_path.parent / "outside.txt").exists()

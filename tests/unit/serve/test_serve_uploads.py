"""What the intake page refuses of what is dropped, each in one clear line, and where it writes."""

from __future__ import annotations

import html
import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from pipeline.core.errors import UsageError
from pipeline.serve.desk import Desk
from pipeline.serve.limits import Limits
from pipeline.serve.names import own_name
from pipeline.serve.receive import Part
from pipeline.serve.refused import RefusedError
from tests.serving import Served, lines_of

GOOD = [["chamber_id", "site_id"], ["CH-1", "S1"], ["CH-2", "S1"]]


def workbook(rows: list[list[str]] | None = None) -> bytes:
    """A workbook of one sheet."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "chambers"
    for row in rows or GOOD:
        book.worksheets[0].append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(name: str, data: bytes, *, attributes: int = 0, again: bool = False) -> bytes:
    """A workbook with one more part."""
    out = io.BytesIO(workbook())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as packed:
        info = zipfile.ZipInfo(name)
        info.external_attr = attributes << 16
        info.compress_type = zipfile.ZIP_DEFLATED
        packed.writestr(info, data)
        if again:
            with pytest.warns(UserWarning, match="Duplicate"):
                packed.writestr(name, data)
    return out.getvalue()


def packed(**parts: bytes) -> bytes:
    """A zip of these parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def locked() -> bytes:
    """A workbook whose parts say that they are encrypted (bit 0 of the flags, APPNOTE 4.4.4)."""
    data = bytearray(workbook())
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        data[at + 8] |= 1
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


VRT = b'<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
PAGE = b"<!DOCTYPE html><html><script>alert(1)</script></html>"
CSV = b"chamber_id,site_id\nCH-9,S1\n"

# name as the browser sends it, bytes, a word of the line that says why
HOSTILE: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "path up": ("../../outside.xlsx", workbook, "path"),
    "path from the root": ("/tmp/outside.xlsx", workbook, "path"),
    "path with backslashes": ("a\\..\\..\\outside.xlsx", workbook, "path"),
    "path in wide letters": ("．．／outside.xlsx", workbook, "path"),
    "another stream of a file": ("good.xlsx:stream.csv", lambda: CSV, "path"),
    "percent signs": ("%2e%2e%2foutside.xlsx", workbook, "signs"),
    "turned writing": ("survey\u202excod.xlsx", workbook, "signs"),
    "a sign without width": ("survey\u200b.xlsx", workbook, "signs"),
    "a sign that rings": ("sur\x07vey.xlsx", workbook, "signs"),
    "a nought in the name": ("survey.xlsx\x00.exe", workbook, "signs"),
    "markup in the name": ("<img src=x onerror=alert(1)>.xlsx", workbook, "signs"),
    "name of 3,000 letters": ("x" * 3_000 + ".xlsx", workbook, "longer"),
    "hidden name": (".xlsx", workbook, "begins"),
    "name of a device": ("NUL.xlsx", workbook, "device"),
    "no ending": ("survey", workbook, "not read"),
    "a program": ("survey.exe", lambda: b"MZ\x90", "not read"),
    "two endings": ("survey.xlsx.html", lambda: PAGE, "not read"),
    "a drawing with script": ("plan.svg", lambda: b"<svg onload='x'/>", "not read"),
    "a table that reads other files": ("points.gpx", lambda: VRT, "not taken here"),
    "the same as CSV": ("points.csv", lambda: VRT, "web page or XML"),
    "a packed folder": ("survey.zip", lambda: packed(a=b"x"), "not taken here"),
    "an old binary workbook": ("old.xls", lambda: b"\xd0\xcf\x11\xe0" + bytes(500), "not read"),
    "a locked workbook of the old kind": (
        "locked.xlsx", lambda: b"\xd0\xcf\x11\xe0" + bytes(500), "protected"),
    "a locked workbook": ("locked2.xlsx", locked, "password"),
    "nothing": ("empty.xlsx", lambda: b"", "empty"),
    "a web page": ("page.xlsx", lambda: PAGE, "web page"),
    "a web page as CSV": ("page.csv", lambda: b"\xef\xbb\xbf \n" + PAGE, "web page"),
    "a web page as photo": ("page.jpg", lambda: PAGE, "web page"),
    "a PDF": ("report.csv", lambda: b"%PDF-1.7\n", "PDF"),
    "binary data as CSV": ("binary.csv", lambda: CSV + b"\x00\x00", "binary"),
    "a packed file as CSV": ("packed.csv", lambda: packed(a=CSV), "packed"),
    "text as GeoJSON": ("points.geojson", lambda: b"hello", "something else"),
    "a zip that is no workbook": ("zip.xlsx", lambda: packed(readme=b"x"), "not a workbook"),
    "a cut workbook": ("cut.xlsx", lambda: workbook()[:1500], "damaged"),
    "a bomb": ("bomb.xlsx", lambda: with_part("xl/media/big.bin", bytes(60_000_000)), "unpacks"),
    "a link": ("link.xlsx", lambda: with_part("xl/link", b"/etc/passwd", attributes=0o120777),
               "link"),
    "parts that lead out": ("out.xlsx", lambda: with_part("../../outside.txt", b"x"), "lead out"),
    "one part twice": ("twice.xlsx", lambda: with_part("xl/a.xml", b"x", again=True), "twice"),
    "far too large": ("large.csv", lambda: b"a,b\n" + b"1,2\n" * 10_100_000, "larger than 40 MB"),
}  # fmt: skip


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_uploads_are_refused_in_one_line(served: Served, case: str) -> None:
    """Each is refused with its reason; the page goes on; nothing of it lies anywhere."""
    name, make, word = HOSTILE[case]
    before, files = served.outside(), sorted(served.desk.joinpath("files").rglob("*"))
    answer = served.drop((name, make()))
    assert answer.status_code == 200
    [line] = lines_of(answer.text)
    assert "Refused." in line
    assert word in html.unescape(line)
    assert "Traceback" not in answer.text
    assert "<img" not in answer.text
    assert sorted(served.desk.joinpath("files").rglob("*")) == files
    assert list(served.desk.joinpath("incoming").iterdir()) == []
    assert served.outside() == before
    assert not Path("/tmp/outside.xlsx").exists()


def test_there_are_enough_of_them() -> None:
    """At least twenty, each a case of its own."""
    assert len({(n, w) for n, _, w in HOSTILE.values()}) == len(HOSTILE) >= 20


def test_too_many_at_once(served: Served) -> None:
    """Sixty are looked at, the others told; far more end the request, and the page goes on."""
    names = [(f"n{i}.exe", b"x") for i in range(65)]
    lines = lines_of(served.drop(*names).text)
    assert len(lines) == 65
    assert sum("More than 60 files" in line for line in lines) == 5
    answer = served.drop(*[(f"n{i}.exe", b"x") for i in range(300)])
    assert answer.status_code == 400
    assert "far too many files" in answer.text
    assert "Files and counts" in served.get()


@pytest.mark.parametrize(
    ("kind", "body", "word"),
    [
        ("text/plain", b"hello", "no form with files"),
        ("multipart/form-data", b"x", "no form with files"),
        ("multipart/form-data; boundary=b", b"garbage", "cannot be read"),
        ("multipart/form-data; boundary=b", b'--b\r\nContent-Disposition: form-data; name="files"; '
         b'filename="a.csv"\r\n\r\na,b\r\n', "did not come through whole"),
        ("multipart/form-data; boundary=" + "b" * 5_000, b"x", "cannot be read"),
        ("multipart/form-data; boundary=b", b"--b\r\n" + b"x: y\r\n" * 5_000, "cannot be read"),
    ],
)  # fmt: skip
def test_broken_forms(served: Served, kind: str, body: bytes, word: str) -> None:
    """A form that is none is one line, and leaves nothing behind."""
    answer = served.client.post(served.url + "/files", content=body, headers={"content-type": kind})
    assert answer.status_code == 400
    assert word in answer.text
    assert list(served.desk.joinpath("incoming").iterdir()) == []


def test_the_good_one_beside_bad_ones_is_read(served: Served) -> None:
    """Counts are the rows of the file; what a bomb of another kind does ends in a finding."""
    before = served.outside()
    entity = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook())) as old, zipfile.ZipFile(entity, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if "sheet1" in name:
                evil = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]><worksheet'
                data = data.replace(b"<worksheet", evil, 1).replace(b"<v>", b"<v>&e;", 1)
            new.writestr(name, data)
    page = served.drop(
        ("good.xlsx", workbook()), ("../bad.xlsx", workbook()), ("entity.xlsx", entity.getvalue())
    )
    assert sum("Refused" in line for line in lines_of(page.text)) == 1
    text = served.get()
    assert "2 rows: " in text
    assert "We cannot open entity.xlsx" in html.unescape(served.get("/questions"))
    assert sorted(p.name for p in served.desk.joinpath("files").rglob("*.xlsx")) == [
        "entity.xlsx", "good.xlsx",
    ]  # fmt: skip
    assert served.outside() == before
    for path in sorted(served.desk.joinpath("files").rglob("*.xlsx")):
        number = str(int(path.parent.parent.name))
        fields = {"key": served.key(), "number": number, "name": path.name}
        assert served.client.post(served.url + "/files/remove", data=fields).status_code == 200
    assert list(served.desk.joinpath("files").iterdir()) == []


def test_removing_names_no_path(served: Served) -> None:
    """Only what stands in the list can be removed."""
    for number, name in (("1", "../../neighbour.txt"), ("-1", "a"), ("1e9", "a"), ("²", "a")):
        answer = served.client.post(
            served.url + "/files/remove",
            data={"key": served.key(), "number": number, "name": name},
        )
        assert answer.status_code == 400
        assert "There is no such file on the desk." in answer.text
    assert (served.tree / "neighbour.txt").is_file()


def test_a_desk_takes_no_foreign_folder(tmp_path: Path) -> None:
    """A folder that holds anything else is left alone; so is a list that was changed by hand."""
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(UsageError, match="holds files of something else"):
        Desk.open(tmp_path, Limits())
    assert [p.name for p in tmp_path.iterdir()] == ["thesis.txt"]
    desk = tmp_path / "desk"
    Desk.open(desk, Limits())
    (desk / "stanch-desk.json").write_text('{"files": [], "answers": 7, "next_number": 1}')
    with pytest.raises(UsageError, match="cannot be read"):
        Desk.open(desk, Limits())
    (desk / "stanch-desk.json").write_text(
        '{"files": [{"number": 1, "name": "../../../thesis.txt", "kind": "CSV", "size_bytes": 1, '
        '"sha": ""}], "answers": [], "next_number": 2}'
    )
    assert Desk.open(desk, Limits()).items == []
    assert (tmp_path / "thesis.txt").read_text() == "mine"


def _part(desk: Desk, name: str, data: bytes) -> Part:
    path = desk.incoming / "in-0000"
    path.write_bytes(data)
    return Part(name, path, len(data))


def test_a_file_takes_the_place_of_its_earlier_one(tmp_path: Path) -> None:
    """A mended workbook replaces the earlier; CSV files, named by their sheet, never do."""
    desk = Desk.open(tmp_path / "desk", Limits(desk_files_count=3))
    later = workbook([*GOOD, ["CH-3", "S1"]])
    desk.take([_part(desk, "a.xlsx", workbook())], takes_place=True)
    [told] = desk.take([_part(desk, "A.xlsx", later)], takes_place=True)
    assert told.line == "Taken, in place of the earlier file of this name."
    assert [i.name for i in desk.items] == ["A.xlsx"]
    assert desk.paths()[0].read_bytes() == later
    for data in (CSV, CSV + b"CH-10,S1\n"):
        desk.take([_part(desk, "ducts.csv", data)], takes_place=True)
    assert [i.name for i in desk.items] == ["A.xlsx", "ducts.csv", "ducts.csv"]
    [told] = desk.take([_part(desk, "b.csv", CSV)], takes_place=True)
    assert "holds 3 files already" in told.line
    again = Desk.open(tmp_path / "desk", Limits())
    assert again.items == desk.items
    assert again.paths() == desk.paths()


@pytest.mark.parametrize(
    "name",
    ["first north.xlsx", "Bädstraße_2.csv", "日本.jpg", "a-b (2).geojson", "O'Neil & co.xlsm"],
)
def test_names_as_people_write_them(name: str) -> None:
    """Letters of any writing, digits and plain signs are kept as they are."""
    assert own_name(name) == name


def test_a_name_is_one_writing() -> None:
    """The same name written with a combining mark is the same file; look-alike dots are a path."""
    assert own_name("Ba\u0308d.csv") == "Bäd.csv"
    with pytest.raises(RefusedError, match="path"):
        own_name("\u2025\uff0fx.csv")

"""Photos of the survey in the work packs: the right one, small, upright, without its metadata."""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from PIL import ExifTags, Image, ImageDraw
from pypdf import PdfReader

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load
from pipeline.publish import publish
from pipeline.publish.profiles import for_profile
from pipeline.publish.work_packs import photos as photos_module
from pipeline.publish.work_packs import write_work_packs
from pipeline.publish.work_packs.facts import Picture
from pipeline.publish.work_packs.photo_small import Album, made_small
from pipeline.publish.work_packs.sheet import shown
from pipeline.run import compute
from tests.hostile_texts import HOSTILE
from tests.spoiled import Programme
from tests.unit.publish.test_work_packs import _tables

Tables = dict[str, pd.DataFrame]
Write = Callable[..., PdfReader]
RED, GREEN, BLUE, GREY = (200, 40, 40), (40, 160, 60), (40, 60, 200), (150, 150, 150)


def wall_drawing(path: Path, colour: tuple[int, int, int], **exif_of: Any) -> Path:
    """An invented wall: a coloured sheet with five numbered holes; clearly a drawing."""
    picture = Image.new("RGB", (480, 360), colour)
    pen = ImageDraw.Draw(picture)
    for n, (x, y) in enumerate(((90, 60), (90, 170), (90, 280), (240, 280), (390, 280)), start=1):
        pen.ellipse((x - 42, y - 42, x + 42, y + 42), outline="black", width=5, fill=(70, 70, 70))
        pen.text((x - 4, y - 6), str(n), fill="white")
    pen.text((200, 60), "DRAWING, NOT A PHOTO", fill="black")
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Camera-of-nobody"
    if "orientation" in exif_of:
        exif[ExifTags.Base.Orientation] = exif_of["orientation"]
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = exif_of.get(
        "taken", "2025:08:04 10:20:00"
    )
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    gps[ExifTags.GPS.GPSLatitudeRef], gps[ExifTags.GPS.GPSLatitude] = "N", (51.0, 30.0, 0.0)
    gps[ExifTags.GPS.GPSLongitudeRef], gps[ExifTags.GPS.GPSLongitude] = "W", (0.0, 7.0, 0.0)
    picture.save(path, quality=60, exif=exif, comment=b"secret comment")
    assert path.stat().st_size < 15_000
    return path


def with_photo_rows(*rows: dict[str, Any], ends: dict[str, str] | None = None) -> Tables:
    """The small wall with a photos sheet; `ends` says which end names which photo."""
    tables = _tables()
    named = ends or {}
    tables["ends"]["photo_id"] = [named.get(e) for e in tables["ends"]["end_id"]]
    tables["photos"] = pd.DataFrame(
        [
            {"file": "s.xlsx", "sheet": "photos", "row": i, "place_id": "E1",
             "shows": "inside wall", "file_name": f"{r['photo_id']}.jpg", **r}
            for i, r in enumerate(rows, start=2)
        ]
    )  # fmt: skip
    return tables


@pytest.fixture
def write(root: Path, tmp_path: Path) -> Write:
    """Write the pack of some tables with some photo files."""
    settings: Settings = load(root / "configs" / "clean.toml")

    def make(tables: Tables, *files: Path, name: str = "packs") -> PdfReader:
        surveys = settings.surveys.model_copy(update={"files": files})
        own = settings.model_copy(update={"surveys": surveys})
        (path,) = write_work_packs(tmp_path / name, tables, own, run_id="0000abcd")
        return PdfReader(path)

    return make


def text_of(page: Any) -> str:
    """The words of a page on one line."""
    return " ".join(page.extract_text().split())


def photo_page(pdf: PdfReader, end_id: str) -> Any:
    """The page of photos of an end; None where there is none."""
    start = f"{end_id}: photos of the survey"
    return next((p for p in pdf.pages if text_of(p).startswith(start)), None)


def end_page(pdf: PdfReader, end_id: str) -> str:
    """The words of the page of an end."""
    return next(t for p in pdf.pages if (t := text_of(p)).startswith(f"{end_id} Building"))


def jpegs(page: Any) -> list[bytes]:
    """The picture streams of a page, as they stand in the file."""
    found = page["/Resources"].get("/XObject", {})
    out = []
    for name in sorted(found):
        stream = found[name].get_object()
        assert "/DCTDecode" in str(stream["/Filter"])
        out.append(bytes(stream._data))
    return out


def colour_at(jpeg: bytes, x_frac: float, y_frac: float) -> tuple[int, ...]:
    """The colour at a part of a picture's width and height."""
    picture = Image.open(io.BytesIO(jpeg)).convert("RGB")
    return picture.getpixel((int(x_frac * picture.width), int(y_frac * picture.height)))  # type: ignore[return-value]


def is_near(a: tuple[int, ...], b: tuple[int, ...]) -> bool:
    """Whether two colours are the same but for the loss of JPEG."""
    return all(abs(x - y) < 12 for x, y in zip(a, b, strict=True))


def test_each_end_has_its_own_photo(write: Write, tmp_path: Path) -> None:
    """Red belongs to 01, green to 02; the others have none. The picture is on the page after."""
    red, green = (
        wall_drawing(tmp_path / "P1.JPG", RED), wall_drawing(tmp_path / "P2.jpg", GREEN)
    )  # fmt: skip
    tables = with_photo_rows(
        {"photo_id": "P1", "shows": "mouth"}, {"photo_id": "P2", "shows": "mouth"},
        ends={"E1-01": "P1", "E1-02": "P2"},
    )  # fmt: skip
    pdf = write(tables, red, green)
    for end_id, colour, name in (("E1-01", RED, "P1.jpg"), ("E1-02", GREEN, "P2.jpg")):
        page = photo_page(pdf, end_id)
        (jpeg,) = jpegs(page)
        assert is_near(colour_at(jpeg, 0.95, 0.05), colour)
        words = text_of(page)
        assert (
            f"{name}; taken 2025-08-04 (day inside the file); of this end: named on its row; shows: mouth."
            in words
        )
        assert "question" not in words
        assert f"photo: {name} (photo page follows)" in end_page(pdf, end_id)
    assert photo_page(pdf, "E1-03") is None
    texts = [text_of(p) for p in pdf.pages]
    at = next(i for i, t in enumerate(texts) if t.startswith("E1-01: photos"))
    assert texts[at - 1].startswith("E1-01 Building")


def test_nothing_of_the_file_but_its_pixels(write: Write, tmp_path: Path) -> None:
    """No EXIF, no place, no maker, no comment: read with Pillow, and byte by byte."""
    red = wall_drawing(tmp_path / "P1.jpg", RED)
    for mark in (b"Exif", b"Camera-of-nobody", b"secret comment"):
        assert mark in red.read_bytes()  # what is looked for is there to be found
    pdf = write(with_photo_rows({"photo_id": "P1"}, ends={"E1-01": "P1"}), red)
    (jpeg,) = jpegs(photo_page(pdf, "E1-01"))
    picture = Image.open(io.BytesIO(jpeg))
    assert not picture.getexif()
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    whole = (tmp_path / "packs" / "S1.pdf").read_bytes()
    for mark in (b"Exif", b"Camera-of-nobody", b"secret comment", b"GPS"):
        assert mark not in whole


@pytest.mark.parametrize(
    ("orientation", "corner"),
    # Exif 2.32, tag 0x0112 (from memory): where the stored upper left corner comes to lie
    [(1, (0, 0)), (2, (1, 0)), (3, (1, 1)), (4, (0, 1)),
     (5, (0, 0)), (6, (1, 0)), (7, (1, 1)), (8, (0, 1))],
)  # fmt: skip
def test_upright(tmp_path: Path, orientation: int, corner: tuple[int, int]) -> None:
    """A red spot in the stored upper left corner comes where the standard says, sides swapped."""
    picture = Image.new("RGB", (1600, 800), GREY)
    picture.paste(RED, (0, 0, 200, 200))
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    picture.save(tmp_path / "p.jpg", exif=exif)
    made = made_small(tmp_path / "p.jpg")
    assert isinstance(made, Picture)
    assert (made.width_px, made.height_px) == ((1000, 500) if orientation < 5 else (500, 1000))
    for x in (0, 1):
        for y in (0, 1):
            seen = colour_at(made.jpeg, 0.03 + 0.94 * x, 0.03 + 0.94 * y)
            assert is_near(seen, RED if (x, y) == corner else GREY)


def test_one_photo_of_a_wall_serves_its_ends(write: Write, tmp_path: Path) -> None:
    """A photo that two ends name is of their wall; it stands in the file once."""
    red = wall_drawing(tmp_path / "P1.jpg", RED)
    tables = with_photo_rows({"photo_id": "P1"}, ends={"E1-01": "P1", "E1-02": "P1"})
    pdf = write(tables, red)
    words = text_of(photo_page(pdf, "E1-01"))
    assert "of this wall: named on the rows of 2 ends here, this one among them" in words
    other = text_of(photo_page(pdf, "E1-03"))
    assert "of this wall: named on the rows of other ends here; shows: inside wall" in other
    whole = (tmp_path / "packs" / "S1.pdf").read_bytes()
    assert whole.count(b"/DCTDecode") == 1


def test_a_photo_of_another_hole_or_wall_is_not_shown(write: Write, tmp_path: Path) -> None:
    """A mouth of 02, a cover, a place with two walls: none of them is a photo of 01."""
    files = [wall_drawing(tmp_path / f"P{n}.jpg", BLUE) for n in (1, 2, 3)]
    tables = with_photo_rows(
        {"photo_id": "P1", "shows": "mouth"}, {"photo_id": "P2", "shows": "cover"},
        {"photo_id": "P3", "place_id": "E9"}, ends={"E1-02": "P1"},
    )  # fmt: skip
    pdf = write(tables, *files)
    assert photo_page(pdf, "E1-01") is None
    assert "photo:" not in end_page(pdf, "E1-01")
    assert photo_page(pdf, "E1-02") is not None
    two = with_photo_rows({"photo_id": "P1"})
    assert photo_page(write(two, *files), "E1-01") is not None  # one wall: it can only be that one
    far = two["ends"].iloc[[0]].assign(end_id="E1-09", face="B")
    two["ends"] = pd.concat([two["ends"], far], ignore_index=True)
    assert photo_page(write(two, *files), "E1-01") is None


def test_what_is_in_question_is_said_and_comes_last(write: Write, tmp_path: Path) -> None:
    """A photo put elsewhere by its sheet, or named for two walls; one without doubt goes first."""
    files = [wall_drawing(tmp_path / f"P{n}.jpg", c) for n, c in ((1, RED), (2, GREEN))]
    tables = with_photo_rows(
        {"photo_id": "P1", "place_id": "C7"}, {"photo_id": "P2"}, ends={"E1-01": "P1"}
    )
    words = text_of(photo_page(write(tables, *files), "E1-01"))
    assert "Place in question: the photos sheet puts it at C7" in words
    assert words.index("P2.jpg; taken") < words.index("P1.jpg; taken")
    tables = with_photo_rows({"photo_id": "P1"}, ends={"E1-01": "P1"})
    far = tables["ends"].iloc[[0]].assign(end_id="E1-09", face="B")
    tables["ends"] = pd.concat([tables["ends"], far], ignore_index=True)
    words = text_of(photo_page(write(tables, *files), "E1-01"))
    assert "Place in question: named for ends on 2 walls" in words
    assert "this photo proves nothing here" in words


def test_a_photo_of_the_neighbour_is_in_question(write: Write, tmp_path: Path) -> None:
    """01 names it, and the photos sheet calls it the mouth of 02; of a whole wall it may be both."""
    red = wall_drawing(tmp_path / "P1.jpg", RED)
    row = {"photo_id": "P1", "place_id": "E1-02", "shows": "mouth"}
    pdf = write(with_photo_rows(row, ends={"E1-01": "P1"}), red)
    words = text_of(photo_page(pdf, "E1-01"))
    assert "Place in question: the photos sheet puts it at E1-02" in words
    words = text_of(photo_page(pdf, "E1-02"))
    assert "of this end: named by the photos sheet; shows: mouth." in words
    assert "question" not in words
    pdf = write(with_photo_rows({**row, "shows": "inside wall"}, ends={"E1-01": "P1"}), red)
    assert "question" not in text_of(photo_page(pdf, "E1-01"))
    second = {"photo_id": "P2", "file_name": "p1.jpg", "place_id": "C7"}  # the same file again
    pdf = write(with_photo_rows({"photo_id": "P1"}, second, ends={"E1-01": "P1"}), red)
    assert "the photos sheet puts it at C7" in text_of(photo_page(pdf, "E1-01"))


def bomb(path: Path) -> Path:
    """A PNG of some kilobytes that says it is 30,000 px square."""
    side = 30_000
    header = side.to_bytes(4, "big") * 2 + bytes((8, 0, 0, 0, 0))
    packed = zlib.compress(b"\x00" * (side + 1) * 100)
    parts = [(b"IHDR", header), (b"IDAT", packed), (b"IEND", b"")]
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + b"".join(
            len(d).to_bytes(4, "big") + k + d + zlib.crc32(k + d).to_bytes(4, "big")
            for k, d in parts
        )
    )
    return path


def torn(path: Path) -> Path:
    """The first half of a picture."""
    data = wall_drawing(path, RED).read_bytes()
    path.write_bytes(data[: len(data) // 2])
    return path


def other_kind(path: Path) -> Path:
    """A PostScript file under a picture's name: Pillow would hand it to another program."""
    path.write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(x) run\n")
    return path


@pytest.mark.parametrize(
    ("name", "make", "why"),
    [
        ("P1.png", bomb, "it has more than 64 million pixels"),
        ("P1.jpg", torn, "it is damaged or no picture"),
        ("P1.jpg", other_kind, "it is damaged or no picture"),
        ("P1.heic", other_kind, "files of its kind (HEIC) are not read"),
        ("P1.jpg", lambda path: path, "it was not sent with the survey"),
    ],
)
def test_what_cannot_be_shown_is_named_with_why(
    name: str, make: Callable[[Path], Path], why: str, write: Write, tmp_path: Path
) -> None:
    """The name stands where it stood before, with the reason; no page, no picture, no traceback."""
    file = make(tmp_path / name)
    pdf = write(with_photo_rows({"photo_id": "P1", "file_name": name}, ends={"E1-01": "P1"}), file)
    assert photo_page(pdf, "E1-01") is None
    assert f"photo: {name} (not shown: {why})" in end_page(pdf, "E1-01")


def test_a_missing_one_is_named_beside_the_one_that_is_shown(write: Write, tmp_path: Path) -> None:
    """The page names it with its reason; ids that the photos sheet does not know are told too."""
    green = wall_drawing(tmp_path / "P2.jpg", GREEN)
    tables = with_photo_rows({"photo_id": "P2"}, ends={"E1-01": "P-lost"})
    pdf = write(tables, green)
    words = text_of(photo_page(pdf, "E1-01"))
    assert "Not shown: P-lost (of this end): its row on the photos sheet is missing." in words
    (jpeg,) = jpegs(photo_page(pdf, "E1-01"))
    assert is_near(colour_at(jpeg, 0.95, 0.05), GREEN)


def test_two_files_of_one_name(tmp_path: Path) -> None:
    """Alike byte by byte they are one photo; unlike, none is chosen."""
    for name, colour in (("a", RED), ("b", RED), ("c", BLUE)):
        (tmp_path / name).mkdir()
        wall_drawing(tmp_path / name / "P1.jpg", colour)
    assert isinstance(Album([tmp_path / "a", tmp_path / "b"]).find("p1.JPG"), Picture)
    assert Album([tmp_path]).find("P1.jpg") == "3 different files of this name were sent"


def test_at_most_two_and_a_bound_for_the_pack(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of four photos two are shown; with room for one picture only every other one is named."""
    files = [
        wall_drawing(tmp_path / f"P{n}.jpg", c)
        for n, c in ((1, RED), (2, GREEN), (3, BLUE), (4, GREY))
    ]
    tables = with_photo_rows(*({"photo_id": f"P{n}"} for n in (1, 2, 3, 4)))
    page = photo_page(write(tables, *files), "E1-01")
    assert len(jpegs(page)) == 2
    first = made_small(files[0])
    assert isinstance(first, Picture)
    monkeypatch.setattr(photos_module, "_PACK_BYTES", len(first.jpeg) + 100)
    page = photo_page(write(tables, *files), "E1-01")
    (jpeg,) = jpegs(page)
    assert is_near(colour_at(jpeg, 0.95, 0.05), RED)
    assert "Not shown: P2.jpg (of this wall): the pictures of this pack already take" in text_of(
        page
    )


@pytest.mark.parametrize("start", range(0, len(HOSTILE), 3))
def test_hostile_names_stay_text(start: int, write: Write, tmp_path: Path) -> None:
    """Whatever a file name, an id or a place says is printed, and opens no other file."""
    red = wall_drawing(tmp_path / "P1.jpg", RED)
    texts = HOSTILE[start : start + 3]
    ids = [f"E1-0{n}" for n, _ in enumerate(texts, start=1)]
    tables = with_photo_rows(
        *({"photo_id": w, "place_id": w, "shows": w, "file_name": "P1.jpg"} for w in texts),
        *({"photo_id": f"N{w}", "file_name": w} for w in texts),
        {"photo_id": "P3", "file_name": f"../{tmp_path.name}/P1.jpg", "shows": "mouth"},
        ends={**dict(zip(ids, texts, strict=True)), "E1-04": "P3"},
    )
    pdf = write(tables, red)
    for end_id, words in zip(ids, texts, strict=True):
        page = photo_page(pdf, end_id)
        assert len(jpegs(page)) == 1
        start_of_it = "".join(shown(words, 30).rstrip("…").split())
        assert f"shows:{start_of_it}" in "".join(text_of(page).split())
        assert text_of(page).count(": it was not sent with the survey") == len(texts)
    assert "(not shown: it was not sent" in end_page(pdf, "E1-04")


def test_same_photos_same_bytes(write: Write, tmp_path: Path) -> None:
    """Two builds give the same file."""
    red = wall_drawing(tmp_path / "P1.jpg", RED)
    tables = with_photo_rows({"photo_id": "P1"}, ends={"E1-01": "P1"})
    for name in ("a", "b"):
        write(tables, red, name=name)
    one, two = ((tmp_path / n / "S1.pdf").read_bytes() for n in ("a", "b"))
    assert one == two


@pytest.mark.parametrize(
    ("kind", "mode"), [("png", "RGBA"), ("png", "LA"), ("png", "P"), ("tif", "I;16"), ("webp", "RGB"),
                       ("jpg", "CMYK"), ("png", "1")]
)  # fmt: skip
def test_kinds_of_pictures(kind: str, mode: str, tmp_path: Path) -> None:
    """See-through, palettes, 16 bit and print colours all come out as a light grey of their own."""
    light = {"RGBA": (0, 0, 0, 0), "LA": (0, 0), "P": 0, "I;16": 60_000, "CMYK": (10, 10, 10, 0)}
    picture = Image.new(mode, (50, 40), light.get(mode, "white"))  # type: ignore[arg-type]
    if mode == "P":
        picture.info["transparency"] = 0
    picture.save(tmp_path / f"p.{kind}")
    made = made_small(tmp_path / f"p.{kind}")
    assert isinstance(made, Picture)
    assert (made.width_px, made.height_px) == (50, 40)
    assert min(colour_at(made.jpeg, 0.5, 0.5)) > 220


def test_from_survey_to_paper_in_every_profile(tmp_path: Path) -> None:
    """A run of its own: day and place inside the file are judged, and public holds no picture."""
    programme = Programme(tmp_path)
    row = programme.book.row("ducts", "K01-B1-E1-01")
    photo_id = str(programme.book.value("ducts", "K01-B1-E1-01", "photo_id"))
    assert row
    assert photo_id
    wall_drawing(tmp_path / f"{photo_id}.jpg", RED, taken="2024:08:04 10:00:00")
    config = programme.config()
    settings = load(config)
    files = (*settings.surveys.files, tmp_path / f"{photo_id}.jpg")
    surveys = settings.surveys.model_copy(update={"files": files})
    settings = settings.model_copy(update={"surveys": surveys})
    tables, run_id, _ = compute(config, settings)
    codes = set(tables["findings"].loc[tables["findings"]["sheet"] == "photos", "code"])
    assert {"visit-09", "visit-10"} <= codes

    def packs(profile: str, **more: Any) -> list[Path]:
        export = settings.export.model_copy(update={"profile": profile, **more})
        own = settings.model_copy(update={"export": export})
        folder = tmp_path / f"{profile}{len(more)}"
        return write_work_packs(folder, for_profile(tables, own), own, run_id=run_id.short)

    texts = [text_of(p) for f in packs("full") for p in PdfReader(f).pages]
    pages = [t for t in texts if ": photos of the survey" in t]
    assert pages
    for text in pages:
        assert "Place in question: Photo" in text
        assert "Day in question: Photo" in text
        assert "taken 2024-08-04" in text
    assert any(b"/DCTDecode" in f.read_bytes() for f in packs("working"))
    hidden = packs("working", working_hides=("photos.file_name",))
    assert hidden
    assert not any(b"/DCTDecode" in f.read_bytes() for f in hidden)
    export = settings.export.model_copy(update={"profile": "public"})
    public = tmp_path / "public"
    public.mkdir()
    publish(
        tables, settings.model_copy(update={"export": export}), folder=public, run_id=run_id,
        when=dict,
    )  # fmt: skip
    assert not list(public.rglob("*.pdf"))
    for file in public.rglob("*"):
        assert b"\xff\xd8\xff" not in file.read_bytes()

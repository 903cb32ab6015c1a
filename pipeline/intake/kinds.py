"""What a file is, in plain words: for the line that says why it was not read."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Final

WORKBOOK: Final = "an Excel workbook (.xlsx), as a spreadsheet program saves it"
CSV: Final = "plain text in columns (CSV)"
GEOJSON: Final = "the export of a form app as GeoJSON"
SURVEY: Final = (
    "a survey workbook (.xlsx, .xlsm), a CSV file (.csv, .txt, .tsv) or a folder of them, GeoJSON, "
    "or a photo"
)
POINTS: Final = "GPS points (.gpx, .kml, .kmz, .gpkg, .geojson, or a zipped shapefile)"
JSON: Final = "JSON"

_BOOK: Final = "an Excel workbook"
_XML: Final = "XML"
_DAMAGED: Final = "a packed file that is damaged or cut off"
_LOOKED_AT: Final = 4096
_ZIP: Final = b"PK\x03\x04"
_NO_TEXT: Final = "binary data of no kind that we know"
_TEXT: Final = "plain text"
# first bytes of a file; those of text are compared in small letters, behind a mark and blanks
_HEADS: Final = (
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "a document of an old binary kind, or one with a password"),
    (b"SQLite format 3", "a GeoPackage or database"),
    (b"\xff\xd8\xff", "a photo (JPEG)"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"Rar!", "a packed folder (RAR)"),
    (b"7z\xbc\xaf\x27\x1c", "a packed folder (7z)"),
    (b"\x1f\x8b", "a packed file (gzip)"),
)
_TEXT_HEADS: Final = (
    (b"<!doctype html", "a web page, as a download that asks to sign in leaves it"),
    (b"<html", "a web page, as a download that asks to sign in leaves it"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"{", JSON),
    (b"<?xml", _XML),
    (b"<", _XML),
)
_POINTS: Final = ((b"<gpx", "GPS points (GPX)"), (b"<kml", "GPS points or a map (KML)"))
# says too little without the end of the name
_PLAIN: Final = frozenset({_TEXT, _NO_TEXT, _XML, JSON})
# a part that only one kind of packed file holds
_PARTS: Final = (
    ("xl/workbook.xml", _BOOK),
    ("xl/workbook.bin", "a binary Excel workbook (.xlsb)"),
    ("word/document.xml", "a Word document"),
    ("ppt/presentation.xml", "a set of slides"),
)
_OPEN_DOCUMENT: Final = "application/vnd.oasis.opendocument"
# what to do, by the end of the name; then by what was found
_BY_SUFFIX: Final = {
    **dict.fromkeys(
        (".gpx", ".kml", ".kmz", ".gpkg", ".shp"),
        "GPS points and layers are named in the settings ([[surveys.gps]], [reference]).",
    ),
    **dict.fromkeys(
        (".asc", ".vrt"),
        "Grids are named in the settings ([[flood.source]], [ground]).",
    ),
    ".toml": "Settings are given with --config.",
    ".xls": "Save it as .xlsx.",
    ".xlsb": "Save it as .xlsx.",
    ".ods": "Save it as .xlsx.",
}
_BY_FOUND: Final = (
    ("a packed folder", "Unpack it and name the files in it."),
    (_BOOK, "Give its name the end .xlsx."),
    ("a binary Excel workbook", "Save it as .xlsx."),
    ("an OpenDocument", "Save it as .xlsx."),
    ("a web page", "Download it again, signed in."),
    ("a PDF document", "Ask for the table that it was printed from."),
    ("a Word document", "Put its tables on the sheets of `stanch template`."),
)


def found_in(path: Path) -> str:
    """What a file is by its content.

    Parameters
    ----------
    path : Path
        A file that can be opened.

    Returns
    -------
    str
        Plain words, such as 'a PDF document'; nothing of the content is repeated.
    """
    with path.open("rb") as file:
        head = file.read(_LOOKED_AT)
    if not head:
        return "an empty file"
    if head.startswith(_ZIP):
        return _packed(path)
    for start, words in _HEADS:
        if head.startswith(start):
            return words
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    for start, words in _TEXT_HEADS:
        if text.startswith(start):
            return next((w for mark, w in _POINTS if mark in text), words)
    return _NO_TEXT if b"\x00" in head else _TEXT


def _packed(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as packed:
            names = packed.namelist()
            kind = packed.open("mimetype").read(100) if "mimetype" in names else b""
    except (OSError, ValueError, RuntimeError, NotImplementedError, zipfile.BadZipFile):
        return _DAMAGED
    if kind.decode("ascii", "replace").startswith(_OPEN_DOCUMENT):
        kinds = {"spreadsheet": "spreadsheet (.ods)", "text": "text (.odt)"}
        word = kind.decode("ascii", "replace").rpartition(".")[2]
        return f"an OpenDocument {kinds.get(word, 'file')}"
    if known := next((words for part, words in _PARTS if part in names), ""):
        return known
    count = sum(not n.endswith("/") for n in names)
    return f"a packed folder (zip) of {count} {'file' if count == 1 else 'files'}"


def is_other_packed(path: Path) -> bool:
    """Whether a file that could not be read as a workbook is a whole packed file of another kind."""
    return found_in(path) not in (_BOOK, _DAMAGED)


def facts(path: Path, wanted: str) -> dict[str, str]:
    """What the line about a file that is not read says.

    Parameters
    ----------
    path : Path
    wanted : str
        What would be read under this name or in this place.

    Returns
    -------
    dict
        `file`, `found`, `wanted` and `hint` of the rule file-26.
    """
    suffix = path.suffix.lower()
    found = found_in(path)
    if wanted == SURVEY and suffix and found in _PLAIN:
        found = f"{found} under a name that ends in {suffix}"
    hint = _BY_SUFFIX.get(suffix, "") if wanted == SURVEY else ""
    hint = hint or next((words for start, words in _BY_FOUND if found.startswith(start)), "")
    return {"file": path.name, "found": found, "wanted": wanted, "hint": f" {hint}" if hint else ""}

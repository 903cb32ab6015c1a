"""What surrounds the cells of a workbook: merged blocks, hidden rows, comments, colours, formulas.

The values come from the fast reader; the rest is scanned here straight from the parts of the file
(ECMA-376, SpreadsheetML), because building every cell as an object takes ten times as long.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator, Mapping
from io import BytesIO
from typing import Any, Final
from xml.parsers import expat

from lxml import etree

from pipeline.intake.sheets import RawSheet

_MAIN: Final = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_STRICT: Final = "{http://purl.oclc.org/ooxml/spreadsheetml/main}"
_RELS: Final = "{http://schemas.openxmlformats.org/package/2006/relationships}"
_ID: Final = (
    "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id",
    "{http://purl.oclc.org/ooxml/officeDocument/relationships}id",
)
_CELL: Final = re.compile(r"([A-Z]+)(\d+)")
_NO_COLOURS: Final = ("FFFFFF", "000000")
_START: Final = 4096
# what is more than a value (a merged block, an error, something hidden), and writing that no usual
# writer uses, which is left to the slow way
_MORE_THAN_VALUES: Final = (
    b"mergeCell", b't="e"', b"hidden", b"='", b" =", b"= ", b"\t", b"\x00",
)  # fmt: skip
_LINES_OF_HEAD: Final = 512
_STYLE: Final = re.compile(rb"\ss=[\"'](\d+)[\"']")
_TRUE: Final = ("1", "true")
# nothing of a part may name or build anything outside it
_SAFE: Final[dict[str, Any]] = {"resolve_entities": False, "no_network": True, "load_dtd": False}


class Damaged(ValueError):
    """A part of the file that cannot be read."""


def add_surroundings(packed: zipfile.ZipFile, sheets: Mapping[str, RawSheet]) -> list[str]:
    """Scan a workbook and add to its sheets what surrounds their values.

    Parameters
    ----------
    packed : ZipFile
    sheets : mapping of str to RawSheet
        Sheets by name, with their values; rows and columns count from 0.

    Returns
    -------
    list of str
        Names of the sheets that were found.

    Raises
    ------
    Damaged
        When a part is missing, is no XML or declares entities.
    """
    _no_entities(packed)
    looks = _looks(packed)
    out = []
    for name, part in _sheets(packed):
        if name not in sheets:
            continue
        found = sheets[name]
        _scan(packed, part, looks, found)
        for kind, target in _related(packed, part):
            if kind.endswith("/comments"):
                _comments(packed, target, found)
            elif kind.endswith("/drawing"):
                drawn = _tree(packed, target).iter()
                found.pictures_count += sum(_plain(one.tag) == "pic" for one in drawn)
        out.append(name)
    return out


def _no_entities(packed: zipfile.ZipFile) -> None:
    """Refuse parts that declare entities: no spreadsheet writes them, and they may name files."""
    for part in packed.namelist():
        if part.endswith((".xml", ".rels")):
            with packed.open(part) as file:
                if b"<!DOCTYPE" in file.read(_START):
                    raise Damaged(f"part {part} declares entities")


def _read(packed: zipfile.ZipFile, part: str) -> bytes:
    try:
        return packed.read(part)
    except KeyError:
        raise Damaged(f"part {part} is missing") from None


def _tree(packed: zipfile.ZipFile, part: str) -> Any:
    try:
        return etree.fromstring(_read(packed, part), etree.XMLParser(**_SAFE))
    except etree.XMLSyntaxError as fault:
        raise Damaged(f"part {part}: {fault}") from None


def _plain(tag: Any) -> str:
    return str(tag).rpartition("}")[2]


def _related(packed: zipfile.ZipFile, part: str) -> list[tuple[str, str]]:
    """Kind and part of everything that a part points to."""
    folder, file = posixpath.split(part)
    name = f"{folder}/_rels/{file}.rels"
    if name not in packed.namelist():
        return []
    out = []
    for one in _tree(packed, name).iter(f"{_RELS}Relationship"):
        target = str(one.get("Target", ""))
        place = target.lstrip("/") if target.startswith("/") else posixpath.join(folder, target)
        out.append((str(one.get("Type", "")), posixpath.normpath(place)))
    return out


def _sheets(packed: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Name and part of every work sheet, in order."""
    book = next((t for k, t in _related(packed, "") if k.endswith("/officeDocument")), "")
    book = book or "xl/workbook.xml"
    folder, file = posixpath.split(book)
    rels = f"{folder}/_rels/{file}.rels"
    targets = {
        one.get("Id"): (str(one.get("Type", "")), str(one.get("Target", "")))
        for one in _tree(packed, rels).iter(f"{_RELS}Relationship")
    }
    for sheet in _tree(packed, book).iter(f"{_MAIN}sheet", f"{_STRICT}sheet"):
        wanted = next((sheet.get(i) for i in _ID if sheet.get(i)), "")
        kind, target = targets.get(wanted, ("", ""))
        if kind.endswith("/worksheet"):
            place = target.lstrip("/") if target.startswith("/") else posixpath.join(folder, target)
            yield str(sheet.get("name")), posixpath.normpath(place)


def _looks(packed: zipfile.ZipFile) -> dict[str, str]:
    """Number of a cell style -> what it marks; plain styles are left out."""
    if "xl/styles.xml" not in packed.namelist():
        return {}
    tree = _tree(packed, "xl/styles.xml")
    groups = {_plain(child.tag): child for child in tree}
    fills = [_fill(f) for f in groups.get("fills", ())]
    strikes = [_is_struck(f) for f in groups.get("fonts", ())]
    out = {}
    for i, style in enumerate(groups.get("cellXfs", ())):
        font, fill = int(style.get("fontId", 0)), int(style.get("fillId", 0))
        if font < len(strikes) and strikes[font]:
            out[str(i)] = "struck through"
        elif fill < len(fills) and fills[fill]:
            out[str(i)] = fills[fill]
    return out


def _is_struck(font: Any) -> bool:
    return any(_plain(c.tag) == "strike" and c.get("val", "1") in _TRUE for c in font)


def _fill(fill: Any) -> str:
    for pattern in fill:
        if pattern.get("patternType") != "solid":
            return ""
        colour = next((c for c in pattern if _plain(c.tag) == "fgColor"), None)
        rgb = None if colour is None else colour.get("rgb")
        if rgb is None:
            return "" if colour is None else "filled with a colour"
        plain = rgb[-6:].upper()
        return "" if plain in _NO_COLOURS else f"filled with colour {plain}"
    return ""


def _at(name: str) -> tuple[int, int] | None:
    found = _CELL.fullmatch(name)
    if not found:
        return None
    column = 0
    for letter in found[1]:
        column = column * 26 + ord(letter) - 64
    return int(found[2]) - 1, column - 1


def _is_plain(page: bytes, looks: dict[str, str]) -> bool:
    """Whether a part holds nothing but values: a look at its bytes, which most surveys pass.

    In doubt it is not: the words looked for may stand in a text too.
    """
    head = page[:_LINES_OF_HEAD]
    if b":worksheet" in head or page.find(b"\n", _LINES_OF_HEAD) >= 0 or not page.isascii():
        return False
    if page.count(b"<f") != page.count(b"<formula") or any(m in page for m in _MORE_THAN_VALUES):
        return False
    styles = {str(style, "ascii") for style in set(_STYLE.findall(page))} if looks else set()
    return not styles & looks.keys()


def _is_well_formed(page: bytes) -> None:
    """Raise what the reader of the tree would raise, at a tenth of its cost."""
    try:
        expat.ParserCreate().Parse(page, True)
    except expat.ExpatError as fault:
        raise ValueError(str(fault)) from None


def _scan(packed: zipfile.ZipFile, part: str, looks: dict[str, str], found: RawSheet) -> None:
    tags = [f"{ns}{t}" for ns in (_MAIN, _STRICT) for t in ("c", "row", "col", "mergeCell")]
    try:
        page = _read(packed, part)
        if _is_plain(page, looks):
            _is_well_formed(page)
            return
        for _, one in etree.iterparse(BytesIO(page), tag=tags, **_SAFE):
            kind = _plain(one.tag)
            if kind == "c":
                _cell(one, looks, found)
            elif kind == "row":
                if one.get("hidden") in _TRUE and one.get("r"):
                    found.hidden_rows.add(int(one.get("r")) - 1)
                one.clear()
            elif kind == "col" and one.get("hidden") in _TRUE:
                first, last = int(one.get("min")), int(one.get("max"))
                found.hidden_columns |= set(range(first - 1, min(last, first + 16_384)))
            elif kind == "mergeCell":
                ends = [_at(p) for p in str(one.get("ref", "")).split(":")]
                if len(ends) == 2 and ends[0] and ends[1]:
                    found.merged.append((*ends[0], *ends[1]))
    except (etree.XMLSyntaxError, ValueError) as fault:
        raise Damaged(f"part {part}: {fault}") from None


def _cell(one: Any, looks: dict[str, str], found: RawSheet) -> None:
    """A cell that is more than a plain value."""
    kind, style = one.get("t"), one.get("s")
    look = looks.get(style, "") if style else ""
    has_formula = value = None
    for child in one:
        name = _plain(child.tag)
        if name == "f":
            has_formula = True
        elif name in ("v", "is"):
            value = child.text if name == "v" else "text"
    if not (has_formula or look or kind == "e"):
        return
    at = _at(one.get("r", ""))
    if at is None:
        return
    if kind == "e" and value:
        found.errors[at] = value
    elif has_formula and value is None:
        found.unsaved.add(at)
    if look and (value is not None or has_formula):
        found.marks[at] = look


def _comments(packed: zipfile.ZipFile, part: str, found: RawSheet) -> None:
    for one in _tree(packed, part).iter(f"{_MAIN}comment", f"{_STRICT}comment"):
        at = _at(one.get("ref", ""))
        if at is not None:
            found.comments[at] = "".join(t.text or "" for t in one.iter(f"{_MAIN}t", f"{_STRICT}t"))

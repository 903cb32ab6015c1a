"""Which uploaded names and first bytes are taken; everything else is refused with its reason.

A name from a browser is never a path: it is taken letter by letter or not at all, and the file is
stored under a folder of our own.
"""

from __future__ import annotations

import unicodedata
import zipfile
from pathlib import Path
from typing import Final

from pipeline.serve.limits import Limits
from pipeline.serve.refused import RefusedError

WORKBOOK: Final = "workbook"
CSV: Final = "CSV"
GEOJSON: Final = "GeoJSON"
PHOTO: Final = "photo"
KINDS: Final = {
    ".xlsx": WORKBOOK, ".xlsm": WORKBOOK, ".csv": CSV, ".txt": CSV, ".tsv": CSV,
    ".geojson": GEOJSON, ".json": GEOJSON, ".jpg": PHOTO, ".jpeg": PHOTO, ".png": PHOTO,
    ".heic": PHOTO, ".webp": PHOTO, ".tif": PHOTO, ".tiff": PHOTO,
}  # fmt: skip
ACCEPTED: Final = ",".join(KINDS)
_TAKEN: Final = "workbooks (.xlsx), CSV files, GeoJSON of the phone form and photos"
_SIGNS: Final = " -_.,()+&'"
_LONGEST_BYTES: Final = 120
_SHOWN: Final = 80
_LOOKED_AT: Final = 4096
_GPS: Final = (".gpx", ".kml", ".kmz", ".gpkg", ".shp", ".zip")
# names that one common system keeps for devices
_DEVICES: Final = frozenset(
    {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))}
)
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")
_OTHERS: Final = (
    (b"PK\x03\x04", "a packed file"), (b"PK\x05\x06", "an empty packed file"),
    (b"%PDF", "a PDF"), (b"MZ", "a program"), (b"\x7fELF", "a program"), (b"#!", "a program"),
    (b"{\\rtf", "a text document"), (b"\xd0\xcf\x11\xe0", "a protected or old binary file"),
    (b"\x1f\x8b", "a packed file"), (b"SQLite format 3", "a database"),
)  # fmt: skip
_PICTURES: Final = {
    ".jpg": (b"\xff\xd8\xff",), ".jpeg": (b"\xff\xd8\xff",), ".png": (b"\x89PNG\r\n\x1a\n",),
    ".tif": (b"II*\x00", b"MM\x00*"), ".tiff": (b"II*\x00", b"MM\x00*"),
}  # fmt: skip
_MOST_PARTS: Final = 5_000
_LARGEST_BYTES: Final = 400_000_000
_LARGEST_RATIO: Final = 300
_LINK: Final = 0o120000
_TYPE_BITS: Final = 0o170000


def shown(raw: str) -> str:
    """A name from outside as it can be shown: one line, no control or turning marks, cut."""
    plain = "".join(c if unicodedata.category(c)[0] != "C" else "\ufffd" for c in raw)
    return (plain[:_SHOWN] + "…" if len(plain) > _SHOWN else plain) or "(no name)"


def own_name(raw: str) -> str:
    """The name under which a file is kept.

    Parameters
    ----------
    raw : str
        Name as the browser sent it.

    Returns
    -------
    str
        Letters, digits and a few plain signs, with one of the known endings.

    Raises
    ------
    RefusedError
        Any other name.
    """
    name = unicodedata.normalize("NFC", raw)
    folded = unicodedata.normalize("NFKC", name)
    if not name.strip(" ."):
        raise RefusedError("The file has no name.", mend="Give it one and drop it again.")
    if any(sign in text for text in (name, folded) for sign in ("/", "\\", "..", ":")):
        raise RefusedError(
            "The name holds a path.", mend="Rename the file to a plain name and drop it again."
        )
    odd = sorted({c for c in name if not _is_plain(c)})
    if odd:
        told = ", ".join(_called(c) for c in odd[:3])
        raise RefusedError(
            f"The name holds signs that are not taken ({told}).",
            mend="Rename it with letters, digits, spaces, - and _ and drop it again.",
        )
    if len(name.encode()) > _LONGEST_BYTES:
        raise RefusedError(
            f"The name is longer than {_LONGEST_BYTES} letters.", mend="Give it a shorter name."
        )
    stem, suffix = Path(name).stem, Path(name).suffix.lower()
    if name[0] in " ." or name[-1] in " ." or stem.split(".")[0].strip().casefold() in _DEVICES:
        raise RefusedError(
            "The name begins or ends with a blank or a dot, or is kept for a device.",
            mend="Rename the file and drop it again.",
        )
    if suffix in _GPS:
        raise RefusedError(
            f"A {suffix} file is not taken here.",
            why="What the heights of GPS points and layers mean stands in the settings file.",
            mend="Send it to whoever keeps the settings; drop workbooks, CSV files and photos.",
        )
    if suffix not in KINDS:
        raise RefusedError(
            f"{suffix or 'A file without ending'} is a kind that is not read.",
            mend=f"Drop {_TAKEN}.",
        )
    return name


def _is_plain(c: str) -> bool:
    return c in _SIGNS or unicodedata.category(c)[0] in "LN" or unicodedata.category(c) == "Mn"


def _called(c: str) -> str:
    return c if c.isprintable() else f"U+{ord(c):04X}"


def look_inside(path: Path, name: str) -> str:
    """Look at the first bytes of a file, and at the list of contents of a workbook.

    Parameters
    ----------
    path : Path
        Where the file lies.
    name : str
        Its name, from `own_name`.

    Returns
    -------
    str
        Its kind.

    Raises
    ------
    RefusedError
        When it is empty or not what the name says.
    """
    suffix = Path(name).suffix.lower()
    kind = KINDS[suffix]
    with path.open("rb") as file:
        head = file.read(_LOOKED_AT)
    if not head:
        raise RefusedError("The file is empty.", mend="Save it again and drop it again.")
    found = _other_than(kind, suffix, head)
    if found:
        raise RefusedError(
            f"It is not a {kind} file inside: {found}.", mend="Send it in its own format."
        )
    if kind == WORKBOOK:
        _look_at_parts(path)
    return kind


def _other_than(kind: str, suffix: str, head: bytes) -> str:
    """What the first bytes show instead of the kind; '' where they fit."""
    if kind == WORKBOOK:
        return "" if head.startswith(b"PK\x03\x04") else _called_kind(head)
    if kind == PHOTO:
        return "" if _is_picture(suffix, head) else _called_kind(head)
    known = next((word for sign, word in _OTHERS if head.startswith(sign)), "")
    if known:
        return known
    if kind == GEOJSON:
        text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
        return "" if text.startswith((b"{", b"[")) else _called_kind(head)
    if head.startswith(_UTF16):
        return ""
    if b"\x00" in head:
        return "binary data"
    return "a web page or XML" if _is_markup(head) else ""


def _is_picture(suffix: str, head: bytes) -> bool:
    if suffix == ".heic":
        return head[4:8] == b"ftyp"
    if suffix == ".webp":
        return head.startswith(b"RIFF") and head[8:12] == b"WEBP"
    return head.startswith(_PICTURES[suffix])


def _is_markup(head: bytes) -> bool:
    return head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")


def _called_kind(head: bytes) -> str:
    known = next((word for sign, word in _OTHERS if head.startswith(sign)), "")
    return known or ("a web page or XML" if _is_markup(head) else "something else")


def _look_at_parts(path: Path) -> None:
    """The list of contents of a workbook: no links, no paths, no bomb, no password."""
    try:
        with zipfile.ZipFile(path) as packed:
            parts = packed.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise RefusedError(
            "The workbook is damaged or cut off.", mend="Save it again and drop it again."
        ) from None
    names = {p.filename for p in parts}
    if "[Content_Types].xml" not in names or not any(n.startswith("xl/") for n in names):
        raise RefusedError(
            "It is a packed file, not a workbook.", mend="Unpack it and drop the files in it."
        )
    if any(p.external_attr >> 16 & _TYPE_BITS == _LINK for p in parts):
        raise RefusedError("It holds a link to another file.", mend="Save it anew as .xlsx.")
    if any(n.startswith(("/", "\\")) or ".." in n.split("/") or "\\" in n for n in names):
        raise RefusedError("It holds parts that lead out of it.", mend="Save it anew as .xlsx.")
    if len(parts) > _MOST_PARTS or len(names) < len(parts):
        raise RefusedError(
            "It holds too many parts, or one part twice.", mend="Save it anew as .xlsx."
        )
    if any(p.flag_bits & 1 for p in parts):
        raise RefusedError("It is protected by a password.", mend="Save it without one.")
    size = sum(p.file_size for p in parts)
    if size > _LARGEST_BYTES or size > _LARGEST_RATIO * max(path.stat().st_size, 1_000):
        raise RefusedError(
            f"It unpacks to {size / 1e6:,.0f} MB, more than a survey holds.",
            why="Rows that are empty but formatted do that.",
            mend="Copy the filled rows into a new workbook.",
        )


def megabytes(size_bytes: int) -> str:
    """A size in words."""
    if size_bytes >= 1_000_000:
        whole = size_bytes % 1_000_000 == 0
        return f"{size_bytes / 1e6:,.{0 if whole else 1}f} MB"
    return f"{size_bytes / 1e3:,.0f} kB" if size_bytes >= 1_000 else f"{size_bytes:,} bytes"


def too_large(limits: Limits) -> RefusedError:
    """The refusal of a file above the limit."""
    return RefusedError(
        f"It is larger than {megabytes(limits.file_bytes)}.",
        mend="Take pictures out of the workbook, or send it in parts.",
    )

"""Many rows for the map in few bytes: by column, words once, packed as gzip in base64."""

from __future__ import annotations

import base64
import gzip
import json
import re
from collections.abc import Callable, Sequence
from typing import Any, Final

# Signs that stand for values of the same row inside its longer texts; the page puts them back.
OPENING: Final = "\x01"
SITE: Final = "\x02"
MARGIN: Final = "\x03"
LET_IN: Final = "\x04"
OWN_LEVEL: Final = "\x05"
LIMIT: Final = "\x06"
_SIGNS: Final = re.compile("[\x01-\x06]")

Column = dict[str, Any]


def plain(text: str) -> str:
    """Text without the few control characters that this packing keeps for itself."""
    return _SIGNS.sub("", text)


def words(values: Sequence[str]) -> Column:
    """Texts: each different one once, and its number per row."""
    number: dict[str, int] = {}
    at = [number.setdefault(plain(v), len(number)) for v in values]
    return {"k": "w", "list": list(number), "at": at}


def short_words(values: Sequence[str], stand_for: Sequence[Sequence[tuple[str, str]]]) -> Column:
    """Texts that repeat values of their own row: (sign, value) pairs stand in for them.

    Parameters
    ----------
    values : sequence of str
    stand_for : per row, pairs of sign and value
        Longer values first; empty values are left alone.

    Returns
    -------
    dict
        A column as from `words`; the page replaces each sign by the value of the row.

    """
    out = []
    for value, pairs in zip(values, stand_for, strict=True):
        text = plain(value)
        for sign, known in pairs:
            if known:
                text = text.replace(known, sign)
        out.append(text)
    number: dict[str, int] = {}
    at = [number.setdefault(v, len(number)) for v in out]
    return {"k": "w", "list": list(number), "at": at}


def numbers(values: Sequence[float | None], scale: int) -> Column:
    """Numbers as whole parts of 1/scale; None stays None."""
    return {"k": "n", "scale": scale,
            "v": [None if v is None else round(v * scale) for v in values]}  # fmt: skip


def flags(values: Sequence[bool]) -> Column:
    """Yes or no."""
    return {"k": "b", "v": [int(v) for v in values]}


def raw(values: Sequence[Any]) -> Column:
    """Anything that JSON can hold."""
    return {"k": "r", "v": list(values)}


def of_records(records: Sequence[dict[str, Any]], kinds: dict[str, Callable[..., Column]]) -> Any:
    """Columns of records; `kinds` says how each name is packed."""
    return {
        "count": len(records),
        "columns": {name: make([r[name] for r in records]) for name, make in kinds.items()},
    }


def packed(data: Any) -> str:
    """JSON, gzip without a time, base64: letters that need no escape in a page."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    zipped = gzip.compress(text.encode("utf-8", "surrogatepass"), compresslevel=9, mtime=0)
    return base64.b64encode(zipped).decode("ascii")

"""One page of paper: millimetres from the upper left corner, texts that stay texts, drawn boxes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Any, Final

import segno
from reportlab.pdfbase.pdfmetrics import stringWidth

from pipeline.publish.section_paper import POINTS_PER_MM

WIDTH_MM: Final = 210.0
HEIGHT_MM: Final = 297.0
LEFT_MM: Final = 13.0
RIGHT_MM: Final = 197.0
TOP_MM: Final = 11.0
BOTTOM_MM: Final = 284.0
_PLAIN: Final = "Helvetica"
_BOLD: Final = "Helvetica-Bold"
_LEADING: Final = 1.18
_CODE_CHARACTERS: Final = 120


class Bold(str):
    """Words of a cell that are written bold."""

    __slots__ = ()


def shown(words: object, most: int = 400) -> str:
    """A text as it can stand on paper: one line, signs the font lacks by number, cut with '…'.

    Parameters
    ----------
    words : object
        Any value; shown as text.
    most : int, optional
        Characters that are kept.

    Returns
    -------
    str
    """
    line = " ".join(str(words).split())
    if len(line) > most:
        line = line[: most - 1] + "…"
    if line.isprintable() and _is_in_font(line):
        return line
    return "".join(_sign(c) for c in line)


def _is_in_font(words: str) -> bool:
    """True where the font has every sign."""
    try:
        words.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def _sign(c: str) -> str:
    if unicodedata.category(c)[0] != "C" and _is_in_font(c):
        return c
    return f"[U+{ord(c):04X}]"


def broken(words: str, size: float, width_mm: float, *, is_bold: bool = False) -> list[str]:
    """Lines of a text in a width; a word that is wider than a line is broken."""
    font, room = _BOLD if is_bold else _PLAIN, width_mm * POINTS_PER_MM
    lines, line, used = [], "", 0.0
    space = _unit_width(" ", font) * size
    for word in words.split(" "):
        wide = _unit_width(word, font) * size
        if line and used + space + wide <= room:
            line, used = f"{line} {word}", used + space + wide
            continue
        if line:
            lines.append(line)
        line, used = word, wide
        while used > room and len(line) > 1:
            keep = next(
                n for n in range(len(line) - 1, 0, -1)
                if n == 1 or stringWidth(line[:n], font, size) <= room
            )  # fmt: skip
            lines.append(line[:keep])
            line = line[keep:]
            used = stringWidth(line, font, size)
    return [*lines, line] if line or not lines else lines


@lru_cache(maxsize=1 << 16)
def _unit_width(word: str, font: str) -> float:
    """Width of a word for a font of size 1: the same words come on every page."""
    return float(stringWidth(word, font, 1.0))


def line_mm(size: float) -> float:
    """Height of one line of a font size (mm)."""
    return size * _LEADING / POINTS_PER_MM


class Sheet:
    """A page being drawn; y counts down from the top."""

    def __init__(self, canvas: Any) -> None:
        self.canvas = canvas
        self.ink_grey = 0.0

    def text(
        self, x: float, y: float, words: str, size: float = 9.0, *, is_bold: bool = False,
        width: float = 0.0,
    ) -> None:  # fmt: skip
        """One line with its base at y; cut to a width where one is given."""
        font = _BOLD if is_bold else _PLAIN
        if width:
            words = cut(words, size, width, is_bold=is_bold)
        self.canvas.setFillGray(self.ink_grey)
        self.canvas.setFont(font, size)
        self.canvas.drawString(x * POINTS_PER_MM, (HEIGHT_MM - y) * POINTS_PER_MM, words)
        self.canvas.setFillGray(0.0)

    @contextmanager
    def ink(self, grey: float) -> Iterator[None]:
        """Texts inside are written in a grey (1 = white)."""
        self.ink_grey = grey
        yield
        self.ink_grey = 0.0

    def middle(self, x: float, y: float, words: str, size: float, *, is_bold: bool = False) -> None:
        """One line centred on x."""
        wide = stringWidth(words, _BOLD if is_bold else _PLAIN, size) / POINTS_PER_MM
        self.text(x - wide / 2.0, y, words, size, is_bold=is_bold)

    def lines(
        self, x: float, y: float, words: str, width: float, *, size: float = 9.0,
        is_bold: bool = False,
    ) -> float:  # fmt: skip
        """A broken text, first line below y; returns the y below it."""
        for row in broken(words, size, width, is_bold=is_bold):
            y += line_mm(size)
            self.text(x, y - 0.22 * line_mm(size), row, size, is_bold=is_bold)
        return y

    def few_lines(
        self, x: float, y: float, words: str, width: float, *, size: float, most: int
    ) -> float:
        """The same with at most so many lines, the last cut with '…'; `Bold` words are bold."""
        is_bold = isinstance(words, Bold)
        rows = broken(words, size, width, is_bold=is_bold)
        if len(rows) > most:
            last = cut(f"{rows[most - 1]} {rows[most]}", size, width, is_bold=is_bold)
            rows = [*rows[: most - 1], last]
        for row in rows:
            y += line_mm(size)
            self.text(x, y - 0.22 * line_mm(size), row, size, is_bold=is_bold)
        return y

    def box(
        self, x: float, y: float, width: float, height: float, *, pen_mm: float = 0.2,
        grey: float | None = None,
    ) -> None:  # fmt: skip
        """A rectangle, upper left corner at x, y; grey 0 is black, None leaves it open."""
        if grey is not None:
            self.canvas.setFillGray(grey)
        self.canvas.setStrokeGray(0.0)
        self.canvas.setLineWidth(pen_mm * POINTS_PER_MM)
        self.canvas.rect(
            x * POINTS_PER_MM, (HEIGHT_MM - y - height) * POINTS_PER_MM,
            width * POINTS_PER_MM, height * POINTS_PER_MM,
            stroke=int(pen_mm > 0), fill=int(grey is not None),
        )  # fmt: skip
        self.canvas.setFillGray(0.0)

    def ring(
        self, x: float, y: float, radius: float, *, pen_mm: float = 0.3, grey: float | None = None
    ) -> None:
        """A circle about x, y."""
        if grey is not None:
            self.canvas.setFillGray(grey)
        self.canvas.setStrokeGray(0.0)
        self.canvas.setLineWidth(pen_mm * POINTS_PER_MM)
        self.canvas.circle(
            x * POINTS_PER_MM, (HEIGHT_MM - y) * POINTS_PER_MM, radius * POINTS_PER_MM,
            stroke=1, fill=int(grey is not None),
        )  # fmt: skip
        self.canvas.setFillGray(0.0)

    def rule(self, x0: float, y0: float, x1: float, y1: float, *, pen_mm: float = 0.2) -> None:
        """A straight line."""
        self.canvas.setStrokeGray(0.0)
        self.canvas.setLineWidth(pen_mm * POINTS_PER_MM)
        self.canvas.line(
            x0 * POINTS_PER_MM, (HEIGHT_MM - y0) * POINTS_PER_MM,
            x1 * POINTS_PER_MM, (HEIGHT_MM - y1) * POINTS_PER_MM,
        )  # fmt: skip

    def heading(
        self, y: float, words: str, *, x: float = LEFT_MM, right: float = RIGHT_MM
    ) -> float:
        """A heading with a line below it; returns the y below."""
        self.text(x, y + 4.0, words, 10.0, is_bold=True)
        self.rule(x, y + 5.2, right, y + 5.2, pen_mm=0.3)
        return y + 6.2

    def field(self, x: float, y: float, width: float, label: str, *, height: float = 7.5) -> None:
        """A box to write into, its label small in the corner."""
        self.box(x, y, width, height)
        self.text(x + 0.8, y + 2.2, label, 5.8, width=width - 1.4)

    def tick(
        self, x: float, y: float, words: str, *, size: float = 8.0, width: float = 0.0
    ) -> None:
        """A box to tick and its words on the same line (base at y)."""
        self.box(x, y - 2.7, 3.0, 3.0)
        self.text(x + 4.2, y, words, size, width=width)

    def code(self, x: float, y: float, side: float, words: str) -> None:
        """A QR code as drawn squares; nothing where the text is too long for one."""
        if not words or len(words) > _CODE_CHARACTERS:
            self.lines(x, y, "id too long for a code", side, size=6.0)
            return
        rows = [list(r) for r in segno.make(words, error="m", micro=False).matrix]
        cell = side / len(rows)
        path = self.canvas.beginPath()
        for i, row in enumerate(rows):
            start = None
            for j, is_dark in enumerate([*row, 0]):
                if is_dark and start is None:
                    start = j
                elif not is_dark and start is not None:
                    path.rect(
                        (x + start * cell) * POINTS_PER_MM,
                        (HEIGHT_MM - y - (i + 1) * cell) * POINTS_PER_MM,
                        (j - start) * cell * POINTS_PER_MM,
                        cell * POINTS_PER_MM,
                    )
                    start = None
        self.canvas.drawPath(path, stroke=0, fill=1)

    def table(
        self, y: float, heads: Sequence[str], widths: Sequence[float], rows: Sequence[Sequence[str]],
        *, size: float = 7.5, most: int = 2,
    ) -> float:  # fmt: skip
        """A ruled table of broken texts from the left margin; returns the y below it."""
        x, low = LEFT_MM, y
        for words, width in zip(heads, widths, strict=True):
            low = max(low, self.lines(x + 0.8, y, words, width - 1.6, size=size, is_bold=True))
            x += width
        y = low + 1.0
        self.rule(LEFT_MM, y - 0.2, x, y - 0.2, pen_mm=0.3)
        for row in rows:
            x, low = LEFT_MM, y
            for words, width in zip(row, widths, strict=True):
                put = self.few_lines(x + 0.8, y, words, width - 1.6, size=size, most=most)
                low = max(low, put)
                x += width
            y = low + 1.0
            self.rule(LEFT_MM, y - 0.2, x, y - 0.2, pen_mm=0.12)
        return y


def cut(words: str, size: float, width_mm: float, *, is_bold: bool = False) -> str:
    """A text cut with '…' to a width."""
    font, room = _BOLD if is_bold else _PLAIN, width_mm * POINTS_PER_MM
    if stringWidth(words, font, size) <= room:
        return words
    low, high = 0, len(words)
    while low < high:
        middle = (low + high + 1) // 2
        if stringWidth(words[:middle] + "…", font, size) <= room:
            low = middle
        else:
            high = middle - 1
    return words[:low] + "…"


def words_mm(words: str, size: float, *, is_bold: bool = False) -> float:
    """Width of a text (mm)."""
    return _unit_width(words, _BOLD if is_bold else _PLAIN) * size / POINTS_PER_MM


def row_height_mm(
    cells: Sequence[str], widths: Sequence[float], *, size: float, most: int
) -> float:
    """Height that a row of `Sheet.table` takes (mm)."""
    count = max(
        min(len(broken(words, size, width - 1.6, is_bold=isinstance(words, Bold))), most)
        for words, width in zip(cells, widths, strict=True)
    )
    return count * line_mm(size) + 1.0

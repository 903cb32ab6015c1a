"""Work packs of the example, read back by pypdf: every end page against the tables."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PageObject, PdfReader

from tests.unit.publish.pdf_reading import circles_of

Read = Callable[[str], pd.DataFrame]
POINTS_PER_MM = 72.0 / 25.4


@pytest.fixture(scope="module")
def end_pages(example_run: Path) -> dict[str, tuple[PageObject, str]]:
    """Pages of ends: id -> page and its text."""
    out = {}
    for path in sorted((example_run / "work_packs").glob("*.pdf")):
        for page in PdfReader(path).pages:
            text = " ".join(page.extract_text().split())
            if "section to scale" in text:
                out[text.split(" ")[0]] = (page, text)
    return out


def chosen_ends(table: Read) -> list[str]:
    """Ends of the chosen packages that are not sealed by record; with an open snag they are work."""
    packages = table("packages").set_index("package_id")["end_ids"]
    choices, sealed = table("choices"), table("sealed_ends")
    ids = choices[choices["is_chosen"]]["package_id"]
    done = set(sealed.loc[sealed["is_made"] & ~sealed["is_snag_open"], "end_id"])
    return sorted({e for i in ids for e in packages[i].split(";")} - done)


def test_one_pack_per_chosen_site(example_run: Path, table: Read) -> None:
    """The files are the sites of the choice; each says 'not for work' on every page."""
    choices = table("choices")
    sites = sorted(set(choices[choices["is_chosen"]]["site_id"]))
    files = sorted(p.stem for p in (example_run / "work_packs").iterdir())
    assert files == sites
    for page in PdfReader(example_run / "work_packs" / f"{sites[0]}.pdf").pages:
        assert "no head rating, not for work" in page.extract_text()


def test_every_end_page_holds_its_numbers(
    end_pages: dict[str, tuple[PageObject, str]], table: Read
) -> None:
    """Id, bore and ml of each page are those of the tables; sleeves drawn and brought sum to them."""
    assert sorted(end_pages) == chosen_ends(table)
    designs = table("designs").set_index("end_id")
    pieces = table("pieces").set_index("end_id")
    snags = table("sealed_ends").set_index("end_id")["snag"]
    for end_id, (_, text) in end_pages.items():
        row = designs.loc[end_id]
        assert f"Ø {row['bore_mm']:g} mm" in text, end_id
        if (
            end_id not in pieces.index
        ):  # sealed by its record, with an open snag: nothing is counted
            assert row["is_made"], end_id
            assert "nothing is counted for it" in text, end_id
            assert f"To be made good: {snags[end_id]}." in text, end_id
            continue
        assert f"Sealant {math.ceil(row['layer_mm']):g} mm deep" in text, end_id
        for _, piece in pieces.loc[[end_id]].iterrows():
            if piece["item_id"].startswith("sealant"):
                assert f"{math.ceil(piece['quantity'])} ml of sealant" in text, end_id
        assert _sizes_told(text) == _sizes_counted(pieces.loc[[end_id]]), end_id


def test_sleeves_as_drawn_are_those_of_the_picture(
    end_pages: dict[str, tuple[PageObject, str]], table: Read
) -> None:
    """The sleeves 'as drawn' are the placed circles by size, times the lengths in the hole."""
    placements = table("placements")
    sleeves = placements[placements["kind"] == "sleeve"]
    counted = set(table("pieces")["end_id"])
    for end_id, (_, text) in end_pages.items():
        if end_id not in counted:
            continue
        sizes = sleeves[sleeves["end_id"] == end_id]["outer_mm"]
        lengths = re.search(r"\(([0-9]+) lengths deep: each one", text)
        deep = int(lengths.group(1)) if lengths else 1
        wanted = Counter({float(d): deep * int(n) for d, n in sizes.value_counts().items()})
        assert _sizes(DRAWN, text) == wanted, end_id


DRAWN = r"Filler sleeves as drawn: ([^.(]+)"
MORE = r"Also bring \(cables may have to stay as found\): ([^.]+)\."
COLLARS = r"Cable collars: ([^.]+)\."


def _sizes(pattern: str, text: str) -> Counter[float]:
    found = re.search(pattern, text)
    words = found.group(1) if found else ""
    return Counter({float(d): int(n) for n, d in re.findall(r"([0-9]+) x ([0-9]+) mm", words)})


def _sizes_told(text: str) -> dict[str, Counter[float]]:
    return {
        "sleeve": _sizes(DRAWN, text) + _sizes(MORE, text),
        "collar": _sizes(COLLARS, text),
    }


def _sizes_counted(pieces: pd.DataFrame) -> dict[str, Counter[float]]:
    out: dict[str, Counter[float]] = {"sleeve": Counter(), "collar": Counter()}
    for piece in pieces.to_dict("records"):
        kind, _, size = str(piece["item_id"]).partition("-")
        if kind in out and piece["quantity"] > 0:
            out[kind][float(size)] += int(piece["quantity"])
    return out


def test_drawings_equal_the_placements(
    end_pages: dict[str, tuple[PageObject, str]], table: Read
) -> None:
    """On every fourth page all pieces are read back from the vector paths within 0.1 mm."""
    placements = table("placements").set_index("end_id")
    designs = table("designs").set_index("end_id")
    for end_id in sorted(end_pages)[::4]:
        page, text = end_pages[end_id]
        size = float(re.findall(r"Across, 1 : ([0-9.]+)", text)[0]) / POINTS_PER_MM
        drawn = [(x * size, y * size, r * size) for x, y, r in circles_of(page)]
        radius = float(designs.at[end_id, "bore_mm"]) / 2.0
        bores = [c for c in drawn if abs(c[2] - radius) < 0.05]
        wanted = [
            (p["x_mm"], p["y_mm"], p["outer_mm"] / 2.0)
            for p in placements.loc[[end_id]].to_dict("records")
        ]
        assert any(
            all(
                any(
                    math.hypot(c[0] - b[0] - x, c[1] - b[1] - y) < 0.1 and abs(c[2] - r) < 0.1
                    for c in drawn
                )
                for x, y, r in wanted
            )
            for b in bores
        ), end_id

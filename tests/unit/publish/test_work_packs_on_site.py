"""What a crew must not misread: sleeves to bring, holes on hold, side of the wall, record boxes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader
from pypdf.generic import ContentStream

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load
from pipeline.publish.work_packs import write_work_packs
from pipeline.publish.work_packs.facts import Hole, Wall
from pipeline.publish.work_packs.plan import free_place
from pipeline.publish.work_packs.record import Target, target_words
from pipeline.publish.work_packs.seen import side_words
from pipeline.publish.work_packs.wall_picture import Frame
from tests.unit.publish.test_work_packs import _tables

Tables = dict[str, pd.DataFrame]
Read = Callable[[Tables], list[str]]


@pytest.fixture
def pages(root: Path, tmp_path: Path) -> Read:
    """Write the pack of some tables and read its pages."""
    settings: Settings = load(root / "configs" / "clean.toml")

    def read(tables: Tables) -> list[str]:
        (path,) = write_work_packs(tmp_path, tables, settings, run_id="0000abcd")
        return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]

    return read


def _with_spares(tables: Tables) -> Tables:
    """Quantities of three sleeves of 40 and two of 20 where one of 40 is drawn."""
    pieces = tables["pieces"]
    pieces.loc[pieces["item_id"] == "sleeve-40", ["quantity", "quantity_p90"]] = 3.0
    more = pieces[pieces["item_id"] == "sleeve-40"].assign(
        item_id="sleeve-20", quantity=2.0, quantity_p90=2.0
    )
    tables["pieces"] = pd.concat([pieces, more], ignore_index=True)
    return tables


def test_sleeves_are_told_once_as_drawn_and_once_to_bring(pages: Read) -> None:
    """Drawn 1 x 40; counted 3 x 40 and 2 x 20 (by hand: two of each to bring besides)."""
    found = pages(_with_spares(_tables()))
    page = next(t for t in found if t.startswith("E1-03"))
    assert "Filler sleeves as drawn: 1 x 40 mm." in page
    assert "Also bring (cables may have to stay as found): 2 x 40 mm, 2 x 20 mm." in page
    assert "Filler sleeves: 1 x 40 mm; front face" in page  # the step says the drawn count too
    day = found[1]
    assert "1 x 40 mm; also bring 2 x 40 mm, 2 x 20 mm" in day
    # four ends of the day: 4 x 3 of 40 and 4 x 2 of 20
    assert "12 Filler sleeve, outer 40 mm" in day
    assert "8 Filler sleeve, outer 20 mm" in day
    assert "with spares for cables left as found" in day
    # 4 x 122.4 ml = 489.6 ml: two cartridges of 310 ml
    assert "2 + 1 Sealant, cartridge of 310 ml" in day
    assert "cartridges for all ends of the list + 1 spare" in day


def test_nothing_to_bring_is_not_told(pages: Read) -> None:
    """Where the quantity is the drawn one, nothing is to be brought besides."""
    found = pages(_tables())
    assert not any("lso bring" in t for t in found)


def test_two_lengths_deep(pages: Read) -> None:
    """The words count both lengths, the picture one: the page says so."""
    tables = _with_spares(_tables(design={"sleeves_words": "2 x 40 mm (2 lengths deep)"}))
    page = next(t for t in pages(tables) if t.startswith("E1-03"))
    assert (
        "Filler sleeves as drawn: 2 x 40 mm (2 lengths deep: each one in the picture counts 2)."
        in page
    )
    assert "as found): 1 x 40 mm, 2 x 20 mm." in page


def _one_held(tables: Tables) -> Tables:
    designs = tables["designs"].astype({"hold_words": "object"})
    is_held = designs["end_id"] == "E1-03"
    designs.loc[is_held, "hold_reach"] = "work"
    designs.loc[is_held, "hold_words"] = "a draw cord lies in it (released by the owner's engineer)"
    tables["designs"] = designs
    return tables


def test_a_held_hole_is_marked(pages: Read) -> None:
    """Its own page has boxes for the release; wall, list of the wall and day say HELD once each."""
    found = pages(_one_held(_tables()))
    wall = next(t for t in found if t.startswith("Wall A at E1"))
    assert "Cross and HELD: not before its release" in wall
    assert wall.count("HELD") == 3  # in the hole, in the line below the picture, in the table
    assert "HELD, DO NOT START before release: seal, with its own page" in wall
    own = next(t for t in found if t.startswith("E1-03"))
    assert "Release no. by (name, role) on (date)" in own
    other = next(t for t in found if t.startswith("E1-02"))
    assert "by (name, role)" not in other
    assert "HELD, DO NOT START before release; 123 ml" in found[1]
    # 3 ends take 367.2 ml: two cartridges as for all four, so none less
    assert "The ends on hold are counted in (E1-03)" in found[1]
    assert "no cartridge less" in found[1]


def test_nothing_held_nothing_marked(pages: Read) -> None:
    """Without a hold no page speaks of one."""
    assert not any("HELD" in t or "Cross" in t for t in pages(_tables()))


def test_the_cross_is_drawn(root: Path, tmp_path: Path) -> None:
    """Four slanting strokes over the edge of the held hole, none on a wall without holds."""
    settings = load(root / "configs" / "clean.toml")

    def strokes(tables: Tables, name: str) -> int:
        (path,) = write_work_packs(tmp_path / name, tables, settings, run_id="0000abcd")
        page = next(p for p in PdfReader(path).pages if "Wall A at E1" in p.extract_text())
        count, pen, start = 0, 0.0, (0.0, 0.0)
        for operands, operator in ContentStream(
            page["/Contents"].get_object(), page.pdf
        ).operations:
            if operator == b"w":
                pen = float(operands[0])
            if operator == b"m":
                start = (float(operands[0]), float(operands[1]))
            if operator == b"l" and pen > 2.0:  # 0.8 mm; the hatch of the floor is thin
                x, y = float(operands[0]), float(operands[1])
                count += abs(abs(x - start[0]) - abs(y - start[1])) < 0.1
        return count

    assert strokes(_one_held(_tables()), "held") == 4
    assert strokes(_tables(), "free") == 0


def test_the_cover_says_why_an_end_waits(pages: Read) -> None:
    """An end held for design waits for its release, and whose; another was not chosen."""
    tables = _one_held(_tables())
    designs = tables["designs"]
    designs.loc[designs["end_id"] == "E1-03", "hold_reach"] = "design"
    tables["packages"]["end_ids"] = "E1-01;E1-04"
    cover = pages(tables)[0]
    assert "still open after it (2 ends)" in cover
    assert (
        "E1-03: waits for a release: a draw cord lies in it (released by the owner's engineer)"
        in cover
    )
    assert "E1-02: not chosen for this pack" in cover


@pytest.mark.parametrize(
    ("seen_from", "words"),
    [
        ("inside", "Seen from INSIDE the building."),
        ("outside", "Seen from OUTSIDE the building."),
        ("drawing only", "Seen from INSIDE the building, which the survey does not state"),
        (None, "Seen from INSIDE the building, which the survey does not state"),
    ],
)
def test_side_of_the_wall(pages: Read, seen_from: str | None, words: str) -> None:
    """Wall and end pages say from which side one looks, with the floor below."""
    tables = _tables()
    tables["entries"]["seen_from"] = seen_from
    found = pages(tables)
    wall = next(t for t in found if t.startswith("Wall A at E1"))
    assert words in wall
    assert "Floor at the bottom of the picture." in wall
    assert "floor (distance not to scale)" in wall
    page = next(t for t in found if t.startswith("E1-03"))
    assert words[1:] in page
    assert "Building B1, site S1 Yard" in page


def test_a_chamber_is_seen_from_inside() -> None:
    """Chamber ends are looked at from inside the chamber, whatever an entry may say."""
    hole = Hole("C1-01", {"place_kind": "chamber"}, (), {}, False)
    assert side_words(Wall("C1", "A", {"seen_from": "outside"}, (hole,))) == (
        "seen from INSIDE the chamber"
    )


def test_record_boxes(pages: Read) -> None:
    """Boxes of the record; drawn depths by hand: 105 - 20 - 80 + 20 = 25 mm and 20 mm."""
    page = next(t for t in pages(_tables()) if t.startswith("E1-03"))
    assert page.count("between cables") == 2  # a step and the record
    for words in (
        "Release no.", "Gas reading", "Second lot", "Photo no. before", "Name, printed",
        "after 24 h: day, initials", "Inspector: level (desk, visual, gauge, after flood)",
        "mm from the mouth: 25", "Depth of sealant: 20 mm",
    ):  # fmt: skip
        assert words in page, words


def test_tolerance_stands_beside_the_depth() -> None:
    """A drawn 20 mm with 2 mm of tolerance: no reading may be under 18 mm."""
    _, words = target_words(Target(25, 20, 2.0))
    assert words == "Depth of sealant: 20 mm (tolerance 2: no reading under 18)"


def test_no_cables_no_box_between_them(pages: Read) -> None:
    """An empty duct has no box for the depth between cables."""
    tables = _tables(end={"contents": "empty"})
    tables["cables"] = tables["cables"].iloc[:0]
    page = next(t for t in pages(tables) if t.startswith("E1-03"))
    assert page.count("between cables") == 1  # in the step of these tables, not in the record


def test_a_deeper_layer_is_flagged_on_the_day(pages: Read) -> None:
    """The policy asks for 20 mm: 22.3 mm is 23 mm on site and stands in the day's list."""
    assert not any("DEEP" in t for t in pages(_tables()))
    assert "123 ml, 23 mm DEEP; 1 x 40 mm" in pages(_tables(design={"layer_mm": 22.3}))[1]


def test_a_unit_is_said_once(pages: Read) -> None:
    """'2 pair Gloves, ..., pair' says the unit twice; long names are not cut."""
    tables = _tables()
    label = tables["pieces"].iloc[[0]].assign(item_id="label", quantity=1.0, quantity_p90=1.0)
    tables["pieces"] = pd.concat([tables["pieces"], label], ignore_index=True)
    day = pages(tables)[1]
    assert "2 pair Gloves, chemical resistant, size M" in day
    assert "size M, pair" not in day
    assert "number to ring before a cable is changed" in day


def test_names_of_a_sketch_do_not_meet() -> None:
    """Six marks close together: no name lies over another name or over a mark."""
    frame = Frame(0.0, 0.0, 100.0, 80.0)
    marks = [(50.0 + 2.0 * i, 40.0 + 1.5 * (i % 2)) for i in range(6)]
    taken = [(x - 1.8, y - 1.8, x + 1.8, y + 1.8) for x, y in marks]
    names = []
    for mark in marks:
        box = free_place(mark, 9.0, frame, taken)
        assert box is not None
        names.append(box)
        taken.append(box)
    for i, (a0, b0, a1, b1) in enumerate(names):
        for x, y in marks:
            assert not (a0 < x < a1 and b0 < y < b1)
        for c0, d0, c1, d1 in names[i + 1 :]:
            assert a1 <= c0 or c1 <= a0 or b1 <= d0 or d1 <= b0

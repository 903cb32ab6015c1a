"""Work packs from a small invented wall: an L-shaped bank, hostile texts, holds, same bytes."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from pypdf import PdfReader

from pipeline.core.settings import Settings
from pipeline.core.settings_file import load
from pipeline.publish.section_paper import POINTS_PER_MM
from pipeline.publish.work_packs import pack_name, write_work_packs
from pipeline.publish.work_packs.facts import Hole, Pack, Wall, packs_of
from pipeline.publish.work_packs.sheet import broken, cut, shown
from pipeline.publish.work_packs.steps import CAUTION_STEPS, STEP_STARTS, lines_of
from pipeline.publish.work_packs.wall_picture import Frame, not_placed, spots
from tests.unit.publish.pdf_reading import circles_of

NAN = math.nan
# an L-shaped bank: two rows on the left, one hole more at the foot
BANK = {"01": (1, 1), "02": (2, 1), "03": (3, 1), "04": (3, 2), "05": (3, 3)}
STEPS = (
    "Make sure that permits, isolations and consents are in hand under local rules. | Check that "
    "no water comes; keep stopper and hose at hand. | Clean and dry the bore and everything in it "
    "over the depth of the seal. | With the owner's leave: cables separated to 5 mm; groups stay "
    "together. | Filler sleeves: 1 x 40 mm; front face 25 mm, back face 105 mm from the mouth. | "
    "Check 25 mm of free depth all round and between cables before sealing. | Sealant 20 mm deep: "
    "123 ml. | Smooth off; press the edge against bore and cables. | Label with end, date and the "
    "number to ring before a cable is changed. | Photo with the label in it; fill in the record."
)
CAUTIONS = (
    "No abrading and no solvent on or near cables: their owner has not agreed to it for this "
    "covering. | Water may stand behind it: open slowly, stand aside, have a drain ready. | Local "
    "codes, permits and the owner's rules decide."
)
CODES = "no solvent;water possible;always"


@pytest.fixture(scope="module")
def settings(root: Path) -> Settings:
    """Settings of the clean sample: only crews, materials, date and datum are read."""
    return load(root / "configs" / "clean.toml")


def _tables(**changes: Any) -> dict[str, pd.DataFrame]:
    words = {"site_name": "Yard", "note": "", **changes}
    ids = {k: f"E1-{k}" for k in BANK}
    ends = [
        {"end_id": ids[k], "place_kind": "entry", "place_id": "E1", "face": "A", "row_no": row,
         "col_no": col, "shape": "round", "bore_mm": 100.0, "bore_b_mm": NAN,
         "material": "smooth plastic", "contents": "cables", "water_now": "dry", "mouth": "flush",
         "building_id": "B1", "site_id": "S1", **words.get("end", {})}
        for k, (row, col) in BANK.items()
    ]  # fmt: skip
    designs = [
        {"end_id": e["end_id"], "site_id": "S1", "building_id": "B1", "is_needed": True,
         "is_designed": True, "hold_reach": "none", "hold_words": None, "shape": "round",
         "bore_mm": 100.0, "bore_b_mm": NAN, "layer_mm": 20.0, "filler_length_mm": 80.0,
         "depth_needed_mm": 105.0, "design_head_m": 1.5, "head_from": "policy level",
         "sealant_ml": 122.4, "sleeves_words": "1 x 40 mm", "arrangement": "separated to 5 mm",
         "old_seal": None, "steps": STEPS, "cautions": CAUTIONS,
         "caution_codes": CODES, **words.get("design", {})}
        for e in ends if e["end_id"] != "E1-05"
    ]  # fmt: skip
    placements = [
        {"end_id": d["end_id"], "piece_no": i, "kind": kind, "cable_class": name, "outer_mm": size,
         "x_mm": x, "y_mm": y}
        for d in designs
        for i, (kind, name, size, x, y) in enumerate(
            (("cable", "HV", 30.0, 5.5, -34.0), ("sleeve", None, 40.0, -7.25, 12.5)), start=1)
    ]  # fmt: skip
    pieces = [
        {"end_id": d["end_id"], "item_id": item, "quantity": q, "quantity_p90": q, "unit": "piece"}
        for d in designs for item, q in (("sealant-310", 122.4), ("sleeve-40", 1.0))
    ]  # fmt: skip
    chosen = ";".join(d["end_id"] for d in designs)
    frames: dict[str, list[dict[str, Any]]] = {
        "sites": [{"site_id": "S1", "site_name": words["site_name"], "region": "North",
                   "site_type": "substation", "permit_kind": "street", "permit_lead_days": 20,
                   "outage_needed": "no", "grid_ref": None, "x_m": 1.0, "y_m": 2.0,
                   "plan_u_m": 1.0}],
        "buildings": [{"building_id": "B1", "site_id": "S1"}],
        "entries": [{"entry_id": "E1", "building_id": "B1", "face": "A", "kind": "duct bank",
                     "leads_to": "C1", "gap_around_duct": "none"}],
        "chambers": [], "ends": ends, "designs": designs, "placements": placements,
        "pieces": pieces, "reach": [], "levels": [], "photos": [], "seals": [],
        "cables": [{"cable_id": f"{e['end_id']}-K", "end_id": e["end_id"], "cable_count": 1,
                    "diameter_mm": 30.0, "cable_class": "HV", "covering": "plastic"}
                   for e in ends[:4]],
        "packages": [{"package_id": "B1/1", "end_ids": chosen}],
        "choices": [{"building_id": "B1", "site_id": "S1", "is_chosen": True,
                     "package_id": "B1/1", "year": 2026}],
        "crew_days": [{"region": "North", "day_no": 1, "work_date": "2026-05-04", "site_id": "S1",
                       "end_ids": chosen, "hours_h": 6.0, "travel_km": 2.0,
                       "note": words["note"] or None}],
    }  # fmt: skip
    return {name: pd.DataFrame(rows) for name, rows in frames.items()}


def _pack(tables: dict[str, pd.DataFrame], settings: Settings) -> Pack:
    from pipeline.core.materials import load as load_materials
    from pipeline.publish.work_packs.facts import Paper

    paper = Paper("0000abcd", "2026-03-02", "Datum", "example materials: no head rating.")
    return packs_of(tables, settings, load_materials(settings.design.materials), paper=paper)[0]


def _text(path: Path) -> list[str]:
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


def test_wall_is_not_mirrored(tmp_path: Path, settings: Settings) -> None:
    """Row 1 is the top, column 1 the left: the long foot of the L points right, on the paper too."""
    pack = _pack(_tables(), settings)
    at = {s.hole.end_id: (s.x, s.y) for s in spots(pack.walls[0], Frame(0, 0, 90, 90))}
    assert at["E1-01"][0] == at["E1-02"][0] == at["E1-03"][0]
    assert at["E1-01"][1] < at["E1-02"][1] < at["E1-03"][1]  # y counts down
    assert at["E1-03"][0] < at["E1-04"][0] < at["E1-05"][0]
    assert at["E1-03"][1] == at["E1-04"][1] == at["E1-05"][1]
    (path,) = write_work_packs(tmp_path, _tables(), settings, run_id="0000abcd")
    page = next(p for p in PdfReader(path).pages if "Wall A at E1" in p.extract_text())
    seen = {(round(x), round(y)) for x, y, _ in circles_of(page)}
    assert len(seen) == 5
    left, foot = min(x for x, _ in seen), min(y for _, y in seen)
    assert sum(x == left for x, _ in seen) == 3  # the upright stands at the left
    assert sum(y == foot for _, y in seen) == 3  # the foot lies at the bottom


def test_this_hole_is_where_it_is(tmp_path: Path, settings: Settings) -> None:
    """The words of each page name row and column of the survey."""
    (path,) = write_work_packs(tmp_path, _tables(), settings, run_id="0000abcd")
    pages = [t for t in _text(path) if "section to scale" in t]
    assert len(pages) == 4
    for key, (row, col) in list(BANK.items())[:4]:
        page = next(t for t in pages if t.startswith(f"E1-{key}"))
        assert f"Wall A, row {row} from the top, column {col} from the left" in page


def test_end_page_holds_the_numbers(tmp_path: Path, settings: Settings) -> None:
    """Bore, ml (122.4 rounded up by hand to 123), sleeves, run id and the note of the materials."""
    (path,) = write_work_packs(tmp_path, _tables(), settings, run_id="0000abcd")
    page = next(t for t in _text(path) if t.startswith("E1-03"))
    for words in ("Ø 100 mm", "bore 100 mm", "123 ml of sealant", "Filler sleeves as drawn: 1 x 40 mm.",
                  "run 0000abcd", "planning date 2026-03-02", "no head rating, not for work",
                  "at 12", "at 3", "at 6", "at 9", "Signature", "If it is different",
                  "Depth cannot be reached", "head the seal is designed for: 1.50 m"):  # fmt: skip
        assert words in page, words


def test_drawing_equals_the_placements(tmp_path: Path, settings: Settings) -> None:
    """Circles read back from the page's vector paths are bore and pieces within 0.1 mm."""
    (path,) = write_work_packs(tmp_path, _tables(), settings, run_id="0000abcd")
    page = next(p for p in PdfReader(path).pages if p.extract_text().startswith("E1-03"))
    scale = float(re.findall(r"Across, 1 : ([0-9.]+)", page.extract_text())[0])
    size = scale / POINTS_PER_MM
    drawn = [(x * size, y * size, r * size) for x, y, r in circles_of(page)]
    bore = next(c for c in drawn if abs(c[2] - 50.0) < 0.1)
    for x, y, r in ((5.5, -34.0, 15.0), (-7.25, 12.5, 20.0)):
        assert any(
            math.hypot(c[0] - bore[0] - x, c[1] - bore[1] - y) < 0.1 and abs(c[2] - r) < 0.1
            for c in drawn
        )


def test_same_bytes(tmp_path: Path, settings: Settings) -> None:
    """Two builds of the same tables give the same bytes."""
    one = write_work_packs(tmp_path / "a", _tables(), settings, run_id="0000abcd")
    two = write_work_packs(tmp_path / "b", _tables(), settings, run_id="0000abcd")
    assert [p.read_bytes() for p in one] == [p.read_bytes() for p in two]


def test_hold_is_told_first(tmp_path: Path, settings: Settings) -> None:
    """A hold stands on the cover, in the day's list and at the head of the page."""
    changes = {"hold_reach": "work", "hold_words": "water runs from the duct"}
    (path,) = write_work_packs(tmp_path, _tables(design=changes), settings, run_id="0000abcd")
    pages = _text(path)
    assert "DO NOT START" in pages[0]
    assert "Do not start E1-01: water runs from the duct" in pages[0]
    assert "DO NOT START before release" in pages[1]
    page = next(t for t in pages if t.startswith("E1-02"))
    assert "DO NOT START before release: water runs from the duct" in page


def test_cover_has_its_boxes_and_free_ids(tmp_path: Path, settings: Settings) -> None:
    """Keyholder, permits, contacts are boxes; E1-06 and E1-07 are the next free ids."""
    (path,) = write_work_packs(tmp_path, _tables(), settings, run_id="0000abcd")
    pages = _text(path)
    for words in ("Keyholder and phone", "Permit numbers", "Nearest hospital", "Planned: 2026-05-04",
                  "No work under a flood warning"):  # fmt: skip
        assert words in pages[0], words
    assert "Blank sheet" in pages[-1]
    assert "E1-06, E1-07" in pages[-1]
    assert f"page {len(pages)} of {len(pages)}" in pages[-1]


def test_free_id_is_never_one_that_is_taken(settings: Settings) -> None:
    """An id that stands elsewhere in the survey is passed over."""
    tables = _tables()
    far = tables["ends"].iloc[[0]].assign(end_id="e1-06", place_id="E9")
    tables["ends"] = pd.concat([tables["ends"], far], ignore_index=True)
    assert _pack(tables, settings).free_ids["E1"] == ("E1-07", "E1-08")


def test_cautions_stand_where_they_change_a_step() -> None:
    """No solvent stands between cleaning and cables, in place of degreasing; local codes last."""
    lines = lines_of({"steps": STEPS, "cautions": CAUTIONS, "caution_codes": CODES})
    words = [one.words for one in lines]

    def at(start: str) -> int:
        return next(i for i, w in enumerate(words) if w.startswith(start))

    assert at("Make sure") < at("Water may stand") < at("Check that no water")
    assert at("Clean") < at("No abrading") < at("With the owner's leave")
    assert at("Local codes") == len(words) - 1
    assert [one.number for one in lines if one.number] == list(range(1, 11))
    assert sorted(words) == sorted([*STEPS.split(" | "), *CAUTIONS.split(" | ")])


def test_every_caution_of_the_rules_has_its_place() -> None:
    """A new rule of the design stage with a caution must be given its place on the sheet."""
    from pipeline.design.hold_rules import RULES

    for rule in RULES:
        if rule.caution:
            assert rule.code in CAUTION_STEPS, rule.code


def test_unknown_words_are_kept() -> None:
    """A caution that nobody placed stands first; a step that nobody placed keeps its turn."""
    lines = lines_of({"steps": "Make sure that permits. | Whistle. | Clean it.", "cautions": "Oh!"})
    assert [one.words for one in lines] == [
        "Oh!",
        "Make sure that permits.",
        "Whistle.",
        "Clean it.",
    ]
    assert len(STEP_STARTS) == 13


HOSTILE = (
    "<script>alert(1)</script>", "<b>bold</b> & <para>", "{{7*7}} ${x} %s", "\u202egnp.exe",
    "Ω≈ç 漢字 😀", "(unbalanced ) \\ parens", "=1+1", "a" * 10_000, "x\x00y\tz\nw", "'\"`;--",
)  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_shown_as_text(tmp_path: Path, settings: Settings, text: str) -> None:
    """Texts of a survey come out as they were written, signs the font lacks by their number."""
    tables = _tables(site_name=text, note=text, end={"material": text, "face": text},
                     design={"head_from": text})  # fmt: skip
    (path,) = write_work_packs(tmp_path, tables, settings, run_id="0000abcd")
    reader = PdfReader(path)
    pages = _text(path)
    assert all("/Annots" not in p and "/AA" not in p for p in reader.pages)
    wanted = shown(text, 30).replace("…", "")[:20].strip()
    squeezed = "".join(pages[0].split())
    assert "".join(wanted.split()) in squeezed
    assert max(len(p) for p in pages) < 9000


def test_hostile_ids(tmp_path: Path, settings: Settings) -> None:
    """An id that is a path or endless gives a harmless file name and a page that can be read."""
    for name in ("../../etc/x", "a/b\\c", "i" * 5000):
        assert re.fullmatch(r"[A-Za-z0-9._-]{1,90}", pack_name(name))
        assert not pack_name(name).startswith("../")
    assert pack_name("a/b") != pack_name("a_b")
    tables = _tables()
    for frame in ("ends", "designs", "placements", "pieces", "cables"):
        tables[frame]["end_id"] = [f"{e}<{'w' * 300}" for e in tables[frame]["end_id"]]
    for frame, column in (("packages", "end_ids"), ("crew_days", "end_ids")):
        tables[frame][column] = ";".join(tables["designs"]["end_id"])
    (path,) = write_work_packs(tmp_path, tables, settings, run_id="0000abcd")
    assert sum("section to scale" in t for t in _text(path)) == 4


def test_holes_without_a_cell_are_listed(settings: Settings) -> None:
    """An end without row and column is not drawn anywhere, and not lost."""
    tables = _tables()
    tables["ends"].loc[1, "col_no"] = NAN
    wall: Wall = _pack(tables, settings).walls[0]
    missing: list[Hole] = not_placed(wall)
    assert [h.end_id for h in missing] == ["E1-02"]
    assert len(spots(wall, Frame(0, 0, 90, 90))) == 4


def test_a_large_wall_is_drawn_twice(
    tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty holes: small with the hole filled, then near with contents; the list loses no end."""
    bank = {f"{12 * r + c + 1:02}": (r + 1, c + 1) for r in range(5) for c in range(12)}
    monkeypatch.setitem(globals(), "BANK", bank)
    tables = _tables()
    tables["packages"]["end_ids"] = "E1-18"
    tables["crew_days"]["end_ids"] = "E1-18"
    (path,) = write_work_packs(tmp_path, tables, settings, run_id="0000abcd")
    reader = PdfReader(path)
    texts = [" ".join(p.extract_text().split()) for p in reader.pages]
    walls = " ".join(t for t in texts if t.startswith("Wall A at E1"))
    assert all(f"E1-{k}" in walls for k in bank)
    page = reader.pages[next(i for i, t in enumerate(texts) if t.startswith("E1-18"))]
    words = page.extract_text().split("section to scale")[0]
    assert all(k in words.split() for k in ("05", "06", "07", "17", "18", "19", "29", "30", "31"))
    assert "22" not in words.split()


def test_nothing_chosen_no_folder(tmp_path: Path, settings: Settings) -> None:
    """A programme that chooses nothing has no packs."""
    tables = _tables()
    tables["choices"]["is_chosen"] = False
    assert write_work_packs(tmp_path / "none", tables, settings, run_id="0000abcd") == []
    assert not (tmp_path / "none").exists()


def test_an_end_without_a_design_says_so(tmp_path: Path, settings: Settings) -> None:
    """No drawing, no made-up number: the reason stands where the section would be."""
    changes = {"is_designed": False, "not_designed_reason": "too little free depth",
               "hold_reach": "design", "hold_words": "too little free depth"}  # fmt: skip
    (path,) = write_work_packs(tmp_path, _tables(design=changes), settings, run_id="0000abcd")
    page = next(t for t in _text(path) if t.startswith("E1-01"))
    assert "No seal is drawn: too little free depth" in page
    assert "Provisional, from like ends: about 123 ml" in page
    assert "Across" not in page


def test_long_steps_go_on_overleaf(tmp_path: Path, settings: Settings) -> None:
    """Cautions are never cut away: what does not fit stands on a second page."""
    many = " | ".join(f"Caution number {i}: " + "mind the cable " * 12 for i in range(90))
    (path,) = write_work_packs(
        tmp_path, _tables(design={"cautions": many}), settings, run_id="0000abcd"
    )
    pages = [t for t in _text(path) if t.startswith("E1-01")]
    assert len(pages) >= 3
    both = " ".join(pages)
    assert "Steps go on overleaf" in both
    assert all(f"Caution number {i}:" in both for i in range(90))


def test_texts_fit_their_width() -> None:
    """Broken lines hold every letter; a cut text ends in '…'."""
    words = "one two three " + "w" * 200
    lines = broken(words, 9.0, 30.0)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")
    assert cut("w" * 200, 9.0, 20.0).endswith("…")
    assert shown("a\nb") == "a b"
    assert shown("😀") == "[U+1F600]"

"""The blank workbook and the phone form: what they offer is what the checks take."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from pyxform.builder import create_survey_element_from_dict
from pyxform.xls2json import parse_file_to_json

from pipeline.core.survey import FORM_SHEETS, TABLE_OF_SHEET, columns, form_word, of_sheet
from pipeline.publish.phone_form import write_phone_form
from pipeline.publish.template import CARD_SHEET, WALL_SHEET, write_template
from pipeline.run import check

ROOT = Path(__file__).parents[3]
CLEAN = ROOT / "sample_surveys/clean/clean.xlsx"
WORDS = {"@regions": ("North", "South", "Isles", "NA"), "@datums": ("Merrow Datum 2015",),
         "@classes": ("ordinary", "important", "vital")}  # fmt: skip


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A template with the words of the example programme."""
    path = tmp_path_factory.mktemp("template") / "blank.xlsx"
    write_template(path, WORDS)
    return path


def test_every_list_column_has_its_drop_down(blank: Path) -> None:
    """Drop-downs = list and yes/no columns of the definition, cell range and words alike."""
    book: Any = openpyxl.load_workbook(blank)
    lists = {c[0].value: [v.value for v in c[1:] if v.value] for c in book["lists"].columns}
    for sheet in TABLE_OF_SHEET:
        page = book[sheet]
        heads = {c.value: c.column_letter for c in page[1]}
        drops = {str(v.sqref).split(":")[0].rstrip("0123456789"): v.formula1
                 for v in page.data_validations.dataValidation if v.type == "list"}  # fmt: skip
        wanted = {
            c.heading for c in of_sheet(sheet)
            if (c.kind == "list" and c.words) or c.kind == "yesno"
        }  # fmt: skip
        assert {h for h, at in heads.items() if at in drops} == wanted, sheet
    for column in columns():
        if column.kind == "list" and column.words and column.words[0][0] != "@":
            assert tuple(lists[f"{column.sheet} {column.heading}"]) == column.words


def test_the_blank_itself_has_thirteen_sheets_lists_and_a_wall(blank: Path) -> None:
    """Contract: 13 data sheets, lists, how to number a wall; no row counts as data."""
    names = openpyxl.load_workbook(blank, read_only=True).sheetnames
    assert names == ["about", *TABLE_OF_SHEET, "lists", WALL_SHEET, CARD_SHEET]
    tables, _ = check([blank])
    assert tables["counts"]["rows_count"].sum() == 0


def test_the_filled_template_passes_without_a_finding(blank: Path, tmp_path: Path) -> None:
    """The clean sample typed into the template: every row used, nothing to ask."""
    book: Any = openpyxl.load_workbook(blank)
    clean: Any = openpyxl.load_workbook(CLEAN, data_only=True)
    about = {r[0]: r[1] for r in clean["about"].iter_rows(values_only=True)}
    for row in book["about"].iter_rows(min_row=2):
        row[1].value = about.get(row[0].value)
    count = 0
    for sheet in TABLE_OF_SHEET:
        if sheet not in clean.sheetnames:
            continue
        rows = list(clean[sheet].iter_rows(values_only=True))
        at = {c.value: c.column for c in book[sheet][1]}
        for r, row in enumerate(rows[1:], start=2):
            count += any(v is not None for v in row)
            for name, value in zip(rows[0], row, strict=True):
                if name is not None:
                    book[sheet].cell(r, at[name]).value = value
    path = tmp_path / "filled.xlsx"
    book.save(path)
    tables, _ = check([path])
    assert tables["findings"]["message"].tolist() == []
    assert tables["counts"]["used_count"].sum() == count > 100


def test_the_same_blank_has_the_same_bytes(tmp_path: Path) -> None:
    """Two writes, one file."""
    for name in ("a.xlsx", "b.xlsx"):
        write_template(tmp_path / name, WORDS)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


@pytest.mark.parametrize("words", [WORDS, {}])
def test_the_phone_form_converts_without_warnings(
    tmp_path: Path, words: dict[str, tuple[str, ...]]
) -> None:
    """XLSForm (open standard), converted by pyxform: no warning, a question for every column."""
    path = tmp_path / "form.xlsx"
    write_phone_form(path, words)
    warnings: list[str] = []
    form = parse_file_to_json(str(path), warnings=warnings)
    xml = create_survey_element_from_dict(form).to_xml(validate=False, warnings=warnings)
    assert warnings == []
    for sheet in FORM_SHEETS:
        for column in of_sheet(sheet):
            place = column.heading in ("easting", "northing", "lat", "lon", "grid_ref")
            assert place or f"{sheet}_{column.heading}" in xml


def test_words_of_a_list_stay_apart_in_the_form() -> None:
    """No two words of one list export alike."""
    for column in columns():
        exported = [form_word(w) for w in column.words]
        assert len(set(exported)) == len(exported), column


def _records() -> list[dict[str, Any]]:
    return [
        {"record_kind": "chambers", "chambers_chamber_id": "C-1", "chambers_site_id": "S-1",
         "chambers_position": "54.1 0.2 3.5 4.0", "chambers_cover_kind": "slabs",
         "chambers_walls_seen": "A B floor", "chambers_pumped_out": "no"},
        {"record_kind": "ducts", "ducts_end_id": "D-1", "ducts_place_id": "C-1",
         "ducts_bore_mm": "90", "ducts_measured_to": "soffit_inside_top",
         "ducts_clear_depth_mm": "300 or more", "ducts_far_proof": "light_air_or_dye_seen"},
        {"record_kind": "ducts", "ducts_end_id": "0012", "ducts_place_id": "C-1",
         "ducts_bore_mm": "TBC"},
    ]  # fmt: skip


def _as_csv(folder: Path, group: str) -> Path:
    records = _records()
    heads = list(dict.fromkeys(k for r in records for k in r))
    names = [
        h if h == "record_kind" else group.format(sheet=h.split("_")[0], name=h) for h in heads
    ]
    path = folder / "export.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["SubmissionDate", *names])
        writer.writerows(["2026-01-01", *(r.get(h, "") for h in heads)] for r in records)
    return path


def _as_geojson(folder: Path) -> Path:
    features = [
        {"type": "Feature", "properties": {k: v for k, v in r.items() if "position" not in k},
         "geometry": {"type": "Point", "coordinates": [0.2, 54.1]}}
        for r in _records()
    ]  # fmt: skip
    path = folder / "export.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return path


@pytest.mark.parametrize("kind", ["{name}", "{sheet}-{name}", "{sheet}/{name}", "geojson"])
def test_exports_of_the_form_are_read(tmp_path: Path, kind: str) -> None:
    """CSV with or without group names, and GeoJSON: rows in their sheets, at their row numbers."""
    path = _as_geojson(tmp_path) if kind == "geojson" else _as_csv(tmp_path, kind)
    tables, _ = check([path])
    chamber = tables["chambers"].iloc[0]
    assert (chamber["lat_deg"], chamber["lon_deg"]) == (54.1, 0.2)
    assert (chamber["cover_kind"], chamber["walls_seen"]) == ("slabs", "A;B;floor")
    ends = tables["ends"].set_index("end_id")
    assert ends.loc["D-1", "measured_to"] == "soffit (inside top)"
    assert ends.loc["D-1", "far_proof"] == "light, air or dye seen"
    assert ends.loc["D-1", "clear_depth_word"] == "300 or more"
    assert "0012" in ends.index
    asked = tables["findings"].query("code == 'file-12'").iloc[0]
    assert asked["row"] == 4
    assert tables["counts"]["rows_count"].sum() == 3

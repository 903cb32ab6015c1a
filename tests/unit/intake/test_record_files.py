"""Records through files: every row counted, every record code fired, nothing lifted by mistake."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import openpyxl
import pandas as pd
import pytest

from pipeline.core import settings_file
from pipeline.core.answers import close, is_open
from pipeline.core.errors import UsageError
from pipeline.core.record_sheets import STATES, hold_releases
from pipeline.core.settings import Records, Settings
from pipeline.core.survey import RECORD_SHEETS, of_sheet, record_columns
from pipeline.design.hold_rules import RULES
from pipeline.intake import intake
from pipeline.intake.records import with_records
from pipeline.publish.questions import write_questions
from pipeline.publish.template import write_record_template
from pipeline.tables import Tables, hand_over

ROOT = Path(__file__).parents[3]
POLICY = Records(
    nominal_mm=20, tolerance_mm=2, accepting_levels=("gauge",), inspect_days=28,
    look_again_months=24, sample_frac=0.5, sample_seed=1, source="test",
)  # fmt: skip
D = dt.date
E1, E2 = "K01-B1-E1-01", "K01-B1-E1-02"
INSTALL: Final[dict[str, Any]] = {
    "install_id": "I1", "end_id": E1, "seal_date": D(2025, 9, 1), "start_time": "09:00",
    "finish_time": "10:00", "lead": "A. Holm", "layer_drawn_mm": 20, "sealant_at_12_mm": 20,
    "sealant_at_3_mm": 21, "sealant_at_6_mm": 22, "sealant_at_9_mm": 20, "between_cables": "yes",
    "lot": "L1", "expires_on": D(2026, 9, 1),
}  # fmt: skip
LOOK: Final[dict[str, Any]] = {
    "inspection_id": "Q1", "end_id": E1, "inspection_date": D(2025, 9, 20), "inspector": "D. Marsh",
    "level": "gauge", "result": "accepted",
}  # fmt: skip
RELEASE: Final[dict[str, Any]] = {
    "release_id": "R1", "end_id": E1, "building_id": None, "site_id": None, "hold": "asbestos",
    "role": "asbestos register holder", "released_by": "R. Vane", "release_date": D(2025, 9, 1),
    "valid_until": None,
}  # fmt: skip
CHANGE: Final[dict[str, Any]] = {
    "change_id": "C1", "end_id": E1, "change_date": D(2025, 10, 1), "change": "cable added",
    "cables_count": 1, "done_by": "P. Lund",
}  # fmt: skip
ORDER: Final[dict[str, Any]] = {
    "order_line_id": "O1", "order_id": "PO-1", "building_id": "K01-B1", "end_ids": f"{E1}; {E2}",
    "order_date": D(2025, 8, 1), "approved_by": "E. Stone",
}  # fmt: skip
KIT: Final[dict[str, Any]] = {
    "kit_id": "KIT-1", "end_ids": E1, "packed_date": D(2025, 8, 30), "packed_by": "F. Dale",
}  # fmt: skip
USUAL = {
    "installs": INSTALL, "inspections": LOOK, "releases": RELEASE, "cable_changes": CHANGE,
    "orders_placed": ORDER, "kits_packed": KIT,
}  # fmt: skip
Sheets = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def clean() -> tuple[Tables, Settings]:
    """The clean sample as intake hands it over, and its settings with a policy for records."""
    settings = settings_file.load(ROOT / "configs" / "clean.toml")
    return hand_over("intake", intake(settings)), settings.model_copy(update={"records": POLICY})


def workbook(path: Path, sheets: Sheets) -> Path:
    """A record workbook; each row is a change to the usual one of its sheet."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        heads = list(dict.fromkeys([*USUAL[name], *(k for r in rows for k in r)]))
        page.append(heads)
        for row in rows:
            page.append([{**USUAL[name], **row}.get(h) for h in heads])
    book.save(path)
    return path


Read = Callable[..., Tables]


@pytest.fixture
def read(clean: tuple[Tables, Settings], tmp_path: Path) -> Read:
    """Read record sheets (or files) beside the clean survey."""

    def go(*files: Path, **sheets: list[dict[str, Any]]) -> Tables:
        tables, settings = clean
        named = files or (workbook(tmp_path / "records.xlsx", sheets),)
        surveys = settings.surveys.model_copy(update={"records": named})
        own = settings.model_copy(update={"surveys": surveys})
        out = with_records(dict(tables), own)
        # the survey's own tables went through their schema in the fixture
        new = {n: out[n] for n in (*RECORD_SHEETS, "sealed_ends", "findings", "counts", "changes")}
        return {**out, **hand_over("intake", new)}

    return go


def codes(tables: Tables) -> set[str]:
    """Codes of what was said of the records."""
    return set(tables["findings"]["code"])


def test_a_full_set_of_records_is_used_without_a_word(read: Read) -> None:
    """One row on each sheet: six rows used, the end accepted and closed, the release in force."""
    tables = read(**{n: [{}] for n in RECORD_SHEETS if n != "cable_changes"})
    assert codes(tables) <= {"record-13"}
    counts = tables["counts"]
    own = counts[counts["file"] == "records.xlsx"]
    assert int(own["used_count"].sum()) == int(own["rows_count"].sum()) == 5
    sealed = tables["sealed_ends"].iloc[0]
    assert sealed["end_id"] == E1
    assert bool(sealed["is_closed"])
    assert bool(tables["releases"]["is_in_force"].iloc[0])


# code -> records that fire it (the usual rows do not: the test above)
FIRES: Final[dict[str, Sheets]] = {
    "record-01": {"installs": [{"end_id": "NO-SUCH-END"}]},
    "record-02": {"installs": [{"end_id": None}]},
    "record-03": {"installs": [{"seal_date": D(2031, 1, 1)}]},
    "record-04": {"installs": [{"lead": None}]},
    "record-05": {"installs": [{"sealant_at_9_mm": 12}]},
    "record-06": {"installs": [{"sealant_at_9_mm": None}]},
    "record-07": {"installs": [{"expires_on": D(2025, 8, 31)}]},
    "record-08": {"installs": [{}, {"install_id": "I2", "end_id": E2}]},
    "record-09": {"installs": [{"between_cables": "no"}]},
    "record-10": {"releases": [{"hold": "nobody knows"}]},
    "record-11": {"releases": [{"role": "crew lead"}]},
    "record-12": {"releases": [{"hold": "contents unknown"}]},
    "record-14": {"inspections": [{}]},
    "record-15": {"installs": [{}], "inspections": [{"level": "desk"}]},
    "record-16": {"installs": [{}], "inspections": [{}], "cable_changes": [{}]},
    "record-17": {"installs": [{"cables_found_count": 2}], "inspections": [{"cables_seen_count": 3}]},
    "record-18": {"installs": [{}], "inspections": [{"next_due_on": D(2025, 12, 1)}]},
    "record-21": {
        "installs": [{}],
        "inspections": [{"result": "snag", "snag": "label", "snag_closed_by": "mail"}],
    },
    "record-22": {"installs": [{"sealant_at_9_mm": 35}]},
}  # fmt: skip


@pytest.mark.parametrize("code", FIRES)
def test_each_code_is_fired_by_its_fault(code: str, read: Read) -> None:
    """One fault in the records, and its code is told with a row."""
    tables = read(**FIRES[code])
    found = tables["findings"]
    assert code in set(found["code"]), found[["code", "message"]].to_string()
    assert found.loc[found["code"] == code, "row"].notna().all()
    assert not found["message"].str.contains(r"\{", regex=True).any()


def test_an_overdue_seal_is_open_and_not_bought_again(read: Read) -> None:
    """It no longer counts as closed, and it is still there: a look is asked for, no new seal."""
    sealed = read(**FIRES["record-18"])["sealed_ends"].iloc[0]
    assert (sealed["is_accepted"], sealed["is_closed"], sealed["is_made"]) == (True, False, True)


def test_a_file_without_a_record_sheet_is_told(read: Read, tmp_path: Path) -> None:
    """record-19: nothing of the file is used, and the run goes on."""
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["this", "and", "that"])
    book.save(tmp_path / "other.xlsx")
    tables = read(tmp_path / "other.xlsx")
    assert codes(tables) == {"record-19"}


def test_a_damaged_file_stops_no_other(read: Read, tmp_path: Path) -> None:
    """A file cut short is told; the other file moves its end."""
    whole = workbook(tmp_path / "whole.xlsx", {"installs": [{}]}).read_bytes()
    (tmp_path / "half.xlsx").write_bytes(whole[: len(whole) // 2])
    tables = read(tmp_path / "half.xlsx", tmp_path / "whole.xlsx")
    assert "file-18" in codes(tables)
    assert list(tables["sealed_ends"]["end_id"]) == [E1]


def test_damaged_rows_are_counted_and_move_nothing(read: Read) -> None:
    """Rows in = used + asked + refused; ends of refused rows stay unsealed."""
    tables = read(
        installs=[
            {},
            {"install_id": "I2", "end_id": "NO-SUCH"},
            {"install_id": "I3", "end_id": E2, "seal_date": "in spring"},
            {"install_id": "I4", "end_id": None},
            {"install_id": "I5", "end_id": E2, "seal_date": D(2099, 1, 1)},
            {"install_id": None, "end_id": E2, "lead": None, "start_time": "11:00"},
        ]
    )
    counts = tables["counts"].query("file == 'records.xlsx'").iloc[0]
    parts = [int(counts[f"{n}_count"]) for n in ("used", "asked", "refused")]
    assert int(counts["rows_count"]) == sum(parts) == 6
    assert parts == [1, 1, 4]
    assert sorted(tables["sealed_ends"]["end_id"]) == [E1, E2]
    assert set(tables["installs"]["install_id"]) >= {"I1", "I2", "I3", "I4", "I5"}


def test_two_records_of_one_id_that_disagree_close_nothing(read: Read) -> None:
    """The same id twice with other depths: which is true is not known, neither closes the end."""
    tables = read(installs=[{}, {"sealant_at_12_mm": 31}], inspections=[{}])
    assert "id-02" in codes(tables)
    assert not tables["sealed_ends"]["is_closed"].any()


def test_a_later_file_stands_for_the_earlier_row(read: Read, tmp_path: Path) -> None:
    """The same record sent again with another lot: the later file wins, the change is listed."""
    one = workbook(tmp_path / "one.xlsx", {"installs": [{}]})
    two = workbook(tmp_path / "two.xlsx", {"installs": [{"lot": "L2"}]})
    tables = read(one, two)
    assert list(tables["sealed_ends"]["lot"]) == ["L2"]
    changes = tables["changes"].set_index("column")
    assert (changes.loc["lot", "old"], changes.loc["lot", "new"]) == ("L1", "L2")


def test_the_same_records_as_csv_and_as_a_form_export(read: Read, tmp_path: Path) -> None:
    """A CSV of any name, and a phone form's export with its group names, read as the workbook."""
    csv_file, form = tmp_path / "from the crew.csv", tmp_path / "form.csv"
    with csv_file.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, list(INSTALL))
        writer.writeheader()
        writer.writerow(INSTALL)
    with form.open("w", newline="", encoding="utf-8") as out:
        names = {f"installs-installs_{k}": v for k, v in INSTALL.items()}
        names |= {f"inspections-inspections_{k}": None for k in LOOK}
        writer = csv.DictWriter(out, ["record_kind", *names])
        writer.writeheader()
        writer.writerow({"record_kind": "installs", **names})
        looks = {f"inspections-inspections_{k}": v for k, v in LOOK.items()}
        writer.writerow({"record_kind": "inspections", **looks})
    plain = read(installs=[{}])["sealed_ends"]
    pd.testing.assert_frame_equal(read(csv_file)["sealed_ends"], plain)
    both = read(form)["sealed_ends"].iloc[0]
    assert (both["install_id"], both["inspection_id"]) == ("I1", "Q1")
    assert bool(both["is_closed"])


@pytest.mark.parametrize(
    ("changed", "in_force"),
    [
        ({}, True),
        ({"valid_until": D(2099, 1, 1)}, True),
        ({"valid_until": D(2025, 9, 2)}, False),
        ({"release_date": D(2099, 1, 1)}, False),
        ({"release_date": None}, False),
        ({"released_by": None}, False),
        ({"role": None}, False),
        ({"role": "owner's engineer"}, False),
        ({"hold": None}, False),
        ({"end_id": None}, False),
        ({"end_id": "K01-B1-E1-99"}, False),
        ({"end_id": None, "building_id": "K01-B1"}, True),
        ({"end_id": None, "site_id": "k01"}, True),
    ],
)  # fmt: skip
def test_which_release_is_in_force(changed: dict[str, Any], in_force: bool, read: Read) -> None:
    """The right role by name, for a known thing, on or before the planning date, not run out."""
    releases = read(releases=[changed])["releases"]
    assert bool(releases["is_in_force"].iloc[0]) is in_force


def test_an_answer_never_makes_a_release(
    clean: tuple[Tables, Settings], read: Read, tmp_path: Path
) -> None:
    """The question about a release by the wrong role is answered with the right one: nothing lifts.

    The answers go the whole way of a question list; the question stays open and says why.
    """
    asked = read(releases=[{"role": "crew lead"}])
    write_questions(tmp_path / "back.xlsx", asked, "test")
    back = openpyxl.load_workbook(tmp_path / "back.xlsx")
    page = next(p for p in back.worksheets if p.title.startswith("engineer"))
    heads = {str(c.value): c.column or 0 for c in page[4]}
    page.cell(5, heads["Answer"]).value = "asbestos register holder"
    page.cell(5, heads["By whom"]).value = "R. Vane"
    back.save(tmp_path / "back.xlsx")
    _, settings = clean
    named = {"records": (tmp_path / "records.xlsx",), "answers": (tmp_path / "back.xlsx",)}
    surveys = settings.surveys.model_copy(update=named)
    tables = hand_over("intake", intake(settings.model_copy(update={"surveys": surveys})))
    assert set(tables["answers"]["code"]) == {"record-11"}
    assert not tables["releases"]["is_in_force"].any()
    closed = close(tables["findings"], tables["answers"])
    still = closed[closed["code"] == "record-11"]
    assert is_open(still).all()
    assert "no value that can be used" in still["message"].iloc[0]


def test_every_hold_has_its_releaser_and_its_word() -> None:
    """The list of who lifts what, the words of the sheet and the holds of the design are one set."""
    holds = {r.code for r in RULES if r.released_by}
    assert set(hold_releases()) == holds
    words = {c.house_name: set(c.words) for c in of_sheet("releases")}
    assert words["hold"] == holds
    assert words["role"] == {role for h in hold_releases().values() for role in h.roles}
    for hold in hold_releases().values():
        assert hold.is_lifted_by_release == bool(hold.roles)
        assert bool(hold.instead) != hold.is_lifted_by_release


def test_the_definition_is_whole() -> None:
    """Thirteen states; each sheet has one key, a day and a name; no column twice."""
    assert len(STATES) == 13
    for sheet in RECORD_SHEETS:
        own = of_sheet(sheet)
        assert sum(c.is_key for c in own) == 1
        assert len({c.house_name for c in own}) == len(own)
    assert {c.sheet for c in record_columns()} == set(RECORD_SHEETS)


def test_the_blank_workbook_comes_back_filled(read: Read, tmp_path: Path) -> None:
    """Typed into the blank workbook, a record reads as from any other file."""
    blank = tmp_path / "blank.xlsx"
    write_record_template(blank)
    book = openpyxl.load_workbook(blank)
    assert book.sheetnames == [*RECORD_SHEETS, "lists"]
    for name in ("installs", "inspections"):
        heads = {str(c.value): c.column for c in book[name][1]}
        for heading, value in USUAL[name].items():
            book[name].cell(2, heads[heading] or 0).value = value
    book.save(blank)
    sealed = read(blank)["sealed_ends"]
    assert list(sealed["end_id"]) == [E1]
    assert sealed["is_closed"].all()


def test_records_without_a_policy_stop_with_one_message(tmp_path: Path) -> None:
    """No default decides when a seal is accepted."""
    text = (ROOT / "configs" / "clean.toml").read_text("utf-8")
    text = text.replace("seal_age_years", 'records = ["r.xlsx"]\nseal_age_years', 1)
    base = (ROOT / "configs").as_posix()
    text = text.replace('"../', f'"{base}/../').replace('"materials', f'"{base}/materials')
    text = text.replace('"buying/', f'"{base}/buying/')
    (tmp_path / "c.toml").write_text(text, encoding="utf-8")
    workbook(tmp_path / "r.xlsx", {"installs": [{}]})
    with pytest.raises(UsageError, match=r"no \[records\]"):
        settings_file.load(tmp_path / "c.toml")

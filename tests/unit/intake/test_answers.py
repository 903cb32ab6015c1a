"""Questions that come back answered: laid into their cells, closed, never asked again."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pipeline.core.answers import Answer, Answers, close, is_open, meaning
from pipeline.core.rules import rules
from pipeline.core.survey import columns
from pipeline.publish.questions import write_questions
from pipeline.run import check, exit_code

DUCTS = ["end_id", "place_kind", "place_id", "bore_mm", "material", "dip_down_m"]


def ducts() -> list[list[Any]]:
    """Five ends of which three have something to ask."""
    return [
        DUCTS,
        ["D-1", "entry", "E-1", "TBC", "clay", 1.2],
        ["D-2", "entry", "E-1", 90, "kley", 1.3],
        ["D-3", "entry", "E-1", 400, "clay", 1.4],
        ["D-4", "entry", "E-1", 92, "clay", 1.5],
        ["D-5", "entry", "E-1", 94, "kley", 1.6],
    ]


def answered(
    folder: Path,
    survey: Path,
    said: dict[tuple[str, str], str],
    name: str = "back.xlsx",
    *,
    column: str = "",
) -> Path:
    """The question list of a survey, filled in by code and first key (and column, if named)."""
    tables, _ = check([survey])
    path = folder / name
    write_questions(path, tables, "test")
    book = openpyxl.load_workbook(path)
    for page in book.worksheets:
        rows = list(page.iter_rows(min_row=4))
        at = {c.value: i for i, c in enumerate(rows[0])}
        for row in rows[1:]:
            key = str(row[at["Key"]].value).split(" ; ")[0]
            text = said.get((str(row[at["Code"]].value), key))
            if text is not None and (not column or row[at["Column"]].value == column):
                row[at["Answer"]].value = text
                row[at["By whom"]].value = "K. Brandt"
                row[at["Date"]].value = "2026-03-05"
    book.save(path)
    return path


SAID = {
    ("file-12", "ducts/D-1"): "88",
    ("file-22", "ducts/D-2"): "clay",
    ("duct-02", "ducts/D-3"): "millimetres",
}


def test_answers_are_laid_in_by_id_wherever_the_rows_stand(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """Values by id after the rows were turned round and one was put in; nothing is asked again."""
    back = answered(tmp_path, book(ducts=ducts()), SAID)
    head, *rows = ducts()
    again = book(ducts=[head, ["D-0", "entry", "E-1", 75, "clay", 1.0], *reversed(rows)])
    tables, _ = check([again, back])
    ends = tables["ends"].set_index("end_id")
    assert ends.loc["D-1", "bore_mm"] == 88.0
    assert list(ends.loc[["D-2", "D-5"], "material"]) == ["clay", "clay"]
    assert ends.loc["D-3", "bore_mm"] == 400.0
    assert pd.isna(ends.loc["D-3", "doubted"])
    codes = set(tables["findings"].loc[tables["findings"]["weight"] != "NOTE", "code"])
    assert not {"file-12", "file-22", "duct-02"} & codes
    notes = tables["findings"][tables["findings"]["code"] == "answer-01"]
    assert set(notes["key"]) == {"ducts/D-1", "ducts/D-2", "ducts/D-5"}
    assert "K. Brandt 2026-03-05" in notes["message"].iloc[0]


def test_other_findings_do_not_change(book: Callable[..., Path], tmp_path: Path) -> None:
    """Findings that do not depend on the answers are the same before and after."""
    survey = book(ducts=ducts())
    before, _ = check([survey])
    after, _ = check([survey, answered(tmp_path, survey, SAID)])

    def rest(tables: dict[str, Any]) -> set[tuple[str, ...]]:
        found = tables["findings"]
        found = found[~found["code"].isin(["file-12", "file-22", "duct-02", "answer-01"])]
        return set(found[["code", "key", "message"]].itertuples(index=False, name=None))

    assert rest(after) == rest(before)


def test_a_later_value_of_the_survey_beats_the_answer(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """The cell was 'TBC' when it was asked; the new file says 91: the answer 88 is not used."""
    back = answered(tmp_path, book(ducts=ducts()), SAID)
    rows = ducts()
    rows[1][3] = 91
    tables, _ = check([book("later.xlsx", ducts=rows), back])
    assert tables["ends"].set_index("end_id").loc["D-1", "bore_mm"] == 91.0
    kept = tables["answers"].set_index(["key", "code"])["outcome"]
    assert kept["ducts/d-1", "file-12"] == "the survey has a later value"


def test_a_blank_column_is_filled_for_all_its_rows(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """One answer to 'bore_method is blank in 5 rows' fills the five cells, though no such column."""
    survey = book(ducts=ducts())
    asked, _ = check([survey])
    column = asked["findings"].query("code == 'file-24' and column == 'bore_method'").iloc[0]
    back = answered(tmp_path, survey, {("file-24", column["key"]): "calliper"})
    tables, _ = check([survey, back])
    # the list holds one line for each blank column; the answer stands in every one of its lines
    assert set(tables["ends"]["bore_method"].dropna()) == {"calliper"}
    assert not len(tables["findings"].query("code == 'file-24' and column == 'bore_method'"))


def test_what_is_no_value_is_remembered_and_closes_the_question(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """'The client' is no bore: the assumption stands, the line is not asked again."""
    survey = book(ducts=ducts())
    back = answered(tmp_path, survey, {("file-12", "ducts/D-1"): "the client will say"})
    tables, _ = check([survey, back])
    found = tables["findings"].query("code == 'file-12'").iloc[0]
    assert found["answer"] == "the client will say (K. Brandt 2026-03-05)"
    assert pd.isna(tables["ends"].set_index("end_id").loc["D-1", "bore_mm"])
    path = tmp_path / "next.xlsx"
    write_questions(path, tables, "test")
    texts = {c for p in openpyxl.load_workbook(path) for r in p.values for c in r}
    assert "file-12" not in texts


def test_a_stop_is_closed_by_a_value_alone(book: Callable[..., Path], tmp_path: Path) -> None:
    """'No idea' to a parent that is not there: asked again, with the answer told back; exit 2."""
    entries = [["entry_id", "building_id"], ["E-1", "B-9"]]
    survey = book(buildings=[["building_id", "site_id"], ["B-1", "S-1"]], entries=entries,
                  sites=[["site_id"], ["S-1"]])  # fmt: skip
    back = answered(tmp_path, survey, {("id-05", "entries/E-1"): "?"})
    tables, _ = check([survey, back])
    mine = "code == 'id-05' and key == 'entries/E-1' and column == 'building_id'"
    (found,) = tables["findings"].query(mine).to_dict("records")
    assert 'Your answer "?" gives no value' in found["message"]
    assert exit_code(tables) == 2
    back = answered(tmp_path, survey, {("id-05", "entries/E-1"): "B-1"}, "second.xlsx")
    tables, _ = check([survey, back])
    assert not len(tables["findings"].query(mine))
    assert tables["entries"]["building_id"].iloc[0] == "B-1"


def test_no_to_a_register_entry_is_not_no_asbestos() -> None:
    """House rule: only listed codes change a cell; 'no' under duct-17 must lift nothing."""
    answer = Answer(("buildings/B1",), "asbestos_suspect", "duct-17", "no", as_read="unknown")
    assert meaning(answer).text == ""


@pytest.mark.parametrize(
    ("code", "text", "column", "value"),
    [
        ("level-10", "Bottom", "measured_to", "invert"),
        ("duct-07", "way round", "size_method", "tape round"),
        ("duct-02", "inches", "bore_mm", "4 in"),
        ("level-22", "feet", "bore_mm", "4 ft"),
        ("water-02", "depth.", "value_is", "depth above ground"),
        ("duct-21", "no", "bore_mm", ""),
        ("duct-22", "rodded", "far_proof", "rodded"),
    ],
)
def test_words_that_mean_something(code: str, text: str, column: str, value: str) -> None:
    """The words that the messages offer mean what they say."""
    found = meaning(Answer(("ducts/D-1",), "bore_mm", code, text, as_read="4"))
    assert found.text == value
    if value:
        assert found.column == column


def test_the_latest_answer_counts() -> None:
    """Two answers to one question: the later day, whatever the order of the files."""
    old = Answer(("ducts/D-1",), "bore_mm", "file-12", "80", on="2026-01-04")
    new = Answer(("ducts/D-1",), "bore_mm", "file-12", "85", on="2026-02-04")
    for order in ((old, new), (new, old)):
        (kept,) = Answers.of(order).of_thing("DUCTS/d-1")
        assert kept.text == "85"


def test_every_answer_word_belongs_to_a_rule_and_a_column() -> None:
    """The list of words names codes of the register and columns of the definition."""
    path = Path(__file__).parents[3] / "pipeline/core/data/answer_words.csv"
    names = {c.house_name for c in columns()}
    for row in csv.DictReader(path.read_text("utf-8").splitlines()):
        assert row["code"] in rules()
        assert not row["column"] or row["column"] in names


@pytest.mark.parametrize("text", ["yes", "No.", "not known"])
def test_a_bare_yes_is_no_id(book: Callable[..., Path], tmp_path: Path, text: str) -> None:
    """'Which building is meant?' 'Yes.': no building of that name is made; it is asked again."""
    survey = book(sites=[["site_id"], ["S-1"]], buildings=[["building_id", "site_id"], ["B-1", "S-1"]],
                  entries=[["entry_id", "building_id"], ["E-1", "B-9"]])  # fmt: skip
    back = answered(tmp_path, survey, {("id-05", "entries/E-1"): text})
    tables, _ = check([survey, back])
    assert tables["entries"]["building_id"].iloc[0] == "B-9"
    mine = "code == 'id-05' and key == 'entries/E-1' and column == 'building_id'"
    assert len(tables["findings"].query(mine)) == 1


def test_a_row_that_was_never_asked_about_keeps_the_line_open() -> None:
    """Three rows of one cause, two of them answered: the third must not be closed with them."""
    findings = pd.DataFrame(
        [{"code": "duct-28x", "weight": "ASK", "column": "bore_mm", "key": "ducts/D-1",
          "also_keys": "ducts/D-2 ; ducts/D-3", "message": "m", "answer": None}]
    )  # fmt: skip
    two = Answer(("ducts/D-1", "ducts/D-2"), "bore_mm", "duct-28x", "fine")
    assert is_open(close(findings, Answers.of([two]).table())).all()
    three = Answer(("ducts/D-1", "ducts/D-2", "ducts/D-3"), "bore_mm", "duct-28x", "fine")
    assert not is_open(close(findings, Answers.of([three]).table())).any()


def test_an_older_list_that_holds_a_midnight_is_still_read(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """Days were quoted with 00:00:00 once; such a list answers the same cell."""
    survey = book(
        visits=[
            ["visit_id", "site_id", "visit_date"],
            ["V-1", "S-1", dt.datetime(1931, 5, 14)],
        ]
    )
    back = answered(tmp_path, survey, {("file-15", "visits/V-1"): "2025-05-14"})
    filled = openpyxl.load_workbook(back)
    (cell,) = [c for p in filled for row in p.iter_rows() for c in row if c.value == "1931-05-14"]
    cell.value = "1931-05-14 00:00:00"
    filled.save(back)
    tables, _ = check([survey, back])
    assert pd.Timestamp(tables["visits"]["visit_date"].iloc[0]) == pd.Timestamp("2025-05-14")


@pytest.mark.parametrize("said", ["lots", "?", "abc"])
def test_a_lone_word_that_is_no_value_is_told_back(
    book: Callable[..., Path], tmp_path: Path, said: str
) -> None:
    """'Lots' is no bore: the line stays open and quotes the answer."""
    survey = book(ducts=ducts())
    back = answered(tmp_path, survey, {("file-12", "ducts/D-1"): said})
    tables, _ = check([survey, back])
    found = tables["findings"].query("code == 'file-12'").iloc[0]
    assert f'Your answer "{said}" gives no value' in found["message"]
    assert not found["answer"]


@pytest.mark.parametrize(("said", "depths"), [("120", [None, None]), ("all 120", [120.0, 120.0])])
def test_one_measured_value_is_not_laid_into_several_rows_unasked(
    book: Callable[..., Path], tmp_path: Path, said: str, depths: list[float | None]
) -> None:
    """A depth was measured at each mouth; one number for two of them needs the word 'all'."""
    survey = book(ducts=[["end_id", "clear_depth_mm"], ["D-1", None], ["D-2", None]])
    back = answered(tmp_path, survey, {("file-24", "ducts/D-1"): said}, column="clear_depth_mm")
    tables, _ = check([survey, back])
    found = tables["ends"].set_index("end_id")["clear_depth_mm"]
    assert [None if pd.isna(found[e]) else float(found[e]) for e in ("D-1", "D-2")] == depths
    asked = tables["findings"].query("code == 'file-24' and column == 'clear_depth_mm'")
    if said == "120":
        assert 'answer "all 120"' in asked.iloc[0]["message"]


def test_an_answer_that_fills_no_cell_holds_for_rows_that_read_otherwise(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """'Who closes the gap?' for two entries, one a crack and one open: answered once for both."""
    entries = [["entry_id", "building_id", "gap_around_duct"], ["E-1", "B-1", "crack"],
               ["E-2", "B-1", "open"]]  # fmt: skip
    survey = book(sites=[["site_id"], ["S-1"]], entries=entries,
                  buildings=[["building_id", "site_id"], ["B-1", "S-1"]])  # fmt: skip
    back = answered(tmp_path, survey, {("duct-30", "entries/E-1"): "owner"})
    tables, _ = check([survey, back])
    found = tables["findings"].query("code == 'duct-30'").iloc[0]
    assert str(found["answer"]).startswith("owner")


def bore_of_900(folder: Path, book: Callable[..., Path], said: str) -> tuple[Any, pd.DataFrame]:
    """A bore of 900 asked about by duct-02 and answered: the end, and what is said of it."""
    survey = book(ducts=[DUCTS, ["D-1", "entry", "E-1", 900, "clay", 1.2]])
    back = answered(folder, survey, {("duct-02", "ducts/D-1"): said})
    tables, _ = check([survey, back])
    found = tables["findings"]
    return tables["ends"].set_index("end_id").loc["D-1"], found[found["code"] == "duct-02"]


@pytest.mark.parametrize("said", ["90", "90 mm", "9 cm", "90 millimetres"])
def test_a_right_size_is_laid_in_where_the_unit_was_asked(
    book: Callable[..., Path], tmp_path: Path, said: str
) -> None:
    """'Is that millimetres, centimetres or inches?' '90': the end has 90 mm, nothing in question."""
    end, asked = bore_of_900(tmp_path, book, said)
    assert end["bore_mm"] == 90.0
    assert pd.isna(end["doubted"])
    assert asked.empty


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("typing error, 90", "was not understood. Answer millimetres"),
        ("perhaps", "was not understood"),
        ("in doubt", "was not understood"),
        ("don't know", "the value stays in question"),
        ("850 mm", "gives no value"),
    ],
)
def test_a_value_in_question_is_not_closed_by_what_is_no_value(
    book: Callable[..., Path], tmp_path: Path, said: str, told: str
) -> None:
    """The bore stays in question, so its line stays open and says what became of the answer."""
    end, asked = bore_of_900(tmp_path, book, said)
    assert "bore_mm" in str(end["doubted"])
    assert is_open(asked).all()
    assert said in asked["message"].iloc[0]
    assert told in asked["message"].iloc[0]


def test_the_number_said_again_in_the_unit_that_was_read_is_kept(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """'900 mm' to a bore of 900 says millimetres."""
    end, asked = bore_of_900(tmp_path, book, "900 mm")
    assert end["bore_mm"] == 900.0
    assert pd.isna(end["doubted"])
    assert not is_open(asked).any()


def test_a_yes_to_one_value_is_no_yes_to_a_later_one(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """'Millimetres' was said of 900; the new file says 950: asked again, and in question."""
    rows = [DUCTS, ["D-1", "entry", "E-1", 900, "clay", 1.2]]
    back = answered(tmp_path, book(ducts=rows), {("duct-02", "ducts/D-1"): "millimetres"})
    later = [DUCTS, ["D-1", "entry", "E-1", 950, "clay", 1.2]]
    tables, _ = check([book("later.xlsx", ducts=later), back])
    asked = tables["findings"].query("code == 'duct-02'")
    assert is_open(asked).all()
    assert set(asked["weight"]) == {"ASK"}
    assert "bore_mm" in str(tables["ends"]["doubted"].iloc[0])


@pytest.mark.parametrize(
    ("said", "is_closed"), [("no", False), ("I am not sure", False), ("yes", True), ("1.4", True)]
)
def test_a_number_read_with_a_comma_is_closed_by_yes_or_a_number(
    book: Callable[..., Path], tmp_path: Path, said: str, is_closed: bool
) -> None:
    """'We read 1.2. Is that right?' 'No.': not closed, for 1.2 is still used and in question."""
    survey = book(ducts=[DUCTS, ["D-1", "entry", "E-1", 90, "clay", "1,2"]])
    back = answered(tmp_path, survey, {("file-11", "ducts/D-1"): said})
    tables, _ = check([survey, back])
    asked = tables["findings"].query("code == 'file-11'")
    assert is_open(asked).any() != is_closed
    assert ("dip_down_m" in str(tables["ends"]["doubted"].iloc[0])) != is_closed
    if not is_closed:
        assert f'Your answer "{said}" gives no value' in asked["message"].iloc[0]


@pytest.mark.parametrize(
    ("code", "said", "is_one"),
    [
        ("id-08", "perhaps", False),
        ("id-08", "Not reached.", True),
        ("id-08", "left out: chamber full of silt", True),
        ("visit-08", "no idea", True),  # 'not known' is one of its three answers
        ("water-15", "no idea", False),
        ("water-15", "no, not yet", True),
        ("water-17", "without", True),
        ("duct-30", "the owner", True),  # takes any text
    ],
)
def test_a_question_for_certain_words_takes_these_alone(
    code: str, said: str, *, is_one: bool
) -> None:
    """What is no answer to the question leaves it open, with the words that would close it."""
    finding = pd.DataFrame(
        [{"code": code, "weight": "ASK", "column": "c", "key": "chambers/C-1", "also_keys": "",
          "message": "m", "mend": rules()[code].mend, "answer": None}]
    )  # fmt: skip
    closed = close(finding, Answers.of([Answer(("chambers/C-1",), "c", code, said)]).table())
    assert is_open(closed).any() != is_one
    if not is_one:
        assert said in closed["message"].iloc[0]


def test_no_question_is_closed_while_its_value_is_in_question(
    book: Callable[..., Path], tmp_path: Path
) -> None:
    """Every question of a poor sheet answered alike: what is doubted has an open line."""
    rows = [DUCTS, ["D-1", "entry", "E-1", 900, "clay", "1,2"], ["D-2", "entry", "E-1", 3, "kley", 99],
            ["D-3", "entry", "E-1", "TBC", "clay", -1.2]]  # fmt: skip
    survey = book(ducts=rows)
    asked, _ = check([survey])
    for n, said in enumerate(("no", "perhaps", "don't know", "we will see next week")):
        every = {(r.code, r.key): said for r in asked["findings"].itertuples()}
        tables, _ = check([survey, answered(tmp_path, survey, every, f"{n}.xlsx")])
        waits = tables["findings"][is_open(tables["findings"])]
        open_at = {(k, r.column) for r in waits.itertuples()
                   for k in [r.key, *str(r.also_keys).split(" ; ")]}  # fmt: skip
        for end in tables["ends"].to_dict("records"):
            for column in str(end["doubted"] or "").split(";"):
                if column in end and not pd.isna(end[column]):
                    assert (f"ducts/{end['end_id']}", column) in open_at, (said, column)


@pytest.mark.parametrize("column", ["photo_id", "clear_depth_mm"])
def test_no_such_thing_said_in_words_holds_for_every_blank_row(
    book: Callable[..., Path], tmp_path: Path, column: str
) -> None:
    """'No photos taken' to two blanks: closed for both, without 'all', and no photo of that name."""
    survey = book(ducts=[["end_id", column], ["D-1", None], ["D-2", None]])
    back = answered(tmp_path, survey, {("file-24", "ducts/D-1"): "no photos taken"}, column=column)
    tables, _ = check([survey, back])
    found = tables["findings"].query("code == 'file-24' and column == @column").iloc[0]
    assert str(found["answer"]).startswith("no photos taken")
    assert "all no photos" not in found["message"]
    assert tables["ends"][column].isna().all()

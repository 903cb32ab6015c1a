"""All files of a delivery, each sheet typed by its definition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.core import contract
from pipeline.core.answers import Answers
from pipeline.core.errors import UsageError
from pipeline.core.findings import Finding
from pipeline.core.photo_files import Photo
from pipeline.core.progress import Progress
from pipeline.core.settings import Settings
from pipeline.intake.about import habits_of, read_about, with_known_datum
from pipeline.intake.answers import is_question_list, read_answers
from pipeline.intake.forms import sheets_of_export
from pipeline.intake.headings import OWN_SHEETS, normal, sheet_of
from pipeline.intake.readers import read_file
from pipeline.intake.rows import TypedSheet, say_comments, say_marks, type_sheet
from pipeline.intake.sheets import Delivery, RawSheet


@dataclass
class Delivered:
    """Typed sheets of all files, about values per file, and findings of whole files."""

    sheets: list[TypedSheet] = field(default_factory=list)
    abouts: dict[str, dict[str, str]] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    answers: Answers = field(default_factory=Answers)
    photos: list[Photo] = field(default_factory=list)
    sheet_names: list[str] = field(default_factory=list)  # of all survey files, read or not
    lists: list[str] = field(
        default_factory=list
    )  # of the files, those that hold questions of ours

    @property
    def opened_files(self) -> list[str]:
        """Survey files that could be opened; what a survey lacks is said of one of them.

        Question lists are no survey, and a file that was refused has its own line.
        """
        refused = {f.file for f in self.findings if f.weight == contract.STOP and not f.sheet}
        return [f for f in self.files if f not in self.lists and f not in refused]


def deliver(files: Sequence[Path], settings: Settings | None, progress: Progress) -> Delivered:
    """Read and type every file; one that cannot be read stops none of the others.

    Raises
    ------
    UsageError
        Where nothing but question lists was named.
    """
    out = Delivered()
    read: list[Delivery] = []
    for done, path in enumerate(files):
        progress(done, len(files) * 2)
        delivery = read_file(path)
        delivery.sheets = [s for raw in delivery.sheets for s in sheets_of_export(raw)]
        out.photos += delivery.photos
        read.append(_named_apart(delivery, path, out.files))
        out.files.append(read[-1].file)
    lists = [*_lists_of(settings, out), *(s for d in read for s in d.sheets if is_question_list(s))]
    out.answers = Answers.of(read_answers(lists))
    out.lists = [d.file for d in read if any(is_question_list(s) for s in d.sheets)]
    if out.lists and len(out.lists) == len(out.files):
        raise _no_survey(out.lists)
    for done, delivery in enumerate(read, start=len(files)):
        progress(done, len(files) * 2)
        _type(delivery, settings, out)
    progress(len(files) * 2, max(len(files) * 2, 1))
    return out


def _no_survey(lists: list[str]) -> UsageError:
    one, many = (
        f"{lists[0]} is a list of questions of ours",
        f"{', '.join(lists)} are lists of ours",
    )
    return UsageError(
        f"{one if len(lists) == 1 else many}, not a survey.",
        why="The answers in it belong to rows of a survey, and no survey file was named.",
        mend=f"Name it beside the survey that it asks about (stanch check SURVEY.xlsx {lists[0]}), "
        "or under answers in [surveys] of the settings.",
    )


def _lists_of(settings: Settings | None, out: Delivered) -> list[RawSheet]:
    """Sheets of the question lists that the settings name."""
    sheets = []
    for path in settings.surveys.answers if settings is not None else ():
        delivery = read_file(path)
        out.findings += delivery.findings
        sheets += delivery.sheets
    return sheets


def _type(delivery: Delivery, settings: Settings | None, out: Delivered) -> None:
    out.findings += delivery.findings
    about = with_known_datum(_about(delivery.sheets, out), settings)
    aliases = settings.surveys.aliases if settings is not None else {}
    for raw in delivery.sheets:
        out.abouts[raw.file] = about
        sheet = sheet_of(raw.name)
        if normal(raw.name) not in OWN_SHEETS and not is_question_list(raw):
            out.sheet_names.append(raw.name)
        if not sheet or sheet == "about" or normal(raw.name) in OWN_SHEETS or is_question_list(raw):
            continue
        habits = habits_of(about, settings, decimal_comma=raw.decimal_comma)
        typed = type_sheet(raw, sheet, habits, aliases, out.answers)
        say_comments(raw, typed)
        say_marks(raw, typed)
        out.sheets.append(typed)


def _named_apart(delivery: Delivery, path: Path, taken: list[str]) -> Delivery:
    """Files of one name in different folders are told apart by their folder."""
    if delivery.file not in taken:
        return delivery
    name, number = f"{path.parent.name}/{path.name}", 2
    while name in taken:
        name = f"{path.parent.name}/{path.name} ({number})"
        number += 1
    for sheet in delivery.sheets:
        sheet.file = name
    findings = [replace(f, file=name) for f in delivery.findings]
    return Delivery(name, delivery.sheets, findings)


def _about(sheets: list[RawSheet], out: Delivered) -> dict[str, str]:
    for raw in sheets:
        if sheet_of(raw.name) == "about":
            about, findings = read_about(raw, out.answers)
            out.findings += findings
            return about
    return {}

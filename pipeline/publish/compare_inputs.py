"""The inputs of two runs that differ: files, settings key by key, catalogue rows, survey cells."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any, Final

from pipeline.core.survey import TABLE_OF_SHEET, columns
from pipeline.publish import compare_touch as touch
from pipeline.publish.compare_folder import SURVEY, Row, Run
from pipeline.publish.compare_records import record_rows
from pipeline.publish.compare_touch import Touch

_SHEET: Final = {table: sheet for sheet, table in TABLE_OF_SHEET.items()}
_TYPED: Final = {
    (TABLE_OF_SHEET[c.sheet], c.house_name) for c in columns() if c.sheet in TABLE_OF_SHEET
}
_LABELS: Final = (
    ("id",),
    ("site_id", "what"),
    ("region", "year"),
    ("datum",),
    ("from_year",),
    ("name",),
    ("region",),
)
# settings whose files are read row by row: what stands in them is told instead
_CATALOGUED: Final = {
    "design.materials", "buying.items", "buying.prices", "buying.suppliers", "buying.depots",
    "buying.stock", "buying.calendar",
}  # fmt: skip
_TABLE_OF: Final = {key: key.removeprefix("design.") for key in _CATALOGUED}
_SAME_ROWS: Final = "other bytes, but the same rows were read"
_SAME_CONTENT: Final = "other bytes, but the same content"


@dataclass(frozen=True)
class Change:
    """One input that differs: what it is, before and after, and what it goes into first."""

    kind: str
    subject: str
    old: str
    new: str
    touches: tuple[Touch, ...] = ()
    note: str = ""
    old_name: str = ""
    new_name: str = ""

    @property
    def words(self) -> str:
        """The change in one line; what is typed in a survey is shown as text."""
        words = f"{self.subject}: {self.old or 'blank'} -> {self.new or 'blank'}"
        return "".join(c if c.isprintable() else "\ufffd" for c in words)


def input_changes(old: Run, new: Run, survey: Mapping[str, list[Row]]) -> list[Change]:
    """Every input that differs, in a fixed order; survey rows get the bit of their own change.

    Parameters
    ----------
    old, new : Run
    survey : mapping of str to list of Row
        Differing rows of the survey tables; their `causes` are filled in.

    Returns
    -------
    list of Change
        The place of a change in the list is its bit.
    """
    answered = _answers(old, new)
    found: list[Change] = [
        *_program(old, new),
        *_settings(old, new),
        *_catalogue(old, new),
        *_abouts(old, new),
        *(Change("record row", *told) for told in record_rows(old, new)),
        *answered.values(),
    ]
    first = len(found) - len(answered)
    bit_of_answer = {key: first + n for n, key in enumerate(answered)}
    only = next((i for i, c in enumerate(found) if c.kind == "regions run"), None)
    files = list(_survey_files(old, new))
    gps = [c for c in files if c.kind == "GPS file"]
    found += gps
    for table in SURVEY:
        for row in survey.get(table, ()):
            _survey_row(row, found, (old, new), bit_of_answer, only)
    told = [c.subject for c in found if c.kind.startswith(("survey ", "record "))]
    # a file whose rows are told in lines of their own is no further input
    return found + [c for c in files if c not in gps and not _is_told(c, told)]


def _is_told(file: Change, subjects: Sequence[str]) -> bool:
    names = tuple(f"{n} " for n in (file.old_name, file.new_name) if n)
    return any(subject.startswith(names) for subject in subjects)


def flat(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Settings as key and value; rows of a list go by what names them."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from flat(part, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for n, part in enumerate(value, start=1):
            yield from flat(part, f"{key}[{_label(part, n)}]")
    elif isinstance(value, list):
        yield key, "; ".join(str(v) for v in value)
    else:
        yield key, value


def _label(part: Mapping[str, Any], n: int) -> str:
    for names in _LABELS:
        if all(part.get(name) not in (None, "") for name in names):
            return " ".join(str(part[name]) for name in names)
    return str(n)


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _program(old: Run, new: Run) -> Iterator[Change]:
    for name in ("version", "libraries"):
        before, after = (dict(flat(r.record.get(name, ""), name)) for r in (old, new))
        for key in sorted(before.keys() | after.keys()):
            if before.get(key) != after.get(key):
                yield Change("program", f"program: {key}", _text(before.get(key)),
                             _text(after.get(key)), touch.EVERYTHING)  # fmt: skip
    one, other = (", ".join(r.record.get("only", ())) or "all" for r in (old, new))
    if one != other:
        yield Change("regions run", "regions that were run", one, other, touch.EVERYTHING)


def _settings(old: Run, new: Run) -> Iterator[Change]:
    before, after = (dict(flat(r.record.get("settings", {}))) for r in (old, new))
    told: set[str] = set()
    for key in sorted(before.keys() | after.keys()):
        one, other = before.get(key), after.get(key)
        if key.startswith("surveys.") and _names_files(key):
            continue
        files = [_sum(r, v) for r, v in ((old, one), (new, other))]
        row = re.match(r"(.+?\])\.", key)
        if row and not (_has(before, row.group(1)) and _has(after, row.group(1))):
            yield from _whole_row(row.group(1), told, is_new=_has(after, row.group(1)))
        elif any(files):
            if files[0] != files[1] and key not in _CATALOGUED:
                yield _file(key, str(one or ""), str(other or ""), files)
        elif _text(one) != _text(other):
            yield Change("setting", f"setting {key}", _text(one), _text(other),
                         touch.setting_touches(key))  # fmt: skip


def _names_files(key: str) -> bool:
    return key.endswith((".files", ".answers", ".records", ".releases"))


def _has(flattened: Mapping[str, Any], head: str) -> bool:
    return any(key.startswith(head) for key in flattened)


def _whole_row(head: str, told: set[str], *, is_new: bool) -> Iterator[Change]:
    if head in told:
        return
    told.add(head)
    words = ("none", "added") if is_new else ("there", "taken out")
    yield Change("setting", f"setting {head}", *words, touch.setting_touches(head))


def _sum(run: Run, value: Any) -> str:
    """SHA-256 of a file that the settings name; blank where the value is no file."""
    return str(run.record.get("inputs", {}).get(value, "")) if isinstance(value, str) else ""


def _file(key: str, one: str, other: str, sums: list[str]) -> Change:
    names = [PurePosixPath(p).name for p in (one, other)]
    shown = [f"{n} ({s[:8]})" if n else "none" for n, s in zip(names, sums, strict=True)]
    touches: tuple[Touch, ...] = touch.setting_touches(key)
    if key == "ground.path":
        touches = touch.GROUND
    elif key == "reference.footprints_file":
        touches = touch.FOOTPRINTS
    elif key == "reference.regions_file":
        touches = touch.POSITIONS
    return Change("file", f"file of {key}", shown[0], shown[1], touches)


def _catalogue(old: Run, new: Run) -> Iterator[Change]:
    """Rows of the materials and of the buyer's tables; files alone where a record holds no rows."""
    settings = [dict(flat(r.record.get("settings", {}))) for r in (old, new)]
    before, after = (dict(flat(r.record.get("catalogue") or {})) for r in (old, new))
    for key in sorted(_CATALOGUED):
        sums = [_sum(r, s.get(key)) for r, s in zip((old, new), settings, strict=True)]
        if sums[0] == sums[1]:
            continue
        files = [PurePosixPath(str(s.get(key) or "")).name for s in settings]
        table = _TABLE_OF[key]
        if not (_has(before, table) and _has(after, table)):
            yield Change("file", f"rows of {key}", files[0], files[1], touch.EVERYTHING)
            continue
        heads: dict[str, list[str]] = {}
        for name in sorted(k for k in before.keys() | after.keys() if k.startswith(table)):
            if before.get(name) != after.get(name):
                row = re.match(r"(.+?\])\.", name)
                heads.setdefault(row.group(1) if row else name, []).append(name)
        for head, names in heads.items():
            yield _catalogue_row(head, names, files[1], (before, after), (old, new))
        if not heads:
            shown = [f"{n} ({s[:8]})" for n, s in zip(files, sums, strict=True)]
            yield Change("file", f"file of {key}", shown[0], shown[1], (), _SAME_CONTENT)


def _catalogue_row(
    head: str,
    keys: list[str],
    file: str,
    flats: tuple[Mapping[str, Any], Mapping[str, Any]],
    runs: tuple[Run, Run],
) -> Change:
    table, _, rest = head.partition("[")
    label = rest.removesuffix("]")
    there = [_has(v, head + ".") if rest else head in v for v in flats]
    if all(there):
        shown = [
            ", ".join(f"{k.removeprefix(head).strip('.')} {_text(v.get(k))}".strip() for k in keys)
            for v in flats
        ]
    else:
        shown = ["there", "taken out"] if there[0] else ["none", "added"]
    name = label or table.partition(".")[2].removeprefix("calendar.")
    touches = _catalogue_touches(table, label, runs, flats)
    return Change("catalogue", f"{file} {name}", shown[0], shown[1], touches)


def _catalogue_touches(
    table: str, label: str, runs: tuple[Run, Run], flats: tuple[Mapping[str, Any], ...]
) -> tuple[Touch, ...]:
    item = label.partition(" from ")[0].partition(" at ")[0]
    if table == "materials.item":
        kinds = {f.get(f"{table}[{label}].kind") for f in flats}
        return touch.material_touches(
            item, is_drawn=bool(kinds & {"sleeve", "collar"}), named_by=_needs_item(item, runs)
        )
    if table == "buying.prices":
        return touch.price_touches(item, _needs_item(item, runs))
    if table == "buying.items":
        return touch.price_touches(item, _needs_item(item, runs))
    if table == "buying.stock":
        return touch.stock_touches(item)
    if table == "buying.suppliers":
        return touch.party_touches("supplier_id", label)
    if table == "buying.depots":
        return touch.party_touches("region", label)
    if table.startswith("buying.calendar"):
        return touch.CALENDAR
    if table.startswith("materials.about"):
        return ()
    return (*(Touch(t) for t in ("designs", "pieces", "packages", "crew_days", "needs")),)


def _needs_item(item: str, runs: tuple[Run, Run]) -> touch.Where:
    """Packages whose ends need the item; an item that no end names is needed by day or site."""
    is_of_ends = any(item in items for run in runs for items in run.items_of_end.values())

    def named(row: Row) -> bool:
        if not is_of_ends or row.table == "closing_lines":
            return True
        ends = row.values("end_ids")
        return any(item in run.items_of_end.get(e, ()) for run in runs for e in ends)

    return named


def _survey_files(old: Run, new: Run) -> Iterator[Change]:
    """Files of surveys whose content differs."""
    sums: list[dict[str, str]] = []
    gps: set[str] = set()
    for run in (old, new):
        mine: dict[str, str] = {}
        for key, value in flat(run.record.get("settings", {}).get("surveys", {}), "surveys"):
            if not _names_files(key) or not value:
                continue
            for path in str(value).split("; "):
                for file, digest in run.record.get("inputs", {}).items():
                    if file == path or file.startswith(path + "/"):
                        name = PurePosixPath(path).name + file.removeprefix(path)
                        mine[name] = digest
                        gps |= {name} if ".gps" in key else set()
        sums.append(mine)
    gone = sorted(sums[0].keys() - sums[1].keys())
    come = sorted(sums[1].keys() - sums[0].keys())
    pairs = [(n, n) for n in sorted(sums[0].keys() & sums[1].keys())]
    if len(gone) == len(come) == 1:  # one file under another name
        pairs.append((gone[0], come[0]))
        gone, come = [], []
    pairs += [(n, "") for n in gone] + [("", n) for n in come]
    for one, other in pairs:
        before, after = sums[0].get(one, ""), sums[1].get(other, "")
        if before == after:
            continue
        is_gps = bool({one, other} & gps)
        shown = [f"{n} ({s[:8]})" if n else "none" for n, s in ((one, before), (other, after))]
        yield Change(
            "GPS file" if is_gps else "survey file",
            "file of surveys",
            shown[0],
            shown[1],
            touch.POSITIONS if is_gps else (),
            "" if is_gps else _SAME_ROWS,
            one,
            other,
        )


def _abouts(old: Run, new: Run) -> Iterator[Change]:
    before, after = (
        {(r["house_name"], r["file"] if _files(run) > 1 else ""): r for r in
         run.table("abouts").to_dict("records")} for run in (old, new)
    )  # fmt: skip
    for key in sorted(before.keys() | after.keys()):
        one, other = (v.get(key, {}) for v in (before, after))
        if one.get("value", "") != other.get("value", ""):
            file = (other or one)["file"]
            yield Change(
                "survey cell", f"{file} about: {key[0]}", one.get("value", ""),
                other.get("value", ""), tuple(Touch(t) for t in (*SURVEY, "levels", "floods")),
            )  # fmt: skip


def _files(run: Run) -> int:
    frame = run.table("abouts")
    return len(set(frame["file"])) if len(frame) else 0


def _answers(old: Run, new: Run) -> dict[tuple[str, str], Change]:
    """Answers that differ, by key of the thing and column."""
    before, after = (
        {(r["key"], r["column"], r["code"]): r for r in run.table("answers").to_dict("records")}
        for run in (old, new)
    )
    out: dict[tuple[str, str], Change] = {}
    for key in sorted(before.keys() | after.keys()):
        one, other = (v.get(key, {}).get("answer", "") for v in (before, after))
        if one != other:
            words = f"answer to {key[2]} on {key[1] or 'the row'} of {key[0]}"
            out[key[0], key[1]] = Change("answer", words, one, other)
    return out


def _survey_row(
    row: Row,
    found: list[Change],
    runs: tuple[Run, Run],
    answers: Mapping[tuple[str, str], int],
    only: int | None,
) -> None:
    """Make the changes of one survey row and give its columns their bits."""
    thing, sheet = row.key[0], _SHEET[row.table]
    if row.old is None or row.new is None:
        if only is not None:
            bit = only
        else:
            bit = len(found)
            cells = row.either
            shown = ("none", "added") if row.old is None else ("there", "taken out")
            found.append(
                Change("survey row", f"{cells.get('file')} {cells.get('sheet')} row "
                       f"{cells.get('row')}: {thing}", *shown)
            )  # fmt: skip
        row.causes = dict.fromkeys(row.columns, 1 << bit)
        return
    derived: list[str] = []
    for column in row.columns:
        answer = answers.get((f"{sheet}/{thing}".casefold(), column))
        if answer is not None:
            row.causes[column] = 1 << answer
        elif (row.table, column) in _TYPED:
            row.causes[column] = 1 << len(found)
            old, new = row.pair(column)
            found.append(Change("survey cell", _cell(row, column, runs), old, new))
        else:
            derived.append(column)
    for column in derived:  # what intake made of the row
        bits = row.bits
        for n, change in enumerate(found):
            bits |= (1 << n) * any(column in t.reaches(row) for t in change.touches)
        row.causes[column] = bits


def _cell(row: Row, column: str, runs: tuple[Run, Run]) -> str:
    cells = row.either
    letter = ""
    frame = runs[1].table("columns")
    if len(frame):
        here = frame[
            (frame["file"] == cells.get("file"))
            & (frame["sheet"] == cells.get("sheet"))
            & (frame["house_name"] == column)
        ]
        letter = str(here["letter"].iloc[0]) if len(here) else ""
    row_text = cells.get("row", "")
    where = f"{cells.get('sheet')}!{letter}{row_text}" if letter else str(cells.get("sheet"))
    return f"{cells.get('file')} {where} ({column} of {row.key[0]})"


__all__ = ["Change", "flat", "input_changes"]

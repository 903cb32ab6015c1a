"""The pages of the desk: files and counts, questions, answers, maps, the token's form."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final
from urllib.parse import quote, urlencode

from starlette.responses import HTMLResponse

from pipeline.serve.checker import CHECKING, FAILED, Checker
from pipeline.serve.desk import Desk, Given, Item, Told
from pipeline.serve.frame import cells, hidden, page, table, told_list
from pipeline.serve.guard import Session
from pipeline.serve.markup import Markup, el, said
from pipeline.serve.names import ACCEPTED, CSV, megabytes
from pipeline.serve.runs import Run, files_of

PER_PAGE: Final = 60
ALL: Final = "all"
_STATE: Final = {
    "STOP": ("stop", "Not used until answered"),
    "ASK": ("ask", "Used with an assumption"),
}
_COUNTS: Final = ("rows", "used", "asked", "refused", "skipped")
_HEADINGS: Final = ("sheet", *_COUNTS)


def desk_page(desk: Desk, checker: Checker, key: str, told: Sequence[Told]) -> HTMLResponse:
    """Files and counts: where files are dropped."""
    limits = desk.limits
    drop = el(
        "form",
        hidden("key", key),
        el("label", "Drop survey files here, or choose them", for_="files", class_="big"),
        el("input", type="file", id="files", name="files", multiple=True, required=True,
           accept=ACCEPTED, aria_describedby="taken"),
        el("p", "Workbooks (.xlsx), CSV files, GeoJSON of the phone form, photos, and question "
           f"lists that were filled in. Up to {megabytes(limits.file_bytes)} a file and "
           f"{limits.drop_files_count} files at a time.", class_="quiet", id="taken"),
        el("div",
           el("label", el("input", type="checkbox", name="takes_place", value="yes", checked=True),
              "A file of the same name takes the place of the earlier one", class_="tick"),
           el("button", "Read these files", type="submit", class_="main"), class_="row"),
        class_="drop", method="post", action="/files", enctype="multipart/form-data",
    )  # fmt: skip
    is_busy = checker.state == CHECKING
    return page(
        "Files and counts",
        el("p", "Drop what came from site. You see what was read, row by row, and what has to be "
           "asked. Nothing of your files is changed."),
        drop,
        told_list(told),
        _state(checker),
        _counts(checker) if not is_busy else None,
        _files(desk, key),
        here="/",
        again_s=2 if is_busy else 0,
    )  # fmt: skip


def _state(checker: Checker) -> Markup | None:
    if checker.state == CHECKING:
        return el("p", f"{checker.words or 'Reading the surveys'} …", class_="busy", role="status")
    if checker.state == FAILED:
        fault = " ".join(checker.fault[n] for n in ("what", "why", "mend") if checker.fault[n])
        return el("p", said(fault), class_="fault", role="alert")
    return None


def _counts(checker: Checker) -> Markup | None:
    result = checker.result
    if result is None:
        return None
    head = el(
        "tr",
        *(el("th", n, scope="col", class_="n" if i else None) for i, n in enumerate(_HEADINGS)),
    )
    groups = []
    for file, group in groupby(result["counts"], key=lambda c: str(c["file"])):
        name = el("tr", el("th", said(file), colspan=str(len(_HEADINGS)), scope="rowgroup"))
        groups.append(el("tbody", name, *(_count_row(c) for c in group), class_="group"))
    total = {f"{n}_count": sum(c[f"{n}_count"] for c in result["counts"]) for n in _COUNTS}
    all_rows = el("tbody", _count_row({"sheet": "All files", **total}), class_="sum")
    return el(
        "section",
        el("h2", "What was read"),
        el("p", result["head"] + "."),
        _next(len(result["lines"])),
        el("div",
           el("table", el("thead", head), *groups, all_rows, class_="counts",
              aria_label="Rows by file and sheet"), class_="scroll"),
        el("p", "Used: taken as typed. Asked: used with an assumption or a question. Refused: a "
           "value of the row was not used; the hole it stands for still counts as open. Skipped: "
           "blank lines, headings, totals and examples.", class_="quiet"),
        _not_made(result["not_made"]),
    )  # fmt: skip


def _count_row(count: dict[str, Any]) -> Markup:
    numbers = (el("td", f"{count[f'{n}_count']:,}", class_="n") for n in _COUNTS)
    return el("tr", el("th", said(count["sheet"]), scope="row"), *numbers)


def _next(count: int) -> Markup:
    if not count:
        return el("p", "Nothing to ask.", class_="busy")
    words = "1 question" if count == 1 else f"{count:,} questions"
    return el(
        "div",
        el("a", f"Answer {words}", class_="button main", href="/questions"),
        el("a", "Download the question list (.xlsx)", class_="button", href="/questions.xlsx"),
        class_="row",
    )


def _not_made(tests: Sequence[str]) -> Markup | None:
    if not tests:
        return None
    return el(
        "details",
        el("summary", f"{len(tests)} checks were not made: they need places, levels or floods"),
        el("p", "Start the page with --config to have them made.", class_="quiet"),
        el("ul", *(el("li", said(t)) for t in tests)),
    )


def _files(desk: Desk, key: str) -> Markup | None:
    if not desk.items:
        return None
    names = ("file", "kind", "size", "action")
    rows = [
        cells("th", names, (
            _name(desk, i), i.kind, megabytes(i.size_bytes),
            el("form", hidden("key", key), hidden("number", str(i.number)), hidden("name", i.name),
               el("button", "Remove", type="submit", class_="small",
                  aria_label=f"Remove {i.name}"),
               method="post", action="/files/remove"),
        ))
        for i in desk.items
    ]  # fmt: skip
    return el("section", el("h2", "Files on the desk"), table(names, rows, 9, "Files on the desk"))


def _name(desk: Desk, item: Item) -> Markup:
    """The name of a file; with its drop where CSV files that came together are read as one."""
    together = sum(1 for i in desk.items if i.number == item.number and i.kind == CSV) > 1
    drop = f" (drop-{item.number})" if item.kind == CSV and together else ""
    return el("span", said(item.name), drop)


def waiting_page(checker: Checker, title: str, here: str) -> HTMLResponse:
    """Shown while a check goes on; asks again by itself."""
    return page(title, _state(checker), here=here, again_s=2 if checker.state == CHECKING else 0)


def questions_page(
    lines: Sequence[dict[str, Any]],
    desk: Desk,
    session: Session,
    *,
    key: str,
    who: str,
    number: int,
) -> HTMLResponse:
    """The open questions in walking order, grouped by place, a box each.

    Parameters
    ----------
    lines : sequence of dict
        All open questions.
    desk, session
    key : str
        Key of the form.
    who : str
        Only what this one answers; `all` for every line.
    number : int
        Page, from 1.
    """
    wanted = [line for line in lines if who in (ALL, line["answered_by"])]
    pages = max(1, -(-len(wanted) // PER_PAGE))
    number = min(max(1, number), pages)
    shown = wanted[(number - 1) * PER_PAGE : number * PER_PAGE]
    intro = (
        "In walking order, place by place. One word will do; leave blank what you cannot say. "
        "What nobody can say may be answered with: not known."
    )
    if not wanted:
        body = el("p", "Nothing to ask." if not lines else "Nothing to ask here.", class_="busy")
    else:
        body = _form(shown, desk, session, key, f"?{urlencode({'who': who, 'page': number})}")
    return page(
        "Questions",
        told_list(session.told),
        el("p", intro) if lines else None,
        _filters(lines, who) if lines else None,
        el("p", f"Page {number} of {pages}." if pages > 1 else None, class_="quiet"),
        body,
        _turn(who, number, pages),
        here="/questions",
    )


def _filters(lines: Sequence[dict[str, Any]], who: str) -> Markup:
    count: dict[str, int] = {ALL: len(lines)}
    for line in sorted(lines, key=lambda one: str(one["answered_by"])):
        count[line["answered_by"]] = count.get(line["answered_by"], 0) + 1
    links = [
        el("li", el("a", f"{'everybody' if w == ALL else w} ({n:,})",
                    href=f"/questions?{urlencode({'who': w})}",
                    aria_current="true" if w == who else None))
        for w, n in count.items()
    ]  # fmt: skip
    download = el("a", "Download the list (.xlsx)", href="/questions.xlsx")
    return el("ul", *links, el("li", download), class_="filters", aria_label="Who answers")


def _turn(who: str, number: int, pages: int) -> Markup | None:
    if pages == 1:
        return None
    links = []
    for words, to in (("Earlier questions", number - 1), ("Further questions", number + 1)):
        if 1 <= to <= pages:
            at = urlencode({"who": who, "page": to})
            links.append(el("a", words, class_="button", href=f"/questions?{at}"))
    return el("p", *links, class_="row")


def _form(
    lines: Sequence[dict[str, Any]], desk: Desk, session: Session, key: str, back: str
) -> Markup:
    groups = []
    for place, group in groupby(lines, key=lambda line: str(line["place_id"])):
        groups.append(
            el("section", el("h2", said(place) if place else "The whole file or programme"),
               *(_line(line, desk.answers.get(line["line_id"])) for line in group))
        )  # fmt: skip
    return el(
        "form",
        hidden("key", key),
        el("div",
           _field("by_whom", "Answered by (name)", session.by_whom, kind="text"),
           _field("on", "Date of the answers", session.on, kind="date"),
           class_="who"),
        *groups,
        el("div", el("button", "Send the answers", type="submit", class_="main"),
           el("span", "Blank boxes stay open.", class_="quiet wide"), class_="bar row"),
        method="post", action=f"/answers{back}", autocomplete="off",
    )  # fmt: skip


def _field(name: str, label: str, value: str, *, kind: str) -> Markup:
    return el(
        "div",
        el("label", label, for_=name),
        el("input", type=kind, id=name, name=name, value=value, required=True, maxlength="60"),
        class_="field",
    )


def _line(line: dict[str, Any], before: Given | None) -> Markup:
    style, words = _STATE.get(line["weight"], ("ask", ""))
    an_id = f"a-{line['line_id']}"
    where = " · ".join(str(line[n]) for n in ("file", "sheet", "cell") if line[n])
    facts = [
        (name, str(line[field]))
        for name, field in (
            ("As read", "as_read"), ("Until answered", "assumed"), ("How to mend", "mend"),
        )
        if line[field]
    ]  # fmt: skip
    others = str(line["key"]).count(" ; ")
    return el(
        "div",
        el("p", said(where), " · " if where else "", f"{words} · for the {line['answered_by']} · {line['code']}",
           class_="where"),
        el("p", said(line["message"]), class_="ask-text", id=f"q-{an_id}"),
        el("dl", *(part for name, text in facts for part in (el("dt", name), el("dd", said(text))))),
        el("p", f"One answer holds for {others + 1:,} rows.", class_="quiet") if others else None,
        el("div", el("label", "Answer", for_=an_id),
           el("input", type="text", id=an_id, name=an_id, value=before.text if before else "",
              aria_describedby=f"q-{an_id}"), class_="field")
        if line["is_answerable"]
        else el("p", "Mend this in the survey itself.", class_="quiet"),
        class_=f"line {style}",
    )  # fmt: skip


def answers_page(desk: Desk, checker: Checker, key: str, told: Sequence[Told]) -> HTMLResponse:
    """The answers that were given, what became of each, and a way to take one back."""
    outcomes = (checker.result or {}).get("outcomes", {})
    names = ("place", "question", "answer", "by whom", "date", "what became of it", "action")
    rows = [
        cells("td", names, (
            said(a.place), said(a.question), said(a.text), said(a.by_whom), said(a.on),
            said(outcomes.get(_outcome_key(a), "not on the desk any more")),
            el("form", hidden("key", key), hidden("line", a.line_id),
               el("button", "Take back", type="submit", class_="small"),
               method="post", action="/answers/take-back"),
        ))
        for a in desk.answers.values()
    ]  # fmt: skip
    body = table(names, rows, 9, "Answers given on this page") if rows else el(
        "p", "No answers were given on this page yet.", class_="busy")  # fmt: skip
    return page(
        "Answers",
        told_list(told),
        el("p", "An answer goes to its row by id. A later value of the survey beats it; one that "
           "gives no value that can be used is told back as a question."),
        body,
        here="/answers",
    )  # fmt: skip


def _outcome_key(given: Given) -> str:
    return f"{given.key.split(' ; ')[0].casefold()}|{given.column}|{given.code}"


def maps_page(runs: Sequence[Run], told: Sequence[Told] = ()) -> HTMLResponse:
    """Finished runs, programme by programme, the latest first."""
    sections = []
    for programme, group in groupby(runs, key=lambda r: r.programme):
        found = list(group)
        sections.append(el("h2", f"Programme {programme}"))
        if found[0].has_map:
            sections.append(
                el("p", el("a", f"Open the latest map ({found[0].name})", class_="button main",
                           href=_at(found[0])))
            )  # fmt: skip
        names = ("run", "run id", "planned for", "map", "workbooks")
        rows = [
            cells("th", names, (
                said(r.name), said(r.run_id), said(r.planning_date),
                el("a", "Map", href=_at(r), aria_label=f"Map of {r.name}") if r.has_map
                else said("none"),
                _workbooks(r),
            ))
            for r in found
        ]  # fmt: skip
        sections.append(table(names, rows, 9, f"Runs of {programme}"))
    none = el("p", "There is no finished run below outputs/ yet. Start one with: stanch run CONFIG",
              class_="busy")  # fmt: skip
    return page("Maps", told_list(told), *(sections or [none]), here="/maps")


def _at(run: Run) -> str:
    return f"/maps/{quote(run.programme)}/{quote(run.name)}"


def _workbooks(run: Run) -> Markup:
    links = [
        el("a", words, href=f"{_at(run)}/{name}", aria_label=f"{words} of {run.name}")
        for name, words in files_of(run).items()
    ]
    return el("span", *(part for a in links for part in (a, " ")))


def enter_page(key: str, told: Sequence[Told]) -> HTMLResponse:
    """The form that asks for the token."""
    return page(
        "Enter the token",
        told_list(told),
        el("p", "The token was printed where the page was started."),
        el("form", hidden("key", key), _token_field(),
           el("p", el("button", "Enter", type="submit", class_="main")),
           method="post", action="/enter", autocomplete="off"),
    )  # fmt: skip


def _token_field() -> Markup:
    return el(
        "div",
        el("label", "Token", for_="token"),
        el("input", type="password", id="token", name="token", required=True, maxlength="200"),
        class_="field",
    )

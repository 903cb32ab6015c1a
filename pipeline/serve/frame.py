"""What every page of the desk shares: head, ways between the pages, refusals, small parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from starlette.responses import HTMLResponse

from pipeline.serve.desk import Told
from pipeline.serve.markup import Markup, el, join, said
from pipeline.serve.refused import RefusedError

_WAYS: Final = (
    ("/", "Files and counts"), ("/questions", "Questions"), ("/answers", "Answers"),
    ("/maps", "Maps"),
)  # fmt: skip


def page(
    title: str,
    *body: Markup | str | None,
    here: str = "",
    again_s: int = 0,
    status: int = 200,
) -> HTMLResponse:
    """A whole page.

    Parameters
    ----------
    title : str
    body : Markup
    here : str
        Address of the page among the ways; blank where no way is shown.
    again_s : int
        Seconds after which the browser asks again; 0: never.
    status : int

    Returns
    -------
    HTMLResponse
    """
    ways = el(
        "nav",
        *(
            el("a", words, href=to, aria_current="page" if to == here else None)
            for to, words in _WAYS
        ),
        aria_label="Pages",
    )
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("link", rel="icon", href="data:,"),
        el("link", rel="stylesheet", href="/serve.css"),
        el("title", f"{title} - stanch"),
    )
    text = join(
        Markup("<!DOCTYPE html>\n"),
        el(
            "html",
            head,
            el(
                "body",
                el("a", "To the content", class_="skip", href="#main"),
                el(
                    "header", el("div", el("strong", "stanch"), ways if here else None, class_="in")
                ),
                el("main", el("h1", title), *body, id="main"),
            ),
            lang="en",
        ),
    )
    again = {"refresh": str(again_s)} if again_s else {}
    return HTMLResponse(str(text), status_code=status, headers=again)


def refusal(fault: RefusedError) -> HTMLResponse:
    """The page of a request that is refused: one line, and the way back."""
    line = " ".join(t for t in (fault.what, fault.why, fault.mend) if t)
    return page(
        "Not done",
        el("p", said(line), class_="fault", role="alert"),
        el("p", el("a", "Back to the files", href="/")),
        status=fault.status,
    )


def told_list(told: Sequence[Told]) -> Markup | None:
    """What became of each dropped file: what was refused first, what was taken in few lines."""
    if not told:
        return None
    lines = [(el("b", said(t.name)), said(t.line), "no") for t in told if not t.is_taken]
    taken: dict[str, list[str]] = {}
    for one in told:
        if one.is_taken:
            taken.setdefault(one.line, []).append(one.name)
    for line, names in taken.items():
        shown = [part for name in names for part in (said(name), ", ")][:-1]
        lines.append((el("b", *shown), said(line), ""))
    return el(
        "ul",
        *(el("li", name, line, class_=style or None) for name, line, style in lines),
        class_="told",
        role="status",
    )


def hidden(name: str, value: str) -> Markup:
    """A field that is sent along."""
    return el("input", type="hidden", name=name, value=value)


def cells(
    tag: str, names: Sequence[str], values: Sequence[Markup | str], *, class_: str = ""
) -> Markup:
    """A row of a table whose cells carry their heading for narrow screens."""
    out = []
    for i, (name, value) in enumerate(zip(names, values, strict=True)):
        is_number = isinstance(value, str) and not isinstance(value, Markup) and value[:1].isdigit()
        out.append(el("th" if tag == "th" and i == 0 else "td", value, data_name=name,
                      scope="row" if tag == "th" and i == 0 else None,
                      class_="n" if is_number else None))  # fmt: skip
    return el("tr", *out, class_=class_ or None)


def table(names: Sequence[str], rows: Sequence[Markup], numbers_from: int, label: str) -> Markup:
    """A table that turns into cards on a narrow screen."""
    head = el("tr", *(el("th", n, scope="col", class_="n" if i >= numbers_from else None)
                      for i, n in enumerate(names)))  # fmt: skip
    return el(
        "div",
        el("table", el("thead", head), el("tbody", *rows), class_="cards", aria_label=label),
        class_="scroll",
    )

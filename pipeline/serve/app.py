"""The requests of the desk: which page answers which, and what each changes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qsl, urlencode

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline.serve import pages
from pipeline.serve.checker import CHECKING, DONE, Checker
from pipeline.serve.desk import Desk, Given, Told
from pipeline.serve.frame import refusal
from pipeline.serve.guard import Doorkeeper, Guard, Session
from pipeline.serve.limits import Limits
from pipeline.serve.receive import receive
from pipeline.serve.refused import RefusedError
from pipeline.serve.runs import file_of, map_of, one_run, runs_below

_XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_CSV: Final = "text/csv; charset=utf-8"
_SOON_S: Final = 2.5
_MOST_FIELDS: Final = 400
_NAME_LETTERS: Final = 60
_ANSWER: Final = "a-"


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where the page is served and what it works on.

    `folder`: the only folder that is written. `outputs`: below it lie the finished runs. `config`:
    settings file, or None. `token`: asked of every browser where it is not blank.
    """

    folder: Path
    outputs: Path
    config: Path | None = None
    host: str = "127.0.0.1"
    port: int = 0
    token: str = ""
    limits: Limits = field(default_factory=Limits)


def make_app(place: Place) -> Starlette:
    """The web application of one desk.

    Parameters
    ----------
    place : Place

    Returns
    -------
    Starlette

    Raises
    ------
    UsageError
        When the folder cannot serve as a desk.
    """
    desk = Desk.open(place.folder, place.limits)
    door = Doorkeeper(place.host, place.token)
    handlers = _Handlers(desk, Checker(desk, place.config), door, place.outputs)

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        del app
        await handlers.checker.warm()
        if desk.items:
            handlers.checker.changed()
        try:
            yield
        finally:
            await handlers.checker.close()

    def missing(request: Request, fault: Exception) -> Response:
        del request
        status = fault.status_code if isinstance(fault, HTTPException) else 404
        what = "There is no such page." if status == 404 else "That cannot be done here."
        return refusal(RefusedError(what, mend="Go back to the files.", status=status))

    return Starlette(
        routes=handlers.routes(),
        lifespan=lifespan,
        exception_handlers={HTTPException: missing},
        middleware=[
            Middleware(Guard, door=door, cookie=f"stanch_{place.port}",
                       request_s=place.limits.request_s, show=refusal)
        ],
    )  # fmt: skip


class _Handlers:
    """One method per request."""

    def __init__(self, desk: Desk, checker: Checker, door: Doorkeeper, outputs: Path) -> None:
        self.desk, self.checker, self.door, self.outputs = desk, checker, door, outputs
        style = resources.files("pipeline.serve").joinpath("assets/serve.css")
        self._style = style.read_text("utf-8")

    def routes(self) -> list[Route]:
        return [
            Route("/", self.files),
            Route("/files", self.drop, methods=["POST"]),
            Route("/files/remove", self.remove, methods=["POST"]),
            Route("/questions", self.questions),
            Route("/questions.xlsx", self.question_list),
            Route("/answers", self.answers),
            Route("/answers", self.answer, methods=["POST"]),
            Route("/answers/take-back", self.take_back, methods=["POST"]),
            Route("/maps", self.maps),
            Route("/maps/{programme}/{run}", self.map),
            Route("/maps/{programme}/{run}/{file}", self.workbook),
            Route("/enter", self.enter),
            Route("/enter", self.entered, methods=["POST"]),
            Route("/serve.css", self.style),
        ]

    async def style(self, request: Request) -> Response:
        del request
        return Response(self._style, media_type="text/css; charset=utf-8")

    async def files(self, request: Request) -> Response:
        session = _session(request)
        return pages.desk_page(
            self.desk, self.checker, self.door.form_key(session), _told(session, self.checker)
        )

    async def drop(self, request: Request) -> Response:
        session = _session(request)
        received = await receive(
            request.stream(), request.headers.get("content-type", ""), self.desk.incoming,
            self.desk.limits,
        )  # fmt: skip
        try:
            self._check_key(request, received.fields)
            takes_place = received.fields.get("takes_place") == "yes"
            told = self.desk.take(received.parts, takes_place=takes_place)
        finally:
            received.drop()
        session.told = told or [Told("No file", "Choose a file first.", is_taken=False)]
        if any(t.is_taken for t in told):
            await self._changed()
        return RedirectResponse("/", status_code=303)

    async def remove(self, request: Request) -> Response:
        fields = await self._fields(request)
        number = fields.get("number", "")
        is_number = number.isdecimal() and number.isascii() and len(number) < 9
        if not is_number or not self.desk.remove(int(number), fields.get("name", "")):
            raise RefusedError("There is no such file on the desk.", mend="Look at the list again.")
        name = fields["name"]
        _session(request).told = [Told(name, "Removed from the desk.", is_taken=True)]
        await self._changed()
        return RedirectResponse("/", status_code=303)

    async def questions(self, request: Request) -> Response:
        session = _session(request)
        result = self.checker.result
        if self.checker.state != DONE or result is None:
            if self.checker.state == CHECKING:
                return pages.waiting_page(self.checker, "Questions", "/questions")
            return RedirectResponse("/", status_code=303)
        if session.sent is not None:
            session.told = [_what_became(*session.sent, len(result["lines"]))]
            session.sent = None
        number = request.query_params.get("page", "1")
        response = pages.questions_page(
            result["lines"],
            self.desk,
            session,
            key=self.door.form_key(session),
            who=request.query_params.get("who", pages.ALL),
            number=int(number)
            if number.isascii() and number.isdecimal() and len(number) < 7
            else 1,
        )
        session.told = []
        return response

    async def question_list(self, request: Request) -> Response:
        del request
        path = self.desk.out / "questions.xlsx"
        if self.checker.state != DONE or not path.is_file():
            raise RefusedError(
                "There is no question list yet.", mend="Drop files, wait for the check.", status=404
            )
        return FileResponse(path, media_type=_XLSX, filename="questions.xlsx")

    async def answers(self, request: Request) -> Response:
        session = _session(request)
        if self.checker.state == CHECKING:
            return pages.waiting_page(self.checker, "Answers", "/answers")
        key = self.door.form_key(session)
        return pages.answers_page(self.desk, self.checker, key, _told(session, self.checker))

    async def answer(self, request: Request) -> Response:
        session = _session(request)
        fields = await self._fields(request)
        session.by_whom = _one_line(fields.get("by_whom", ""))[:_NAME_LETTERS]
        session.on = _one_line(fields.get("on", ""))[:10]
        given = self._given(fields, session)
        if given:
            self.desk.answer(given)
            before = len((self.checker.result or {}).get("lines", ()))
            session.sent = sum(1 for g in given if g.text), before
            await self._changed()
        else:
            session.told = [Told("No answer", "All boxes were as before.", is_taken=False)]
        at = {n: request.query_params[n] for n in ("who", "page") if n in request.query_params}
        return RedirectResponse(f"/questions?{urlencode(at)}", status_code=303)

    def _given(self, fields: dict[str, str], session: Session) -> list[Given]:
        """What is new among the boxes of a form."""
        lines: dict[str, dict[str, Any]] = {
            line["line_id"]: line for line in (self.checker.result or {}).get("lines", ())
        }
        out = []
        for name, value in fields.items():
            line = lines.get(name.removeprefix(_ANSWER)) if name.startswith(_ANSWER) else None
            if line is None or not line["is_answerable"]:
                continue
            text = _one_line(value)
            if len(text) > self.desk.limits.answer_letters_count:
                raise RefusedError(
                    f"An answer is longer than {self.desk.limits.answer_letters_count:,} letters.",
                    mend="Say it in fewer words.",
                )
            before = self.desk.answers.get(line["line_id"])
            if text == (before.text if before else ""):
                continue
            out.append(Given(
                line["line_id"], line["key"], line["column"], line["code"], line["as_read"], text,
                session.by_whom, session.on, line["place_id"], line["message"],
            ))  # fmt: skip
        return out

    async def take_back(self, request: Request) -> Response:
        fields = await self._fields(request)
        given = self.desk.answers.get(fields.get("line", ""))
        if given is None:
            raise RefusedError("There is no such answer.", mend="Look at the list again.")
        self.desk.answers.pop(given.line_id)
        self.desk.save()
        _session(request).told = [Told(given.text, "Taken back.", is_taken=True)]
        await self._changed()
        return RedirectResponse("/answers", status_code=303)

    async def maps(self, request: Request) -> Response:
        del request
        return pages.maps_page(runs_below(self.outputs))

    async def map(self, request: Request) -> Response:
        run = one_run(self.outputs, request.path_params["programme"], request.path_params["run"])
        path, policy = map_of(run)
        return FileResponse(
            path,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": policy,
                     "permissions-policy": "camera=(), microphone=(), geolocation=(self)"},
        )  # fmt: skip

    async def workbook(self, request: Request) -> Response:
        run = one_run(self.outputs, request.path_params["programme"], request.path_params["run"])
        name = request.path_params["file"]
        return FileResponse(
            file_of(run, name),
            media_type=_CSV if name.endswith(".csv") else _XLSX,
            filename=f"{run.programme}-{run.name}-{name}",
        )

    async def enter(self, request: Request) -> Response:
        session = _session(request)
        if not self.door.token or session.has_token:
            return RedirectResponse("/", status_code=303)
        told, session.told = session.told, []
        return pages.enter_page(self.door.form_key(session), told)

    async def entered(self, request: Request) -> Response:
        session = _session(request)
        fields = await self._fields(request)
        if not await self.door.guess(fields.get("token", "").strip()):
            session.told = [Told("That is not the token", "Look at it again.", is_taken=False)]
            return RedirectResponse("/enter", status_code=303)
        session.has_token = True
        return RedirectResponse("/", status_code=303)

    async def _changed(self) -> None:
        self.checker.changed()
        await self.checker.wait(_SOON_S)

    def _check_key(self, request: Request, fields: dict[str, str]) -> None:
        # another site cannot write the header of a program's request
        if not request.scope["by_header"]:
            self.door.check_form(_session(request), fields.get("key", ""))

    async def _fields(self, request: Request) -> dict[str, str]:
        """Fields of a form without files, its key checked."""
        kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
        if kind != "application/x-www-form-urlencoded":
            raise RefusedError("That is no form.", mend="Use the page's own form.", status=415)
        body = bytearray()
        async for chunk in request.stream():
            body += chunk
            if len(body) > self.desk.limits.form_bytes:
                raise RefusedError(
                    "The form is too large.", mend="Send fewer at a time.", status=413
                )
        try:
            pairs = parse_qsl(
                body.decode("ascii"), keep_blank_values=True, max_num_fields=_MOST_FIELDS,
                errors="replace",
            )  # fmt: skip
        except ValueError:
            raise RefusedError(
                "The form cannot be read.", mend="Use the page's own form."
            ) from None
        fields = dict(reversed(pairs))
        self._check_key(request, fields)
        return fields


def _session(request: Request) -> Session:
    session: Session = request.scope["session"]
    return session


def _told(session: Session, checker: Checker) -> list[Told]:
    """The lines of the last action; they stay while a check goes on, then are shown once."""
    told = session.told
    if checker.state != CHECKING:
        session.told = []
    return told


def _what_became(count: int, before: int, left: int) -> Told:
    words = "1 answer" if count == 1 else f"{count:,} answers"
    return Told(f"{words} kept", f"{before:,} questions before, {left:,} now.", is_taken=True)


def _one_line(text: str) -> str:
    """A typed text: one line, without control signs."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())

"""Who may ask what: host, origin, token, form key, time; and the headers of every answer."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipeline.serve.desk import Told
from pipeline.serve.refused import RefusedError

POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src data:; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    # with no-referrer a browser would send the origin of our own forms as null
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}
_LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})
_OPEN: Final = frozenset({"/enter", "/serve.css"})
_MOST_SESSIONS: Final = 500
_WAIT_S: Final = 1.0


@dataclass
class Session:
    """One browser: whether it gave the token, and the lines that its last action left.

    `sent`: answers that were just sent and the questions before them, to be told once the check
    that they caused is done.
    """

    sid: str
    has_token: bool = False
    told: list[Told] = field(default_factory=list)
    sent: tuple[int, int] | None = None
    by_whom: str = ""
    on: str = ""


class Doorkeeper:
    """Keeps the token, the sessions and the key of every form.

    Parameters
    ----------
    host : str
        Address that the server listens on.
    token : str
        Asked of every browser where it is not blank.
    """

    def __init__(self, host: str, token: str = "") -> None:
        self.token = token
        self.is_loopback = is_loopback(host)
        own = socket.gethostname().casefold()
        self._names = set(_LOOPBACK) if self.is_loopback else {*_LOOPBACK, own, host.casefold()}
        self._key = secrets.token_bytes(32)
        self._sessions: dict[str, Session] = {}
        self._one_guess = asyncio.Lock()

    def knows_host(self, header: str) -> bool:
        """Whether a Host header names this server, and not a name that was bent to its address."""
        try:
            name = (urlsplit(f"//{header}").hostname or "").casefold()
            _ = urlsplit(f"//{header}").port
        except ValueError:
            return False
        if name in self._names:
            return True
        # an address cannot be bent; a name can
        return not self.is_loopback and _is_address(name)

    def session_of(self, cookie: str | None) -> Session:
        """The session of a cookie, or a new one."""
        known = self._sessions.get(cookie or "")
        if known is not None:
            return known
        while len(self._sessions) >= _MOST_SESSIONS:
            del self._sessions[next(iter(self._sessions))]
        session = Session(secrets.token_urlsafe(24))
        self._sessions[session.sid] = session
        return session

    def forget(self, session: Session) -> None:
        """End a session."""
        self._sessions.pop(session.sid, None)

    def form_key(self, session: Session) -> str:
        """The key that every form of a session carries."""
        return hmac.new(self._key, session.sid.encode(), hashlib.sha256).hexdigest()

    def check_form(self, session: Session, key: str) -> None:
        """Refuse a form that is not of this session's own page."""
        if not hmac.compare_digest(key.encode(), self.form_key(session).encode()):
            raise RefusedError(
                "This form is not of a page of this session.",
                mend="Open the page again and send it from there.",
                status=403,
            )

    def is_token(self, text: str) -> bool:
        """Whether a text is the token; takes as long for a wrong one as for the right one."""
        return bool(self.token) and hmac.compare_digest(text.encode(), self.token.encode())

    async def guess(self, text: str) -> bool:
        """Like `is_token`; wrong ones are answered one at a time, a second each."""
        if self.is_token(text):
            return True
        async with self._one_guess:
            await asyncio.sleep(_WAIT_S)
        return False


def is_loopback(host: str) -> bool:
    """Whether an address is reached from this machine only."""
    if host.casefold() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Guard:
    """The outermost layer: what it does not let through reaches no page.

    Parameters
    ----------
    app : ASGI application
    door : Doorkeeper
    cookie : str
        Name of the session's cookie.
    request_s : float
        Longest time for a request to come in.
    show : callable
        Makes the page of a refusal.
    """

    def __init__(
        self,
        app: ASGIApp,
        door: Doorkeeper,
        cookie: str,
        request_s: float,
        show: Callable[[RefusedError], Response],
    ) -> None:
        self.app, self.door, self.cookie = app, door, cookie
        self.request_s, self.show = request_s, show

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or refuse it in one line."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        has_begun = False

        async def sending(message: Message) -> None:
            nonlocal has_begun
            if message["type"] == "http.response.start":
                has_begun = True
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            await self._admit(scope, self._timed(receive), sending)
        except RefusedError as fault:
            refusal = fault
        except Exception as fault:  # noqa: BLE001 - the last guard: no traceback reaches a browser
            refusal = RefusedError(
                "stanch has made a fault of its own.",
                why=f"({type(fault).__name__})",
                mend="Please report this line.",
                status=500,
            )
        else:
            return
        if not has_begun:
            await self.show(refusal)(scope, receive, sending)

    def _timed(self, receive: Receive) -> Receive:
        loop = asyncio.get_running_loop()
        last = loop.time() + self.request_s
        is_whole = False

        async def timed() -> Message:
            nonlocal is_whole
            if is_whole:  # the wait for a browser to leave has no limit
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), max(0.01, last - loop.time()))
            except TimeoutError:
                raise RefusedError(
                    f"The request took longer than {self.request_s:.0f} seconds to come in.",
                    mend="Drop fewer files at a time.",
                    status=408,
                ) from None
            is_whole = message["type"] != "http.request" or not message.get("more_body", False)
            return message

        return timed

    async def _admit(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        self._check_place(scope, headers)
        came = _cookie(headers, self.cookie)
        session = self.door.session_of(came)
        by_header = await self._by_header(headers)
        scope["session"], scope["by_header"] = session, by_header
        answer: ASGIApp = self.app
        if self.door.token and not (session.has_token or by_header or scope["path"] in _OPEN):
            if scope["method"] == "POST":
                raise RefusedError("The token was not given.", mend="Open /enter.", status=401)
            answer = RedirectResponse("/enter", status_code=303)
        if came == session.sid or by_header:
            await answer(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).append(
                    "set-cookie", f"{self.cookie}={session.sid}; Path=/; HttpOnly; SameSite=Strict"
                )
            await send(message)

        await answer(scope, receive, sending)

    def _check_place(self, scope: Scope, headers: Headers) -> None:
        """Refuse what another site's page sends, or what came under another name."""
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise RefusedError("That is not served here.", mend="Open the page.", status=405)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self.door.knows_host(hosts[0]):
            raise RefusedError(
                "This page is not served under that name.",
                why="A page of another site may be trying to reach it.",
                mend="Open it under the address that was printed at the start.",
                status=421,
            )
        origin = headers.get("origin")
        is_own = origin is None or origin in (f"http://{hosts[0]}", f"https://{hosts[0]}")
        came_from = headers.get("sec-fetch-site", "same-origin")
        is_opened = headers.get("sec-fetch-mode") == "navigate" and scope["method"] != "POST"
        is_other = came_from not in ("same-origin", "none") and not is_opened
        if not is_own or is_other:
            raise RefusedError(
                "This came from a page of another site.",
                mend="Open the page itself and send it from there.",
                status=403,
            )

    async def _by_header(self, headers: Headers) -> bool:
        """Whether the token stands in the header of a program's request."""
        kind, _, text = headers.get("authorization", "").partition(" ")
        if not self.door.token or kind.casefold() != "bearer":
            return False
        if await self.door.guess(text.strip()):
            return True
        raise RefusedError("That is not the token.", mend="Look at it again.", status=401)


def _cookie(headers: Headers, name: str) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return found.value if found is not None else None

"""The running server: the socket, the folder, and what is said at the start."""

from __future__ import annotations

import secrets
import shutil
import signal
import socket
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

import uvicorn

from pipeline.core import settings_file
from pipeline.core.errors import UsageError
from pipeline.serve.app import Place, make_app
from pipeline.serve.guard import is_loopback

_SHORTEST_TOKEN: Final = 16
_AT_ONCE: Final = 64
_LAST_PORT: Final = 65_535


def serve(place: Place, tell: Callable[[str], None], *, is_kept: bool) -> None:
    """Serve a desk until interrupted.

    Parameters
    ----------
    place : Place
        Beyond loopback without a token one is made.
    tell : callable
        Gets the lines for the one who started it.
    is_kept : bool
        Whether the folder stays when the server ends.

    Raises
    ------
    UsageError
        Address or port that cannot be used, short token, settings or folder with a fault.
    """
    if place.config is not None:
        settings_file.load(place.config)  # a fault of the settings is told before anybody waits
    is_made = not place.token
    place = _with_token(place)
    with _listening(place) as listener:
        place = replace(place, port=listener.getsockname()[1])
        app = make_app(place)
        for line in _said(place, is_made=is_made, is_kept=is_kept):
            tell(line)
        config = uvicorn.Config(
            app, log_level="critical", access_log=False, server_header=False, date_header=False,
            limit_concurrency=_AT_ONCE, timeout_keep_alive=5, timeout_graceful_shutdown=3,
            h11_max_incomplete_event_size=32_768, ws="none", proxy_headers=False,
        )  # fmt: skip
        # told to stop, it ends like by Ctrl-C: what it keeps for the session is removed
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        uvicorn.Server(config).run(sockets=[listener])


def new_folder() -> Path:
    """A folder of its own for a session that is not kept."""
    return Path(tempfile.mkdtemp(prefix="stanch-desk-"))


def clear(folder: Path) -> None:
    """Remove the folder of a session that is not kept."""
    shutil.rmtree(folder, ignore_errors=True)


def _with_token(place: Place) -> Place:
    if place.token and (len(place.token) < _SHORTEST_TOKEN or not place.token.isprintable()):
        raise UsageError(
            f"The token is shorter than {_SHORTEST_TOKEN} letters, or holds odd signs.",
            why="It could be guessed.",
            mend="Leave --token out and one is made, or give a longer one.",
        )
    if place.token or is_loopback(place.host):
        return place
    return replace(place, token=secrets.token_urlsafe(24))


def _listening(place: Place) -> socket.socket:
    is_port = 0 <= place.port <= _LAST_PORT  # the system would take another modulo 65,536
    try:
        found = socket.getaddrinfo(place.host, place.port, type=socket.SOCK_STREAM)
        family, kind, protocol, _, address = found[0]
        listener = socket.socket(family, kind, protocol) if is_port else None
    except (OSError, UnicodeError, OverflowError):
        listener = None
    if listener is None:
        raise UsageError(
            f"{place.host}, port {place.port}, is no address of this machine.",
            mend="Name one of its addresses with --host, and a port from 0 to 65535.",
        )
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
    except OSError as fault:
        listener.close()
        raise UsageError(
            f"{place.host}, port {place.port}, cannot be used: {fault.strerror}.",
            mend="Name another port with --port (0 takes a free one).",
        ) from None
    return listener


def _said(place: Place, *, is_made: bool, is_kept: bool) -> list[str]:
    host = f"[{place.host}]" if ":" in place.host else place.host
    lines = [f"The intake page is at http://{host}:{place.port}/  (Ctrl-C ends it)"]
    if place.token and is_made:  # a token that was given is known, and is not written anywhere
        lines.append(f"Token: {place.token}")
    if not is_loopback(place.host):
        lines.append(
            "It can be reached from other machines, and what is sent is not encrypted: keep it "
            "within a network you trust, or behind a server that encrypts."
        )
    lines.append(
        f"Files and answers are kept in {place.folder}."
        if is_kept
        else "Files and answers are forgotten at the end; --folder DIR keeps them."
    )
    if place.config is None:
        lines.append("Without --config, checks that need places, levels or floods are not made.")
    return lines

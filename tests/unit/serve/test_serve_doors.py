"""Who the intake page lets in: host, origin, form key, token; and what its answers carry."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest
from starlette.responses import PlainTextResponse

from pipeline.core.errors import UsageError
from pipeline.serve.app import Place
from pipeline.serve.frame import refusal
from pipeline.serve.guard import Doorkeeper, Guard, is_loopback
from pipeline.serve.server import serve
from tests.serving import ROOT, Served, serving

TOKEN = "a token of our own, long enough"


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8765", "127.0.0.1.evil.example", "localhost.evil.example",
     "169.254.169.254", "192.168.0.7:8765", "", "localhost@evil.example", "[::1", "localhost:x",
     "127.0.0.1:99999"],
)  # fmt: skip
def test_another_host_name_is_refused(served: Served, host: str) -> None:
    """A name that was bent to this address (DNS rebinding) reaches no page."""
    answer = httpx.get(served.url, headers={"host": host})
    assert answer.status_code in (400, 421)
    assert "Drop" not in answer.text
    assert "set-cookie" not in answer.headers


def test_own_names_are_let_in(served: Served) -> None:
    """The names of this machine for itself, with the port that a tunnel may have changed."""
    for host in ("localhost", "127.0.0.1:9", "[::1]:8765", "LOCALHOST:80"):
        assert httpx.get(served.url, headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:1"},
     {"origin": "file://"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
     {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}],
)  # fmt: skip
def test_another_origin_is_refused(served: Served, headers: dict[str, str]) -> None:
    """A form of another site changes nothing, even with the right cookie and key."""
    key = served.key()
    answer = served.client.post(
        served.url + "/files/remove", data={"key": key, "number": "1", "name": "a"}, headers=headers
    )
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_following_a_link_to_the_page_is_no_attack(served: Served) -> None:
    """A link in a mail may open the page; a picture or script tag of another site may not."""
    cross = {"sec-fetch-site": "cross-site"}
    opened = httpx.get(served.url, headers={**cross, "sec-fetch-mode": "navigate"})
    assert opened.status_code == 200
    assert httpx.get(served.url, headers={**cross, "sec-fetch-mode": "no-cors"}).status_code == 403


@pytest.mark.parametrize("key", ["", "0" * 64, "ä"])
def test_a_form_without_the_key_changes_nothing(served: Served, key: str) -> None:
    """Files of a form that is not of this session are not kept."""
    answer = served.drop(("a.csv", b"chamber_id,site_id\nC1,S1\n"), key=key)
    assert answer.status_code == 403
    assert list(served.desk.joinpath("files").iterdir()) == []
    assert list(served.desk.joinpath("incoming").iterdir()) == []


def test_the_key_of_another_session_is_refused(served: Served) -> None:
    """Each session has its own key."""
    with httpx.Client() as other:
        other.get(served.url)
        answer = other.post(served.url + "/answers", data={"key": served.key()})
    assert answer.status_code == 403


def test_every_answer_carries_the_policy(served: Served) -> None:
    """No script, no outside request, no frame, no guessing of types, nothing stored."""
    for path in ("/", "/questions", "/answers", "/maps", "/enter", "/serve.css", "/none",
                 "/maps/a/b", "/questions.xlsx"):  # fmt: skip
        answer = httpx.get(served.url + path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "script-src" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert "<script" not in answer.text
        assert "server" not in answer.headers


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_other_methods_are_refused(served: Served, method: str) -> None:
    """Nothing but looking and sending forms."""
    assert httpx.request(method, served.url).status_code == 405


@pytest.mark.parametrize(
    "path",
    ["/maps/../../etc", "/maps/%2e%2e/%2e%2e", "/maps/example/..%2f..%2fneighbour.txt",
     "/maps/a/b/run.json", "/serve.css/../app.py", "//etc/passwd", "/maps/a/%00", "/desk",
     "/questions.xlsx/x"],
)  # fmt: skip
def test_no_path_leads_out(served: Served, path: str) -> None:
    """An address names nothing but what is listed."""
    host, port = served.url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=10) as raw:
        raw.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
        answer = b""
        while part := raw.recv(65_536):
            answer += part
    assert b" 404 " in answer.split(b"\r\n")[0], answer[:80]
    assert b"not for the page" not in answer


def test_odd_pages_and_fields_are_no_fault(served: Served) -> None:
    """Numbers and names of an address may be anything."""
    for query in ("page=-1", "page=x", "page=²", "page=99999999999999999999", "who=%00<b>"):
        answer = served.client.get(f"{served.url}/questions?{query}")
        assert answer.status_code == 200
        assert "<b>" not in answer.text


def test_a_slow_request_ends() -> None:
    """What does not come in within its time is told so; a whole one may take its time to answer."""

    async def reads(scope: Any, receive: Any, send: Any) -> None:
        while (await receive()).get("more_body"):
            pass
        await asyncio.sleep(0.3)
        await PlainTextResponse("read")(scope, receive, send)

    async def ask(pause_s: float) -> int:
        left = [b"two", b"one"]

        async def receive() -> Any:
            await asyncio.sleep(pause_s)
            return {"type": "http.request", "body": left.pop(), "more_body": bool(left)}

        sent: list[Any] = []

        async def send(message: Any) -> None:
            sent.append(message)

        guard = Guard(reads, Doorkeeper("127.0.0.1"), "c", 0.2, refusal)
        headers = [(b"host", b"localhost")]
        scope = {"type": "http", "method": "POST", "path": "/files", "headers": headers}
        await guard(scope, receive, send)
        status: int = sent[0]["status"]
        return status

    assert asyncio.run(ask(0.15)) == 408
    assert asyncio.run(ask(0.01)) == 200


def test_beyond_loopback_a_token_is_made_and_asked_for(tmp_path: Path) -> None:
    """Without the token nothing is shown; by form or header it opens; a wrong one waits."""
    with serving(tmp_path, "--host", "0.0.0.0") as page:
        token = page.said.split("Token: ")[1].split()[0]
        assert len(token) >= 24
        url = page.url.replace("0.0.0.0", "127.0.0.1")
        for path in ("/", "/questions", "/maps", "/questions.xlsx"):
            assert httpx.get(url + path).headers["location"] == "/enter"
        assert httpx.post(url + "/files").status_code == 401
        wrong = httpx.get(url, headers={"authorization": "Bearer no"})
        assert wrong.status_code == 401
        right = httpx.get(url, headers={"authorization": f"Bearer {token}"})
        assert "Drop survey files" in right.text
        with httpx.Client(follow_redirects=True) as browser:
            form = browser.get(url).text
            key = form.split('name="key" value="')[1][:64]
            no = browser.post(url + "/enter", data={"key": key, "token": token[:-1]})
            assert "That is not the token" in no.text
            assert "Drop survey files" not in browser.get(url).text
            yes = browser.post(url + "/enter", data={"key": key, "token": token})
            assert "Drop survey files" in yes.text
        assert httpx.get(url, headers={"host": "evil.example"}).status_code == 421
        assert token not in "".join(
            p.read_text(errors="replace") for p in page.desk.rglob("*") if p.is_file()
        )


def test_a_given_token_is_asked_for_on_loopback_too_and_never_printed(tmp_path: Path) -> None:
    """From the environment or the option: known to who gave it, so it is not written anywhere."""
    with serving(tmp_path, token=TOKEN) as page:
        assert TOKEN not in page.said
        assert httpx.get(page.url).headers["location"] == "/enter"
        right = httpx.get(page.url, headers={"authorization": f"Bearer {TOKEN}"})
        assert right.status_code == 200


def test_tokens_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The comparison is the library's, which takes as long for a wrong text as for the right one."""
    asked: list[tuple[bytes, bytes]] = []

    def compare(one: bytes, other: bytes) -> bool:
        asked.append((one, other))
        return one == other

    monkeypatch.setattr("pipeline.serve.guard.hmac.compare_digest", compare)
    door = Doorkeeper("127.0.0.1", TOKEN)
    assert door.is_token(TOKEN)
    assert not door.is_token("x")
    assert len(asked) == 2
    assert not Doorkeeper("127.0.0.1").is_token("")


def test_faults_of_the_call(tmp_path: Path) -> None:
    """A taken port, a strange address, a short token, a missing config: one message each."""
    place = Place(folder=tmp_path / "desk", outputs=tmp_path)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        for change, words in (
            ({"port": port}, "cannot be used"),
            ({"host": "203.0.113.7"}, "cannot be used"),
            ({"host": "no such host.invalid"}, "no address of this machine"),
            ({"port": 99_999}, "address|port"),
            ({"token": "short"}, "shorter than 16"),
            ({"config": tmp_path / "none.toml"}, "none.toml"),
        ):
            with pytest.raises(UsageError, match=words):
                serve(Place(**{**vars(place), **change}), print, is_kept=True)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli.app", "serve", "--token", "short"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
        env={"PYTHONPATH": str(ROOT), "PATH": "", "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 4
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.glob("stanch-desk-*"))


@pytest.mark.parametrize(
    ("host", "is_own"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("localhost", True),
     ("0.0.0.0", False), ("::", False), ("192.168.1.4", False), ("example.org", False)],
)  # fmt: skip
def test_what_loopback_is(host: str, is_own: bool) -> None:
    """RFC 1122 3.2.1.3 and RFC 4291 2.5.3; any other address is seen from elsewhere."""
    assert is_loopback(host) is is_own

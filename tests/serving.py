"""A running intake page for tests: the command itself, in a folder tree that is watched."""

from __future__ import annotations

import hashlib
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[1]
_KEY = re.compile(r'name="key" value="([0-9a-f]{64})"')


@dataclass
class Served:
    """Address of a page, the tree in which it runs, and a browser's session on it."""

    url: str
    tree: Path
    said: str
    client: httpx.Client = field(repr=False)

    @property
    def desk(self) -> Path:
        """The folder that the page may write."""
        return self.tree / "desk"

    def get(self, path: str = "/") -> str:
        """Text of a page, when no check goes on any more."""
        for _ in range(240):
            answer = self.client.get(self.url + path)
            if 'class="busy" role="status"' not in answer.text:
                return answer.text
            time.sleep(0.25)
        raise AssertionError("the check did not end")

    def key(self) -> str:
        """The key that forms of this session carry."""
        found = _KEY.search(self.client.get(self.url).text)
        assert found
        return found[1]

    def drop(self, *files: tuple[str, bytes], key: str | None = None) -> httpx.Response:
        """Drop files as a browser does; the page that follows."""
        fields = {"key": self.key() if key is None else key, "takes_place": "yes"}
        parts = [("files", (name, data, "application/octet-stream")) for name, data in files]
        return self.client.post(self.url + "/files", data=fields, files=parts)

    def outside(self) -> dict[str, str]:
        """Every file of the tree outside the desk, with its sum."""
        return {
            str(p.relative_to(self.tree)): hashlib.sha256(p.read_bytes()).hexdigest()
            if p.is_file() else "folder"
            for p in sorted(self.tree.rglob("*"))
            if self.desk not in (p, *p.parents)
        }  # fmt: skip


@contextmanager
def serving(tree: Path, *options: str, token: str = "") -> Iterator[Served]:
    """Start `stanch serve` in a folder tree; end it by the signal that Ctrl-C sends."""
    (tree / "short-lived").mkdir(exist_ok=True)
    (tree / "home").mkdir(exist_ok=True)
    process = subprocess.Popen(
        [sys.executable, "-B", "-m", "pipeline.cli.app", "serve", "--port", "0",
         "--folder", str(tree / "desk"), *options],
        cwd=tree, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tree / "short-lived"),
             "HOME": str(tree / "home"), **({"STANCH_TOKEN": token} if token else {})},
        # a test run in the background is started deaf to Ctrl-C, and hands that on
        preexec_fn=_hears_ctrl_c,  # noqa: PLW1509 - nothing but one signal is set in the child
    )  # fmt: skip
    try:
        assert process.stdout is not None
        said = ""
        while "Files and answers" not in said:
            line = process.stdout.readline()
            assert line, f"the page did not start: {said}"
            said += line
        url = said[said.index("http://") :].split("/  ")[0]
        with httpx.Client(timeout=60, follow_redirects=True) as client:
            _wait_for(client, url)
            yield Served(url, tree, said, client)
    finally:
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=20)
    assert "Traceback" not in rest, rest
    assert process.returncode == 130, rest


def _hears_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _wait_for(client: httpx.Client, url: str) -> None:
    for _ in range(200):
        try:
            client.get(url)
        except httpx.TransportError:
            time.sleep(0.05)
        else:
            return
    raise AssertionError("nobody listens")


def lines_of(page: str) -> Sequence[str]:
    """The lines about dropped files: name and what became of it, tags taken away."""
    found = re.search(r'<ul class="told" role="status">(.*?)</ul>', page, re.DOTALL)
    inside = found[1] if found else ""
    return [re.sub(r"<[^>]+>", " ", li).strip() for li in inside.split("</li>") if li]

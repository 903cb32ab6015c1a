"""A Chromium of this machine without a network, and what it says while a page is open."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FLAGS = [
    "--headless", "--disable-gpu", "--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@dataclass
class Opened:
    """A page, the addresses that it asked for, and its console."""

    page: Any
    requests: list[str]
    messages: list[str]

    def close(self) -> None:
        """Close the page; nothing was asked of the outside, and the console stayed silent."""
        asked = [r for r in self.requests if not r.startswith(("data:", "blob:"))]
        self.page.context.close()
        assert len(asked) == 1, asked
        assert self.messages == []


@contextmanager
def chromium() -> Iterator[Any]:
    """A running Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield browser
        browser.close()


def opened(browser: Any, path: Path, width: int = 1440, *, link: str = "", **more: Any) -> Opened:
    """Open a map and wait until it is ready."""
    context = browser.new_context(
        viewport={"width": width, "height": 900}, offline=True, accept_downloads=True, **more
    )
    page = context.new_page()
    out = Opened(page, [], [])
    page.on("request", lambda r: out.requests.append(r.url))
    page.on("console", lambda m: out.messages.append(m.text))
    page.on("pageerror", lambda e: out.messages.append(str(e)))
    page.goto(path.as_uri() + link)
    page.wait_for_selector("body[data-ready=yes]", timeout=30000)
    return out

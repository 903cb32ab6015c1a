"""The map in a real Chromium without a network: one request, silent console, text stays text."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
FLAGS = [
    "--headless", "--disable-gpu", "--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
HOSTILE = "</script><img src=x onerror=\"document.title='run'\"> ` ${1+1} {{ 7*7 }} {% raw %}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A Chromium of this machine."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield chromium
        chromium.close()


def _open(browser: Any, path: Path, width: int = 1440) -> tuple[Any, list[str], list[str]]:
    context = browser.new_context(viewport={"width": width, "height": 900}, offline=True)
    page = context.new_page()
    requests: list[str] = []
    messages: list[str] = []
    page.on("request", lambda r: requests.append(r.url))
    page.on("console", lambda m: messages.append(m.text))
    page.on("pageerror", lambda e: messages.append(str(e)))
    page.goto(path.as_uri())
    page.wait_for_selector("body[data-ready=yes]", timeout=20000)
    return page, [r for r in requests if not r.startswith("data:")], messages


@pytest.mark.parametrize("width", [390, 1440])
def test_one_request_and_a_silent_console(browser: Any, example_run: Path, width: int) -> None:
    """The page asks for nothing but itself and says nothing on the console."""
    page, requests, messages = _open(browser, example_run / "map.html", width)
    assert len(requests) == 1
    assert messages == []
    page.context.close()


def test_filter_changes_counts_table_and_map_together(
    browser: Any, example_run: Path, table: Any
) -> None:
    """Ticking one class leaves as many openings as the table has, in count and table twin."""
    reach = table("reach")
    reach = reach[reach["opening_kind"] != "chamber end"]  # shown on demand only
    page, _, messages = _open(browser, example_run / "map.html")
    page.click("#show-twin")
    assert page.locator("#twin-body tr").count() == len(reach)
    page.check('#filter-level_class label[data-value="below"] input')
    below = int((reach["level_class"] == "below").sum())
    assert page.locator("#twin-body tr").count() == below
    assert page.inner_text("#count").startswith(f"{below} of {len(reach)}")
    assert "level_class=below" in page.url
    assert messages == []
    page.context.close()


def test_search_card_and_way(browser: Any, example_run: Path, table: Any) -> None:
    """Searching an opening that is wet through ducts opens its card and shows the way."""
    reach = table("reach")
    wet = reach[(reach["way"] == "through duct") & (reach["level_class"] == "below")]
    wet = wet[wet["opening_kind"] == "duct end"].iloc[0]
    page, _, messages = _open(browser, example_run / "map.html")
    page.fill("#find", wet["opening_id"])
    page.press("#find", "Enter")
    assert wet["opening_id"] in page.inner_text("#card h3")
    assert wet["reason"] in page.inner_text("#card")
    page.click("text=Show the water's way")
    assert page.locator(".step").count() >= 2
    page.keyboard.press("Escape")
    assert page.is_hidden("#card")
    assert messages == []
    page.context.close()


def test_survey_text_is_never_run(browser: Any, example_run: Path, tmp_path: Path) -> None:
    """A note that holds markup, a backtick and template signs is shown letter by letter.

    The note is put where the program puts it: through the same function that writes the data.
    """
    from pipeline.publish.map_data import as_json

    page_text = (example_run / "map.html").read_text("utf-8")
    start = page_text.index('<script id="data" type="application/json">') + len(
        '<script id="data" type="application/json">'
    )
    end = page_text.index("</script>", start)
    data = json.loads(page_text[start:end])
    for row in data["openings"]:
        row["note"] = HOSTILE
    for site in data["sites"]:
        site["site_name"] = HOSTILE
    path = tmp_path / "hostile.html"
    path.write_text(page_text[:start] + as_json(data) + page_text[end:], "utf-8")
    page, requests, messages = _open(browser, path)
    title = page.title()
    page.fill("#find", data["openings"][0]["opening_id"])
    page.press("#find", "Enter")
    assert HOSTILE in page.inner_text("#card")
    assert page.title() == title
    assert page.locator("#card img").count() == 0
    assert len(requests) == 1
    assert messages == []
    page.context.close()


def test_the_strip_of_a_site_shows_each_margin_of_the_table(
    browser: Any, example_run: Path, table: Any
) -> None:
    """Every opening of a site with a margin has its mark; its words quote margin and doubt."""
    reach = table("reach")
    rows = reach[(reach["site_id"] == "S01") & (reach["opening_kind"] != "chamber end")]
    rows = rows[rows["margin_mm"].notna()]
    page, _, messages = _open(browser, example_run / "map.html")
    page.locator("input[type=search]").first.fill("S01")
    page.keyboard.press("Enter")
    titles = page.locator("#card .strip title").all_text_contents()
    assert len(titles) == len(rows) > 5
    for row in rows.to_dict("records"):
        side = "lower" if row["margin_mm"] < 0 else "higher"
        (said,) = [t for t in titles if t.startswith(f"{row['opening_id']}, ")]
        assert f"{abs(round(row['margin_mm']))} mm {side}" in said
        assert f"give or take {row['limit_mm']:.0f} mm" in said
    assert messages == []
    page.context.close()

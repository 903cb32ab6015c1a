"""The map in a real Chromium without a network: one request, silent console, text stays text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.chromium import chromium, opened

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A Chromium of this machine."""
    with chromium() as running:
        yield running


def _open(browser: Any, path: Path, width: int = 1440) -> tuple[Any, list[str], list[str]]:
    was = opened(browser, path, width)
    return was.page, was.requests, was.messages


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
    assert wet["opening_id"] in page.inner_text("#card h2")
    assert wet["reason"] in page.inner_text("#card")
    page.click("text=Show the water's way")
    page.locator(".step").nth(1).wait_for(timeout=5000)
    page.keyboard.press("Escape")
    assert page.is_hidden("#card")
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

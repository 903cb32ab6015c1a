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


def test_a_sealed_end_is_no_work_to_do(browser: Any, example_run: Path, table: Any) -> None:
    """State of the table in card, filter and table twin; what is sealed is not to be sealed."""
    states = table("states").set_index("end_id")["state"]
    walls = table("reach")
    walls = set(walls[walls["opening_kind"] == "duct end"]["opening_id"])
    sealed = sorted(e for e in states.index[states == "sealed"] if e in walls)
    assert sealed
    page, _, messages = _open(browser, example_run / "map.html")
    page.fill("#find", sealed[0])
    page.press("#find", "Enter")
    card = page.inner_text("#card")
    assert "sealed: nobody has looked yet" in card
    assert "no seal to make" in card
    assert "chosen package" not in card
    page.click("summary:has-text('State')")
    page.check('#filter-state label[data-value="sealed"] input')
    page.click("#show-twin")
    rows = page.locator("#twin-body tr").all_inner_texts()
    assert sorted(r.split("\t")[0].strip() for r in rows) == sealed
    assert all("sealed" in r and "no seal to make" in r for r in rows)
    assert messages == []
    page.context.close()


def test_the_hold_and_who_releases_it_stand_in_the_short_card(
    browser: Any, example_run: Path, table: Any
) -> None:
    """Seen without opening a fold, for the first held end of the design tables."""
    held = table("designs")
    held = held[(held["hold_reach"] != "none") & held["is_needed"] & held["hold_words"].notna()]
    walls = table("reach").query("opening_kind == 'duct end'")["opening_id"]
    row = held[held["end_id"].isin(walls)].iloc[0]
    page, _, messages = _open(browser, example_run / "map.html")
    page.fill("#find", row["end_id"])
    page.press("#find", "Enter")
    cell = page.locator("#card > table td", has_text="released by").first
    assert cell.inner_text() == f"{row['hold_reach']}: {row['hold_words']}"
    assert messages == []
    page.context.close()


def test_an_open_card_follows_the_view_as_sealed(
    browser: Any, example_run: Path, table: Any
) -> None:
    """Symbol and words of its head are those of the map, also when the view changes under it."""
    chosen = table("choices")
    chosen = set(chosen[chosen["is_chosen"]]["package_id"])
    packages = table("packages")
    ends = {
        e for p, es in zip(packages["package_id"], packages["end_ids"].fillna(""), strict=True)
        if p in chosen for e in es.split(";")
    }  # fmt: skip
    designs, states = table("designs"), table("states").set_index("end_id")["state"]
    designs = designs[designs["end_id"].isin(ends) & (designs["hold_reach"] == "none")]
    made = set(table("sealed_ends")["end_id"])
    end_id = next(
        e for e in sorted(designs["end_id"])
        if e not in made and states[e] not in ("ordered", "packed")
    )  # fmt: skip
    reach = table("reach").set_index("opening_id")
    page, _, messages = _open(browser, example_run / "map.html")
    page.fill("#find", end_id)
    page.press("#find", "Enter")
    found = page.inner_html("#card h2 svg")
    assert page.inner_text("#card h2").strip() == end_id
    page.check("#as-sealed")
    assert page.inner_text("#card h2").strip() == f"{end_id}, as sealed: to be sealed"
    words = "As the chosen packages seal: to be sealed: an end of a chosen package, no hold on it."
    assert words in page.inner_text("#card")
    sealed = page.inner_html("#card h2 svg")
    assert sealed != found
    legend = page.locator("#legend svg").all()
    assert sealed in [s.inner_html() for s in legend]
    assert page.evaluate("document.activeElement.id") == "as-sealed"
    assert reach.loc[end_id, "level_class"] in page.inner_text("#card > table >> nth=0")
    page.uncheck("#as-sealed")
    assert page.inner_html("#card h2 svg") == found
    assert "As the chosen packages seal" not in page.inner_text("#card")
    assert messages == []
    page.context.close()


@pytest.mark.parametrize("typed", ["s08 b1 e1 3", "S8-B1-E1-3", "s08.b01.e01.03", "s08b1e103"])
def test_search_forgives_spaces_and_missing_zeros(
    browser: Any, example_run: Path, typed: str
) -> None:
    """The opening S08-B1-E1-03 of the example is found, ringed and named."""
    page, _, messages = _open(browser, example_run / "map.html")
    page.fill("#find", typed)
    page.press("#find", "Enter")
    assert page.inner_text("#card h2 .id") == "S08-B1-E1-03"
    assert page.inner_text(".plate.found") == "S08-B1-E1-03"
    assert messages == []
    page.context.close()


@pytest.mark.parametrize("width", [390, 1440])
def test_no_line_of_the_printed_sheet_is_cut(browser: Any, example_run: Path, width: int) -> None:
    """Near, as sealed, with a ringed opening: caution first, last line inside, pictures drawn."""
    page, _, messages = _open(browser, example_run / "map.html", width)
    page.fill("#find", "S08-B1-E1-03")
    page.press("#find", "Enter")
    page.keyboard.press("Escape")
    page.check("#as-sealed")
    page.click("#print")
    first = page.locator("#sheet p").first.inner_text()
    assert first.startswith("Local codes, permits and the owner's rules decide.")
    assert "Ringed and named: S08-B1-E1-03" in page.inner_text("#sheet")
    page.emulate_media(media="print")
    box = page.locator("#sheet").bounding_box()
    last = page.locator("#sheet > *").last.bounding_box()
    assert last["y"] + last["height"] <= box["y"] + box["height"]
    page.emulate_media(media="screen")
    tints = page.evaluate(
        "() => { const c = document.querySelector('canvas.pictures'), x = c.getContext('2d');"
        " const d = x.getImageData(0, 0, c.width, c.height).data, seen = new Set();"
        " for (let i = 0; i < d.length; i += 400) seen.add(d.slice(i, i + 4).join());"
        " return seen.size; }"
    )
    assert tints > 2  # ground and at least two depths
    bar = page.locator("#leave-paper").bounding_box()
    assert bar["x"] + bar["width"] <= width
    assert messages == []
    page.context.close()


def test_on_a_small_screen_the_card_leaves_search_and_zoom_free(
    browser: Any, example_run: Path
) -> None:
    """The card ends below the search; its close button stays in view while it is scrolled."""
    page, _, messages = _open(browser, example_run / "map.html", 390)
    page.fill("#find", "S08-B1-E1-03")
    page.press("#find", "Enter")
    card, find = page.locator("#card").bounding_box(), page.locator("#find").bounding_box()
    zoom = page.locator(".leaflet-control-zoom").bounding_box()
    assert max(b["y"] + b["height"] for b in (find, zoom)) <= card["y"]
    page.evaluate("document.getElementById('card').scrollTop = 1000")
    close = page.locator("#card .close").bounding_box()
    assert card["y"] <= close["y"] <= card["y"] + 20
    assert messages == []
    page.context.close()

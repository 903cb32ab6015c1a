"""The map with invented tables of any size: weight, views, table twin, paper, keys, hostile text."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pypdf
import pytest

from pipeline.core.errors import UsageError
from pipeline.publish.map_page import write_map
from tests.browser.chromium import chromium, opened
from tests.browser.many import many_tables, settings
from tests.hostile_texts import HOSTILE

pytestmark = pytest.mark.browser
SIZES = (390, 1440)
# 30 texts: markup, script, template signs of several languages, quotes, escapes, direction marks,
# control characters, formulas, very long ones. The last are ours: an id that ends an element.


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A Chromium of this machine."""
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def tables() -> Any:
    """A programme of 1,400 openings, half of them in chambers."""
    return many_tables(1400)


@pytest.fixture(scope="module")
def path(tables: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its map."""
    out: Path = tmp_path_factory.mktemp("many") / "map.html"
    write_map(out, tables, settings(), run_id="test")
    return out


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A map of 400 openings whose survey texts are all hostile."""
    out: Path = tmp_path_factory.mktemp("hostile") / "map.html"
    write_map(out, many_tables(400, HOSTILE), settings(), run_id="</script><b>")
    return out


def _walls(tables: Any) -> Any:
    reach = tables["reach"]
    return reach[reach["opening_kind"] != "chamber end"]


@pytest.mark.slow
def test_50000_openings_stay_light_and_quick(browser: Any, tmp_path: Path) -> None:
    """At most 2.5 MB for 50,000 openings; all are counted, and it can be moved (speed: bench_map.py)."""
    out = tmp_path / "map.html"
    write_map(out, many_tables(50_000), settings(), run_id="test")
    assert out.stat().st_size <= 2_500_000
    was = opened(browser, out)
    assert was.page.evaluate("S.openings.length") == 50_000
    moved = was.page.evaluate(
        "() => { const was = S.map.getCenter(); S.map.setView(S.sites[9].at, 17, {animate: false});"
        " S.map.panBy([40, 10], {animate: false}); return S.map.getCenter().distanceTo(was); }"
    )
    assert moved > 0
    was.close()


def test_the_page_unpacks_what_the_tables_hold(browser: Any, path: Path, tables: Any) -> None:
    """Every opening reads back, text by text and millimetre by millimetre, as in the table."""
    was = opened(browser, path)
    names = ("reason", "way_words", "way_places", "level_class", "entry_id", "region")
    levels = ("opening_level_m", "let_in_level_m", "policy_level_m", "margin_mm", "limit_mm")
    read = was.page.evaluate(
        "names => S.openings.map(o => [o.opening_id, names.map(n => o[n])])", [*names, *levels]
    )
    assert len(read) == len(tables["reach"])
    by_id = dict(read)
    for row in tables["reach"].to_dict("records"):
        got = by_id[row["opening_id"]]
        assert got[: len(names)] == [row[n] if isinstance(row[n], str) else "" for n in names]
        for name, value in zip(levels, got[len(names) :], strict=True):
            wanted = row[name]
            if pd.isna(wanted):
                assert value is None, (row["opening_id"], name)
            else:
                assert value == pytest.approx(wanted, abs=1e-9), (row["opening_id"], name)
    was.close()


@pytest.mark.parametrize("width", SIZES)
def test_search_card_way_paper_table(
    browser: Any, path: Path, tables: Any, tmp_path: Path, width: int
) -> None:
    """From a search to the card, the way step by step, the printed sheet and the table twin."""
    row = _walls(tables).query("level_class == 'below'").iloc[3]
    was = opened(browser, path, width)
    page = was.page
    page.fill("#find", row["opening_id"].lower())
    page.press("#find", "Enter")
    assert row["opening_id"] in page.inner_text("#card h2")
    assert row["reason"] in page.inner_text("#card")
    page.click("text=Show the water's way")
    steps = row["way_words"].split(" -> ")
    assert f"Step 1 of {len(steps)}: {steps[0]}" in page.inner_text("#card .said")
    page.locator(".step").nth(1).wait_for(timeout=5000)
    page.click("text=← step back")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert steps[-1] in page.inner_text("#card .said")
    page.keyboard.press("Escape")
    assert page.is_hidden("#card")
    assert page.locator(".step").count() == 0
    page.click("#print")
    page.emulate_media(media="print")
    assert page.is_hidden("#side")
    sheet = page.inner_text("#sheet")
    for words in ("Run test", "planned", "Flood sources", "North is up", "about 1 :", "Levels on"):
        assert words in sheet
    for size, wide_pt in (("A4", 842), ("A3", 1191)):
        page.emulate_media(media="null")
        page.select_option("#paper-size", size)
        page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
        (leaf,) = pypdf.PdfReader(tmp_path / "sheet.pdf").pages
        assert round(float(leaf.mediabox.width)) == pytest.approx(wide_pt, abs=1)
    page.keyboard.press("Escape")
    page.click("#show-twin")
    assert page.locator("#twin-body tr").count() == len(_walls(tables))
    page.keyboard.press("Escape")
    assert page.is_hidden("#twin")
    was.close()


def test_a_filter_changes_counts_table_and_map_together(
    browser: Any, path: Path, tables: Any
) -> None:
    """Class and class of site together leave what the tables have, and the link brings it back."""
    was = opened(browser, path)
    page = was.page
    critical = tables["sites"].set_index("site_id")["critical_class"]
    walls = _walls(tables)
    wanted = walls[(walls["level_class"] == "above")
                   & (walls["site_id"].map(critical) == "vital")]  # fmt: skip
    page.click("#show-twin")
    page.check('#filter-level_class label[data-value="above"] input')
    page.click("summary:has-text('Class of site')")
    page.check('#filter-critical_class label[data-value="vital"] input')
    assert page.inner_text("#count").startswith(f"{len(wanted)} of {len(walls)}")
    assert page.locator("#twin-body tr").count() == len(wanted)
    drawn = "[...S.shownBySite.keys()].sort()"
    assert page.evaluate(drawn) == sorted(set(wanted["site_id"]))
    beside = page.locator('#filter-level_class label[data-value="below"] .count').inner_text()
    others = walls[(walls["level_class"] == "below") & (walls["site_id"].map(critical) == "vital")]
    assert beside == str(len(others))
    link = page.url[page.url.index("#") :]
    was.close()
    again = opened(browser, path, link=link)
    assert again.page.inner_text("#count").startswith(f"{len(wanted)} of {len(walls)}")
    again.close()


def test_the_chosen_chance_never_dries_what_is_not_known(
    browser: Any, path: Path, tables: Any
) -> None:
    """Water comes in where the table's chance says so; unknown and beyond the models stay unknown.

    Worked from the words of the table: 'rarer than c' says nothing of events rarer than c.
    """
    was = opened(browser, path)
    page = was.page
    page.select_option("#event", "0.005")
    got = dict(page.evaluate("S.openings.map(o => [o.opening_id, S.shownAs(o)])"))
    for row in tables["reach"].to_dict("records"):
        chance, bound, cls = row["onset_chance_per_year"], row["onset_bound"], row["level_class"]
        if pd.isna(chance) or cls in ("no level", "no flood level"):
            wanted = {"not known"}
        elif bound == "rarer than":
            wanted = (
                {"less often"} if chance < 0.00499 and cls != "too close to call" else {"not known"}
            )
        elif chance >= 0.005:
            wanted = {"comes in"}
        else:
            wanted = {"not known"} if cls == "too close to call" else {"less often", "comes in"}
        assert got[row["opening_id"]] in wanted, row
    assert {"comes in", "less often", "not known"} <= set(got.values())
    page.check("#as-sealed")
    shown = dict(page.evaluate("S.openings.map(o => [o.opening_id, S.shownAs(o)])"))
    chosen = set(tables["choices"].query("is_chosen == True")["package_id"])
    packages = tables["packages"][tables["packages"]["package_id"].isin(chosen)]
    made = set(tables["sealed_ends"]["end_id"])
    ends = {e for ends in packages["end_ids"] for e in ends.split(";") if e} - made
    free = set(tables["designs"].query("hold_reach == 'none'")["end_id"])
    for said, wanted in (
        ("to be sealed", ends & free),
        ("held", ends - free),
        ("sealed, not accepted", made),
    ):
        assert wanted
        assert {o for o, s in shown.items() if s == said} == wanted
        line = page.locator("#class-told .counted", has_text=said.replace("held", "sealed, held"))
        assert line.first.locator(".count").inner_text() == f"{len(wanted)}"
    assert "as found" in page.inner_text("#class-told")
    was.close()


def test_the_closing_line_of_a_building_is_ringed(browser: Any, path: Path, tables: Any) -> None:
    """The ends of the table closing_lines are ringed and named, with both costs in words."""
    line = tables["closing_lines"].iloc[2]
    was = opened(browser, path)
    page = was.page
    page.fill("#find", line["place_id"])
    page.press("#find", "Enter")
    card = page.inner_text("#card")
    assert (
        f"{line['cost_minor'] / 100:,.2f} GBP" in card
        or f"{line['cost_minor'] // 100:,} GBP" in card
    )
    page.click("text=Show the closing line")
    assert page.evaluate("[...S.highlight].sort()") == sorted(line["end_ids"].split(";"))
    was.close()


def test_search_finds_old_numbers_grid_references_and_places(
    browser: Any, path: Path, tables: Any
) -> None:
    """An old number, a grid reference with other spaces, and latitude, longitude are found."""
    was = opened(browser, path)
    page = was.page
    chamber, site = tables["chambers"].iloc[5], tables["sites"].iloc[7]
    for typed, found in ((chamber["other_numbers"].lower(), chamber["chamber_id"]),
                         (site["grid_ref"].replace(" ", ""), site["site_id"]),
                         (site["site_name"], site["site_id"])):  # fmt: skip
        page.fill("#find", typed)
        page.press("#find", "Enter")
        assert page.inner_text("#card h2 .id") == found
        page.keyboard.press("Escape")
    lat, lon = page.evaluate("S.sites[3].at")
    page.fill("#find", f"{lat:.5f}, {lon:.5f}")
    page.press("#find", "Enter")
    middle = page.evaluate("[S.map.getCenter().lat, S.map.getCenter().lng]")
    assert middle == pytest.approx([lat, lon], abs=2e-5)
    was.close()


def test_the_table_twin_sorts_and_its_file_is_harmless(browser: Any, hostile: Path) -> None:
    """Unknown margins stand last both ways; no cell of the download begins a formula."""
    was = opened(browser, hostile)
    page = was.page
    page.click("#show-twin")
    heads = page.locator("#twin-head th").all_inner_texts()
    (at,) = (i for i, head in enumerate(heads) if head.startswith("Margin"))
    column = (
        f"[...document.querySelectorAll('#twin-body tr')].map(r => r.children[{at}].textContent)"
    )
    for turn in (1, -1):
        values = page.evaluate(column)
        known = [float(v) * turn for v in values if v]
        assert known == sorted(known)
        assert values[len(known) :] == [""] * (len(values) - len(known))
        page.click("#twin-head button:has-text('Margin')")
    with page.expect_download() as saved:
        page.click("#download")
    text = Path(saved.value.path()).read_text("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert len(rows) == len(_walls(many_tables(400))) + 1
    numbers = {i for i, name in enumerate(rows[0]) if name.endswith(")")}
    for row in rows[1:]:
        for i, value in enumerate(row):
            assert i in numbers or not value.lstrip().startswith(("=", "+", "-", "@")), value
    was.close()


def test_hostile_text_is_shown_letter_by_letter(browser: Any, hostile: Path) -> None:
    """Thirty texts in names, notes, old numbers and reasons are shown as they are, never run."""
    assert len(HOSTILE) == 30
    was = opened(browser, hostile)
    page = was.page
    title, seen = page.title(), set()
    for kind, show in (
        ("sites", "showSite"),
        ("openings", "showOpening"),
        ("chambers", "showChamber"),
    ):
        texts = page.evaluate(
            f"() => S.{kind}.slice(0, 120).map(o => {{ S.{show}(o);"
            " document.querySelectorAll('#card details').forEach(d => {{ d.open = true; }});"
            " return document.getElementById('card').textContent; })".replace("{{", "{").replace(
                "}}", "}"
            )
        )
        seen |= {h for h in HOSTILE if any(h in t for t in texts)}
    page.evaluate("S.closeCard()")
    page.click("#show-twin")
    assert seen == set(HOSTILE)
    assert (
        page.locator("#card img, #twin img, #card iframe, #twin iframe, #card script").count() == 0
    )
    assert page.locator("b:has-text('bold')").count() == 0
    assert page.title() == title
    was.close()


@pytest.mark.parametrize("width", [SIZES[0], pytest.param(SIZES[1], marks=pytest.mark.slow)])
def test_no_serious_fault_of_access(browser: Any, path: Path, width: int) -> None:
    """axe finds nothing serious or critical with 700 rows, a card and every fold open.

    The rules are those of axe-core as packed in axe_playwright_python (WCAG 2). All rows are
    loaded; of these, all alike, the first thirty are looked at.
    """
    import axe_playwright_python

    axe = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text("utf-8")
    was = opened(browser, path, width, bypass_csp=True)
    page = was.page
    page.click("#show-twin")
    assert page.locator("#twin-body tr").count() == 700
    page.evaluate("S.goTo(S.openings[0]); S.showOpening(S.openings[0])")
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    page.evaluate(axe)
    result = page.evaluate(
        "axe.run({exclude: ['#twin-body tr:nth-child(n+31)']}, {resultTypes: ['violations']})"
    )
    serious = [
        (v["id"], v["nodes"][0]["html"][:200])
        for v in result["violations"]
        if v["impact"] in ("serious", "critical")
    ]
    assert serious == [], json.dumps(serious, indent=1)
    was.close()


def test_keys_alone_reach_everything(browser: Any, path: Path) -> None:
    """Tab walks from search to buttons; arrows walk the hits; Esc closes and gives the focus back."""
    was = opened(browser, path)
    page = was.page
    page.focus("#find")
    page.keyboard.type("T0001-B1")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.is_visible("#card")
    assert page.evaluate("document.activeElement.className") == "close"
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.closest('#found') !== null")
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id"))
    assert {"show-twin", "whole", "own", "print", "with-chambers", "event", "as-sealed"} <= reached
    page.focus(".folium-map")
    before = page.evaluate("S.map.getCenter().lng")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(600)
    assert page.evaluate("S.map.getCenter().lng") > before
    was.close()


def test_own_position_works_without_a_network(browser: Any, path: Path) -> None:
    """The device's position is marked with its doubt, and said to stay on the device."""
    was = opened(browser, path, 390, permissions=["geolocation"],
                 geolocation={"latitude": 55.7, "longitude": -0.4, "accuracy": 12})  # fmt: skip
    was.page.click("#own")
    was.page.wait_for_selector("text=You are here, to about 12 m", timeout=5000)
    assert was.page.evaluate("S.map.getCenter().lat") == pytest.approx(55.7, abs=1e-3)
    was.close()


def test_same_tables_same_bytes_and_no_outside_address(path: Path, tables: Any) -> None:
    """Written twice the map is the same, and it names no address to fetch from."""
    again = path.with_name("again.html")
    write_map(again, tables, settings(), run_id="test")
    assert again.read_bytes() == path.read_bytes()
    policy = path.read_text("utf-8").split('Content-Security-Policy" content="')[1].split('"')[0]
    assert "http" not in policy
    assert "connect-src 'none'" in policy


def test_tiles_only_when_asked_and_with_a_warning(tmp_path: Path) -> None:
    """A tile address adds its one host to the policy and a warning to the page; no other host."""
    asked = settings()
    asked = asked.model_copy(
        update={"export": asked.export.model_copy(
            update={"tiles": "https://tiles.invalid/{z}/{x}/{y}.png"})}
    )  # fmt: skip
    out = tmp_path / "map.html"
    write_map(out, many_tables(40), asked, run_id="test")
    text = out.read_text("utf-8")
    assert "img-src data: https://tiles.invalid;" in text
    assert "learn which places are looked at" in text
    wrong = asked.model_copy(
        update={"export": asked.export.model_copy(update={"tiles": "http://x/{z}"})}
    )
    with pytest.raises(UsageError, match="tiles"):
        write_map(out, many_tables(40), wrong, run_id="test")

"""The intake page in a real Chromium: drop, count, ask, answer, fewer questions, open the map."""

from __future__ import annotations

import io
import json
import shutil
import threading
import time
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.serving import Served, serving

pytestmark = pytest.mark.browser
FLAGS = [
    "--headless", "--disable-gpu", "--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
HOSTILE = [
    "</script><img src=x onerror=\"document.title='run'\">", "<b>bold</b>", "{{ 7*7 }} ${1+1} `x`",
    "\u202eright to left", "x" * 10_000, "\U0001f4a7 \"quoted\" 'single' & <!-- no -->",
    '"><input name=key value=x>', "javascript:alert(1)", '=HYPERLINK("http://x")', "]]>&amp;&lt;",
]  # fmt: skip
POLICY = "default-src 'none'; script-src 'sha256-AAAA'; base-uri 'none'; form-action 'none'"
MAP = (
    f'<!DOCTYPE html><html><head><meta charset="utf-8">\n'
    f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
    "<title>Map</title></head><body><h1>Map of run {}</h1>"
    "<script>document.title='run'</script></body></html>"
)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """An intake page beside two finished runs and a folder that only looks like one."""
    tree = tmp_path_factory.mktemp("intake-page")
    for number in (2, 10):
        run = tree / "outputs" / "north" / f"run-{number:03d}"
        run.mkdir(parents=True)
        record = {"run_id": f"abcdef{number:02d}", "planning_date": "2026-03-02"}
        (run / "run.json").write_text(json.dumps(record))
        (run / "map.html").write_text(MAP.replace("{}", str(number)))
    bare = tree / "outputs" / "north" / "run-011"
    bare.mkdir()
    (bare / "map.html").write_text(MAP)
    (tree / "outputs" / "south").symlink_to(tree / "outputs" / "north")
    with serving(tree) as page:
        yield page


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A Chromium of this machine."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield chromium
        chromium.close()


class Seen:
    """A page with what it asked for and what it said on the console."""

    def __init__(self, browser: Any, served: Served) -> None:
        self.page = browser.new_context(
            viewport={"width": 1200, "height": 900}, accept_downloads=True
        ).new_page()
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.page.on("console", lambda m: self.said.append(m.text))
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.url = served.url
        self.page.goto(served.url)

    def ready(self) -> None:
        """Wait until no check goes on any more."""
        self.page.wait_for_selector("main:not(:has(.busy[role=status]))", timeout=60_000)

    def close(self) -> None:
        """Nothing was asked of anybody else, and nothing said."""
        assert [u for u in self.asked if not u.startswith((self.url, "data:"))] == []
        assert self.said == []
        self.page.context.close()


def survey(path: Path, chambers: list[list[Any]], head: list[str] | None = None) -> Path:
    """A workbook of chambers and sites."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    sites = book.create_sheet("sites")
    sites.append(["site_id", "region", "name"])
    sites.append(["S1", "North", "Works road"])
    page = book.create_sheet("chambers")
    page.append(head or ["chamber_id", "site_id", "depth_m"])
    for row in chambers:
        page.append(row)
    for sheet in book.worksheets:
        for line in sheet.iter_rows():
            for cell in line:
                if cell.data_type == "f":
                    cell.data_type = "s"
    book.save(path)
    return path


def test_drop_count_answer_fewer_questions(browser: Any, served: Served, tmp_path: Path) -> None:
    """The whole way of a surveyor, by mouse and keyboard; the download is the same list."""
    before = served.outside()
    seen = Seen(browser, served)
    page = seen.page
    file = survey(tmp_path / "first north.xlsx", [["C1", "S1", "deep"], ["C2", "S1", 1.4]])
    page.set_input_files("#files", [str(file), __file__])
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Read these files").press("Enter")
    seen.ready()
    assert "Refused. .py is a kind that is not read." in page.inner_text(".told .no")
    rows = page.locator(".counts tbody.group tr", has=page.locator("th", has_text="chambers"))
    assert rows.first.locator("td").all_inner_texts()[0] == "2"
    page.get_by_role("link", name="questions").filter(has_text="Answer").click()
    asked = page.locator(".line").count()
    assert asked > 1
    mine = page.locator(".line", has_text="deep").first
    assert mine.locator("xpath=preceding-sibling::h2").inner_text() == "C1"
    mine.get_by_label("Answer").fill("1.25")
    page.fill("#by_whom", "Jo Brenn")
    page.fill("#on", "2026-02-11")
    page.get_by_role("button", name="Send the answers").click()
    seen.ready()
    left = page.locator(".line").count()
    assert left < asked
    assert f"{asked} questions before, {left} now." in page.inner_text(".told")
    assert page.input_value("#by_whom") == "Jo Brenn"
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the list").click()
    listed = openpyxl.load_workbook(io.BytesIO(Path(download.value.path()).read_bytes()))
    cells = {str(c.value) for sheet in listed.worksheets for row in sheet.iter_rows() for c in row}
    assert "deep" not in cells
    page.get_by_role("link", name="Answers").click()
    told = page.inner_text("tbody")
    assert all(text in told for text in ("C1", "1.25", "Jo Brenn", "2026-02-11", "value"))
    page.get_by_role("button", name="Take back").click()
    seen.ready()
    page.goto(served.url + "/questions")
    assert page.locator(".line").count() == asked
    page.goto(served.url)
    page.get_by_role("button", name="Remove first north.xlsx").click()
    assert page.locator(".counts").count() == 0
    assert served.outside() == before
    seen.close()


def test_hostile_texts_are_shown_as_text(browser: Any, served: Served, tmp_path: Path) -> None:
    """Ids, values, answers and names of a survey are text on every page; nothing runs or spills."""
    seen = Seen(browser, served)
    page = seen.page
    rows = [[f"C{n} {text}", "S9", text] for n, text in enumerate(HOSTILE)]
    page.set_input_files("#files", [str(survey(tmp_path / "hostile.xlsx", rows))])
    page.get_by_role("button", name="Read these files").click()
    seen.ready()
    page.goto(served.url + "/questions")
    shown = page.inner_text("main")
    for text in HOSTILE:
        assert text.removeprefix("\u202e")[:200] in shown
    box = page.get_by_label("Answer", exact=True).first
    box.fill(HOSTILE[0])
    page.fill("#by_whom", HOSTILE[1])
    page.fill("#on", "2026-02-11")
    page.get_by_role("button", name="Send the answers").click()
    seen.ready()
    page.goto(served.url + "/answers")
    assert HOSTILE[0] in page.inner_text("tbody")
    assert HOSTILE[1] in page.inner_text("tbody")
    for width, path in product((390, 1440), ("/", "/questions", "/answers")):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(served.url + path)
        assert page.locator("img, script, main b b, input[value=x]").count() == 0
        assert page.title() != "run"
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, (width, path)
    page.goto(served.url + "/answers")
    page.get_by_role("button", name="Take back").first.click()
    page.goto(served.url)
    page.get_by_role("button", name="Remove hostile.xlsx").click()
    seen.close()


def test_a_manager_opens_the_latest_map(browser: Any, served: Served) -> None:
    """Run 10 comes before run 2; its own content policy holds; links and half runs are not shown."""
    seen = Seen(browser, served)
    page = seen.page
    page.get_by_role("link", name="Maps").click()
    assert page.locator("tbody th").all_inner_texts() == ["run-010", "run-002"]
    assert page.locator("h2").all_inner_texts() == ["Programme north"]
    page.get_by_role("link", name="Open the latest map").click()
    assert page.inner_text("h1") == "Map of run 10"
    assert page.title() == "Map"  # its script has another sum than the policy names
    assert seen.said
    assert all("Content Security Policy" in text for text in seen.said)
    seen.said.clear()
    answer = served.client.get(served.url + "/maps/north/run-010")
    assert answer.headers["content-security-policy"] == f"{POLICY}; frame-ancestors 'none'"
    assert served.client.get(served.url + "/maps/south/run-010").status_code == 404
    assert served.client.get(served.url + "/maps/north/run-011").status_code == 404
    seen.close()


def test_a_map_without_a_policy_of_its_own_is_not_served(served: Served) -> None:
    """What this program did not write might run anything."""
    path = served.tree / "outputs" / "north" / "run-002" / "map.html"
    path.write_text("<script>alert(1)</script>")
    answer = served.client.get(served.url + "/maps/north/run-002")
    assert answer.status_code == 409
    assert "alert(1)" not in answer.text


def test_keyboard_names_and_contrast(browser: Any, served: Served, tmp_path: Path) -> None:
    """axe-core (Deque, WCAG 2.1 A and AA) finds no fault on any page."""
    from axe_playwright_python.sync_playwright import Axe

    rows: list[list[Any]] = [["C1", "S1", "deep"], ["C2", "S1", 1.4]]
    served.drop(("axe.xlsx", survey(tmp_path / "axe.xlsx", rows).read_bytes()))
    served.get()
    context = browser.new_context(bypass_csp=True)  # the checker is itself a script
    page = context.new_page()
    for path in ("/", "/questions", "/answers", "/maps", "/none"):
        page.goto(served.url + path)
        found = Axe().run(page).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:200]) for v in found] == [], path
    context.close()


def test_the_page_answers_while_a_check_goes_on(served: Served) -> None:
    """1,500 rows are checked beside: meanwhile a page comes at once, and says what goes on."""
    rows = "".join(f"D{n},C{n % 500},chamber,x{n}\n" for n in range(1_500))
    text = "end_id,place_id,place_kind,bore_mm\n" + rows
    dropping = threading.Thread(target=lambda: served.drop(("ducts.csv", text.encode())))
    dropping.start()
    slowest_s, is_seen = 0.0, False
    while dropping.is_alive():
        begun = time.perf_counter()
        page = served.client.get(served.url).text
        slowest_s = max(slowest_s, time.perf_counter() - begun)
        is_seen |= 'class="busy" role="status"' in page
    dropping.join()
    assert is_seen
    assert slowest_s < 1.5
    assert "1,500" in served.get()

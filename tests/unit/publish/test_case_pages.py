"""cases.pdf and the crews' calendars: read back by other libraries and compared with the tables."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from icalendar import Calendar
from pypdf import PdfReader

from pipeline.core import settings_file
from pipeline.core.buying import load as load_buying
from pipeline.core.materials import load as load_materials
from pipeline.core.settings import Settings
from pipeline.programme import programme
from pipeline.publish.case_facts import site_cases
from pipeline.publish.case_pages import ABREAST, write_cases
from pipeline.publish.crew_calendar import write_crew_calendars
from pipeline.tables import Tables, blank, hand_over
from tests.unit.programme.conftest import Town

_ROOT = Path(__file__).parents[3]
_HOSTILE = '<b>=cmd|"x"</b> & \u0416\u200b'


@pytest.fixture(scope="module")
def settings() -> Settings:
    """The settings of the clean sample."""
    return settings_file.load(_ROOT / "configs" / "clean.toml")


@pytest.fixture(scope="module")
def tables(settings: Settings) -> Tables:
    """A town of three sites; the first has more buildings than a page shows side by side."""
    town = Town()
    for site, count, name in (
        ("S1", ABREAST + 1, "Long Row"),
        ("S2", 1, _HOSTILE),
        ("S3", 2, None),
    ):
        town.site(site, site_name=name, customers_count=4000)
        for b in range(count):
            building = f"{site}-B{b}"
            town.building(building, site)
            town.opening(f"{building}-1", building, level_m=20.2, chances={"river": 0.05})
            for kind, level in (("vent", 20.9), ("door", 21.0)):
                town.opening(
                    f"{building}/{kind}", building, level_m=level, chances={"river": 0.002},
                    kind=kind, level_class="above",
                )  # fmt: skip
            town.flood(building, 0.01, None, ground_m=21.0)
    out = town.tables()
    made = programme(
        out,
        settings,
        materials=load_materials(settings.design.materials),
        buying=load_buying(settings),
    )
    others = {n: blank(n) for n in ("findings", "filling")}
    return {**out, **others, **hand_over("programme", made)}


def _pages(path: Path) -> list[str]:
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


def test_one_page_per_site(tables: Tables, settings: Settings, tmp_path: Path) -> None:
    """Every site has its page; one with more buildings than fit side by side has a second."""
    count = write_cases(tmp_path / "c.pdf", tables, settings, run_id="r1")
    pages = _pages(tmp_path / "c.pdf")
    assert len(pages) == count == 4
    for site, times in (("S1", 2), ("S2", 1), ("S3", 1)):
        assert sum(p.startswith(site) for p in pages) == times
    for building in tables["buildings"]["building_id"]:
        assert sum(f"{building}/1" in p for p in pages) == 1
    assert all(
        w in p
        for p in pages
        for w in ("What floods", "What is lost", "Options", "what stays", "Agreed", "Run r1")
    )


def test_figures_are_those_of_the_tables(
    tables: Tables, settings: Settings, tmp_path: Path
) -> None:
    """Cost, loss, chance and level on the page of S2 are the cells that the page names."""
    write_cases(tmp_path / "c.pdf", tables, settings, run_id="r1")
    (page,) = [p for p in _pages(tmp_path / "c.pdf") if p.startswith("S2")]
    row = tables["packages"].set_index("package_id").loc["S2-B0/1"]
    for name in (
        "loss_once_minor", "loss_before_minor_per_year", "pv_avoided_minor", "cost_minor",
    ):  # fmt: skip
        assert f"{round(row[name] / 100):,}" in page
        assert name in page.replace(" ", "")
    assert f"{row['before_level_m']:.3f} m" in page
    assert "5.00% (1 in 20)" in page
    assert f"{row['ratio']:,.1f} times the cost" in page
    low, high = row["avoided_low_minor_per_year"], row["avoided_high_minor_per_year"]
    assert f"{round(low / 100):,} / " in page
    assert f"{round(high / 100):,} GBP" in page


def test_hostile_text_is_shown_as_text(tables: Tables, settings: Settings, tmp_path: Path) -> None:
    """Mark-up is not obeyed; a sign that the font lacks is told by its number and not lost."""
    write_cases(tmp_path / "c.pdf", tables, settings, run_id="r1")
    text = " ".join(_pages(tmp_path / "c.pdf"))
    assert '<b>=cmd|"x"</b> & [U+0416]' in text


def test_same_bytes(tables: Tables, settings: Settings, tmp_path: Path) -> None:
    """Two writes give the same file, PDF and calendars alike."""
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_cases(tmp_path / name / "c.pdf", tables, settings, run_id="r1")
        write_crew_calendars(tmp_path / name, tables, settings, run_id="r1")
    files = sorted(p.name for p in (tmp_path / "a").iterdir())
    assert files == ["c.pdf", "crew_days_North.ics"]
    for file in files:
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_calendar_holds_every_crew_day(tables: Tables, settings: Settings, tmp_path: Path) -> None:
    """Read back: the same days, sites and ends as the table, one identifier each, no clock."""
    (path,) = write_crew_calendars(tmp_path, tables, settings, run_id="r1")
    calendar = Calendar.from_ical(path.read_bytes())
    events: list[Any] = list(calendar.walk("VEVENT"))
    days = tables["crew_days"].to_dict("records")
    assert len(events) == len(days) > 2
    assert len({str(e["uid"]) for e in events}) == len(events)
    told = {(e["dtstart"].dt.isoformat(), str(e["location"]).split()[0]): e for e in events}
    for row in days:
        event = told[row["work_date"], row["site_id"]]
        assert event["dtend"].dt - event["dtstart"].dt == dt.timedelta(days=1)
        assert event["dtstamp"].dt.date() == settings.planning_date
        text = str(event["description"])
        ends = re.search(r"walking order: (.*)", text)
        assert ends is not None
        assert ends.group(1).split(", ") == row["end_ids"].split(";")
        assert f"STOP: {row['stop_words']}." in text
    for line in path.read_bytes().split(b"\r\n"):
        assert len(line) <= 75  # RFC 5545, 3.1: lines are folded at 75 octets


def test_unknown_is_not_printed_as_nothing(settings: Settings) -> None:
    """No chance known: the case says 'not known' of loss, gain and line, and no amount of 0."""
    town = Town()
    town.site("S1", customers_count=4000)
    town.building("B1", "S1")
    town.opening("B1-1", "B1", level_m=None, chances={}, hold="design", level_class="no level")
    out = town.tables()
    made = programme(
        out,
        settings,
        materials=load_materials(settings.design.materials),
        buying=load_buying(settings),
    )
    full = out | hand_over("programme", made)
    line = {"kind": "building", "place_id": "B1", "site_id": "S1", "ends_count": 0, "cost_minor": 0,
            "cannot_close": "B1-1: held", "end_ids": None, "method": "nothing to close"}  # fmt: skip
    full["closing_lines"] = pd.DataFrame([line])
    for name in ("findings", "filling"):
        full.setdefault(name, blank(name))
    (case,) = site_cases(full, settings)
    told = {f.label: f.texts[0] for f in case.facts}
    assert told["Expected loss a year if nothing is done"] == "not known"
    assert told["Seal, step 1"].endswith(": not known")
    assert told["Loss avoided a year, low / central / high"] == "not known"
    assert told["Cheapest closing line"].startswith("not known")
    assert "0 GBP" not in {t.split(": ")[-1] for t in told.values()}

"""Checks of photo files against their rows: names, places and days."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from typing import Any, Final

import pandas as pd

from pipeline.core.findings import Cell, make
from pipeline.core.geo import to_working
from pipeline.core.photo_files import Photo
from pipeline.intake.checks.view import Check, Hit, Survey, by
from pipeline.intake.context import Checked

_NAMED: Final = 8
_FAR_M: Final = 100.0  # house rule: beyond what a phone in a street canyon errs
_NEXT_DAY: Final = dt.timedelta(days=1)  # house rule: clocks on another zone, visits past midnight
_WGS84: Final = "EPSG:4326"
_ROUGH_M: Final = 20.0  # accuracy of a shift that is good enough for `_FAR_M`
_PLACES: Final = (("chambers", "chamber_id"), ("buildings", "building_id"), ("sites", "site_id"))


def check_photo_named(view: Survey) -> Iterator[Checked]:
    """visit-02: a photo that is named on a row, and not on the sheet of photos."""
    known = set(view.frame("photos")["photo_id"].dropna())
    if not known:
        return  # without that sheet no photo was sent at all: nothing is lost by a wrong name
    frame = view.frame("ends")
    lost = view.hits("ends", frame["photo_id"].notna() & ~frame["photo_id"].isin(known))
    for group in by(lost, lambda h: (h.row["file"], h.row["photo_id"])):
        yield from view.say("visit-02", group, "photo_id", fill={"file": group[0].row["photo_id"]})


def check_photo_files(view: Survey) -> Iterator[Checked]:
    """visit-02 and visit-03: photo files against the sheet of photos, where files were sent."""
    sent = {photo.name.casefold(): photo.name for photo in view.context.photos}
    if not sent:
        return
    frame = view.frame("photos")
    named = frame["file_name"].fillna("").str.casefold()
    for hit in view.hits("photos", (named != "") & ~named.isin(sent)):
        yield from view.say("visit-02", [hit], "file_name", fill={"file": hit.row["file_name"]})
    left = [name for low, name in sorted(sent.items()) if low not in set(named)]
    if left:
        shown = ", ".join(left[:_NAMED]) + (" ..." if len(left) > _NAMED else "")
        yield Checked(make("visit-03", Cell(sheet="photos"), key="photos/",
                           fill={"n": len(left), "list": shown}))  # fmt: skip


def _rows_with_files(view: Survey) -> Iterator[tuple[Hit, Photo]]:
    sent = {photo.name.casefold(): photo for photo in view.context.photos}
    frame = view.frame("photos")
    for hit in view.hits("photos", frame["file_name"].notna() & frame["place_id"].notna()):
        photo = sent.get(str(hit.row["file_name"]).casefold())
        if photo is not None:
            yield hit, photo


def check_photo_day(view: Survey) -> Iterator[Checked]:
    """visit-10: a photo of another day than any visit of its site."""
    visits = view.frame("visits")
    days: dict[str, list[Any]] = {}
    for site, day in zip(visits["site_id"], visits["visit_date"], strict=True):
        if isinstance(site, str) and not pd.isna(day):
            days.setdefault(site, []).append(pd.Timestamp(day).date())
    for hit, photo in _rows_with_files(view):
        seen = days.get(view.site_of(hit), [])
        if photo.day is None or not seen or any(abs(photo.day - d) <= _NEXT_DAY for d in seen):
            continue
        fill = {"file": photo.name, "day": photo.day.isoformat(), "place": hit.row["place_id"],
                "date": max(seen).isoformat()}  # fmt: skip
        yield from view.say("visit-10", [hit], "file_name", fill=fill)


def check_photo_place(view: Survey) -> Iterator[Checked]:
    """visit-09: a photo that was taken far from the place it is said to show."""
    rows = [(h, p) for h, p in _rows_with_files(view) if math.isfinite(p.lat_deg)]
    if not rows:
        return
    moved = to_working([p.lon_deg for _, p in rows], [p.lat_deg for _, p in rows], _WGS84,
                       view.settings.reference.working_crs, max_accuracy_m=_ROUGH_M)  # fmt: skip
    where = _positions(view)
    for (hit, photo), x, y in zip(rows, moved.x_m, moved.y_m, strict=True):
        place = _standing_at(view, str(hit.row["place_id"]))
        if place not in where or not math.isfinite(x):
            continue
        away = math.hypot(x - where[place][0], y - where[place][1])
        if away > _FAR_M + where[place][2]:
            fill = {"file": photo.name, "dist": f"{away:.0f}", "place": place}
            yield from view.say("visit-09", [hit], "place_id", fill=fill)


def _standing_at(view: Survey, place: str) -> str:
    """Chamber, building or site of a place."""
    place = view.end_place.get(place, place)
    return view.entry_building.get(place, place)


def _positions(view: Survey) -> dict[str, tuple[float, float, float]]:
    """Place -> easting, northing and doubt (m), where they are known."""
    out = {}
    for table, key in _PLACES:
        frame = view.frame(table)
        for row in frame.to_dict("records"):
            x, y = row["x_m"], row["y_m"]
            if isinstance(row[key], str) and math.isfinite(x) and math.isfinite(y):
                u_m = row.get("plan_u_m", math.nan)
                out[row[key]] = (x, y, u_m if math.isfinite(u_m) else 0.0)
    return out


CHECKS: Final = (
    Check(check_photo_named, ("visit-02",)),
    Check(check_photo_files, ("visit-02", "visit-03")),
    Check(check_photo_day, ("visit-10",)),
    Check(check_photo_place, ("visit-09",), needs_settings=True),
)

"""The page after an end's own: photos of the survey, each with file, day and what it shows."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Final

from reportlab.lib.utils import ImageReader

from pipeline.publish.section_paper import POINTS_PER_MM
from pipeline.publish.work_packs.facts import Job, Pack, Photo, number
from pipeline.publish.work_packs.seen import held_reach, side_words
from pipeline.publish.work_packs.sheet import (
    BOTTOM_MM,
    HEIGHT_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    Bold,
    Sheet,
    broken,
    cut,
    line_mm,
    shown,
)
from pipeline.publish.work_packs.wall_picture import Frame, draw_wall

Page = Callable[[Sheet], None]

_WIDE: Final = RIGHT_MM - LEFT_MM
_WALL: Final = Frame(LEFT_MM, TOP_MM + 26.0, 62.0, 48.0)
_NOTES_X: Final = LEFT_MM + 68.0
_SIZE: Final = 8.0
_MOST_LINES: Final = 3
_PROVES_NOTHING: Final = "Until that is settled this photo proves nothing here."
_SMALLEST: Final = 13.0


def pages_of_photos(job: Job, pack: Pack) -> list[Page]:
    """One page where an end has a photo to show, none where it has not.

    Parameters
    ----------
    job : Job
    pack : Pack

    Returns
    -------
    list of callable
        Each draws one page.
    """
    if not any(p.picture for p in job.photos):
        return []

    def page(sheet: Sheet) -> None:
        _head(sheet, job, pack)
        low = draw_wall(sheet, job.wall, _WALL, this_id=job.end_id)
        top = max(low, _notes(sheet, job)) + 4.0
        pictures = [p for p in job.photos if p.picture]
        high = (BOTTOM_MM - top) / len(pictures)
        for i, photo in enumerate(pictures):
            _put(sheet, photo, top + i * high, high - 2.0)

    return [page]


def _head(sheet: Sheet, job: Job, pack: Pack) -> None:
    name = f"{shown(job.end_id, 120)}: photos of the survey"
    size = 20.0
    while size > _SMALLEST and len(broken(name, size, _WIDE, is_bold=True)) > 1:
        size -= 1.0
    sheet.text(LEFT_MM, TOP_MM + 7.0, cut(name, size, _WIDE, is_bold=True), size, is_bold=True)
    row, col = number(job.hole.end, "row_no"), number(job.hole.end, "col_no")
    spot = f"row {row:.0f} from the top, column {col:.0f} from the left" if row >= 1 <= col else (
        "row and column not given"
    )  # fmt: skip
    where = (
        f"Wall {shown(job.wall.face, 20) or 'not given'} at {shown(job.wall.place_id, 60)}, {spot}; "
        f"building {shown(job.building_id, 40)}, site {shown(pack.site_id, 40)}"
    )
    sheet.text(LEFT_MM, TOP_MM + 13.0, where, 10.0, is_bold=True, width=_WIDE)
    if held_reach(job.hole):
        words = "HELD: do not start before release, see the page of this end."
        sheet.text(LEFT_MM, TOP_MM + 18.0, words, 10.0, is_bold=True, width=_WIDE)
    sheet.heading(TOP_MM + 19.0, "Which hole", right=LEFT_MM + _WALL.width)
    sheet.heading(TOP_MM + 19.0, "How to read the photos", x=_NOTES_X)


def _notes(sheet: Sheet, job: Job) -> float:
    """What a photo is good for, and which ones are not shown; returns the y below."""
    wide = RIGHT_MM - _NOTES_X
    y = TOP_MM + 26.0
    side = side_words(job.wall).split(",")[0]
    rows = [
        f"The drawing is {side}; a photo may be taken from elsewhere or show only a part. Row and "
        "column of the drawing decide, and what is in the hole on the day.",
        "Photos show the day they were taken. If the wall looks different now: ring.",
    ]
    rows += [
        f"Not shown: {shown(p.name, 80)} ({_linked(p)}): {p.why_not}."
        for p in job.photos
        if not p.picture
    ]
    for words in rows:
        y = sheet.few_lines(_NOTES_X, y, words, wide, size=_SIZE, most=3) + 1.0
    return y


def _linked(photo: Photo) -> str:
    return photo.link.split(":")[0]


def captions_of(photo: Photo) -> list[str]:
    """The lines below a photo: file, day, what it belongs to; in bold what is in question."""
    day = photo.picture.day if photo.picture else ""
    words = f"{shown(photo.name, 80)}; " + (
        f"taken {day} (day inside the file)" if day else "the file does not tell its day"
    )
    words += f"; {photo.link}"
    if photo.shows:
        words += f"; shows: {shown(photo.shows, 30)}"
    doubts = [Bold(shown(d, 300)) for d in photo.doubts]
    return [f"{words}.", *doubts, *([Bold(_PROVES_NOTHING)] if doubts else [])]


def _put(sheet: Sheet, photo: Photo, y: float, high: float) -> None:
    """A photo with its caption below it, in a part of the page."""
    picture = photo.picture
    if picture is None:
        return
    lines = captions_of(photo)
    counts = [
        min(len(broken(w, _SIZE, _WIDE, is_bold=isinstance(w, Bold))), _MOST_LINES) for w in lines
    ]
    room = high - sum(counts) * line_mm(_SIZE) - 2.0
    scale = min(_WIDE / picture.width_px, room / picture.height_px)
    wide, tall = picture.width_px * scale, picture.height_px * scale
    sheet.canvas.drawImage(
        ImageReader(io.BytesIO(picture.jpeg)), LEFT_MM * POINTS_PER_MM,
        (HEIGHT_MM - y - tall) * POINTS_PER_MM, wide * POINTS_PER_MM, tall * POINTS_PER_MM,
    )  # fmt: skip
    sheet.box(LEFT_MM, y, wide, tall, pen_mm=0.15)
    low = y + tall + 0.8
    for words in lines:
        low = sheet.few_lines(LEFT_MM, low, words, _WIDE, size=_SIZE, most=_MOST_LINES)

"""Which photos of the survey belong to an end of a pack, and what is in question about each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from pipeline.core import contract
from pipeline.publish.work_packs.facts import Job, Pack, Photo, Picture, Row, said
from pipeline.publish.work_packs.photo_small import Album
from pipeline.publish.work_packs.sheet import shown
from pipeline.tables import Tables

_MOST_SHOWN: Final = 2
_MOST_NAMED: Final = 6
_PACK_BYTES: Final = 12_000_000  # house rule: a pack can still be sent by mail
_OF_A_WALL: Final = frozenset({"", "inside wall", "chamber wall", "water", "before"})
_QUESTIONS: Final = {"visit-09": "Place in question", "visit-10": "Day in question"}


@dataclass(frozen=True)
class _Tie:
    """One row of the photos sheet that belongs to an end: where in the order, and why."""

    rank: int
    row: Row
    link: str


class Photos:
    """Rows of the photos sheet, tied to ends as the survey ties them and in no other way."""

    def __init__(self, tables: Tables) -> None:
        self._rows = {said(r, "photo_id"): r for r in _rows(tables, "photos")}
        self._of_name: dict[str, list[Row]] = defaultdict(list)
        self._at: dict[str, list[Row]] = defaultdict(list)
        for photo_id in sorted(self._rows):
            row = self._rows[photo_id]
            self._of_name[self._name(photo_id)].append(row)
            if said(row, "place_id"):
                self._at[said(row, "place_id")].append(row)
        faces = {said(r, "entry_id"): said(r, "face") for r in _rows(tables, "entries")}
        self._ends: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
        self._faces: dict[str, set[str]] = defaultdict(set)
        for end in _rows(tables, "ends"):
            place = said(end, "place_id")
            face = said(end, "face") or faces.get(place, "")
            self._faces[place].add(face)
            if said(end, "photo_id"):
                name = self._name(said(end, "photo_id"))
                self._ends[name].append((said(end, "end_id"), place, face))
        self._said: dict[tuple[str, str, str], list[str]] = defaultdict(list)
        for one in _rows(tables, "findings"):
            code = said(one, "code")
            if code in _QUESTIONS and said(one, "weight") != contract.NOTE and not said(
                one, "answer"
            ):  # fmt: skip
                words = f"{_QUESTIONS[code]}: {said(one, 'message')}"
                self._said[_place_in_file(one)].append(words)

    def _name(self, photo_id: str) -> str:
        return (said(self._rows.get(photo_id, {}), "file_name") or photo_id).casefold()

    def of(self, job: Job) -> list[tuple[Row, str, tuple[str, ...]]]:
        """Rows of the photos of an end, each with its link and its doubts; those in doubt last."""
        found = [(tie, self._doubts(tie.row, job)) for tie in self._ties(job)]
        out: dict[str, tuple[Row, str, tuple[str, ...]]] = {}
        for tie, doubts in sorted(found, key=_order):
            name = self._name(said(tie.row, "photo_id"))
            out.setdefault(name, (tie.row, tie.link, doubts))
        return list(out.values())[:_MOST_NAMED]

    def _ties(self, job: Job) -> Iterable[_Tie]:
        end_id, place, face = job.end_id, job.wall.place_id, job.wall.face
        own = said(job.hole.end, "photo_id")
        if own:
            row = self._rows.get(own, {"photo_id": own})
            here = {e for e, p, f in self._ends[self._name(own)] if (p, f) == (place, face)}
            link = (
                "of this end: named on its row"
                if len(here) == 1
                else f"of this wall: named on the rows of {len(here)} ends here, this one among them"
            )
            yield _Tie(0, row, link)
        if place != end_id:
            for row in self._at.get(end_id, ()):
                yield _Tie(1, row, "of this end: named by the photos sheet")
        for row in self._at.get(place, ()):
            if said(row, "shows") not in _OF_A_WALL:
                continue
            walls = {(p, f) for _, p, f in self._ends.get(self._name(said(row, "photo_id")), ())}
            if walls == {(place, face)}:
                yield _Tie(2, row, "of this wall: named on the rows of other ends here")
            elif not walls and len(self._faces.get(place, {face}) | {face}) == 1:
                only = f"the photos sheet names {place}, which has no other wall"
                yield _Tie(3, row, f"of this wall: {only}")

    def _doubts(self, row: Row, job: Job) -> tuple[str, ...]:
        """What the survey's own checks, or the rows themselves, leave open about a photo."""
        doubts = list(self._said.get(_place_in_file(row), ()))
        wall, name = job.wall, self._name(said(row, "photo_id"))
        here = {"", job.end_id, wall.place_id, job.building_id, said(job.hole.end, "site_id")}
        # the same file may stand in several rows of the sheet
        for other in self._of_name.get(name, ()):
            at, near = said(other, "place_id"), set[str]()
            if said(other, "shows") in _OF_A_WALL:
                near = {h.end_id for h in wall.holes}
            if at not in here | near:
                doubts.append(f"Place in question: the photos sheet puts it at {at}")
        walls = {(p, f) for _, p, f in self._ends.get(name, ())}
        if len(walls) > 1:
            doubts.append(f"Place in question: named for ends on {len(walls)} walls")
        return tuple(doubts)


def _order(found: tuple[_Tie, tuple[str, ...]]) -> tuple[bool, int, str, str]:
    tie, doubts = found
    return bool(doubts), tie.rank, said(tie.row, "file_name"), said(tie.row, "photo_id")


def with_photos(pack: Pack, photos: Photos, album: Album) -> Pack:
    """A pack whose ends carry their photos, two at most each, and within the pack's bound.

    Parameters
    ----------
    pack : Pack
    photos : Photos
        The survey's own ties.
    album : Album
        The files that were sent.

    Returns
    -------
    Pack

    Notes
    -----
    Every end gets its first photo before any gets a second. A photo that several ends share
    counts once, as it stands in the file once.
    """
    album.forget()
    waiting = {job.end_id: photos.of(job) for job in pack.jobs}
    got: dict[str, list[Photo]] = {job.end_id: [] for job in pack.jobs}
    taken: dict[bytes, int] = {}
    for turn in range(1, _MOST_SHOWN + 1):
        for job in pack.jobs:
            rest, mine = waiting[job.end_id], got[job.end_id]
            while rest and sum(p.picture is not None for p in mine) < turn:
                mine.append(_photo(*rest.pop(0), album=album, taken=taken))
    return replace(
        pack,
        jobs=tuple(
            replace(job, photos=tuple(got[job.end_id]), photo=photo_words(got[job.end_id]))
            for job in pack.jobs
        ),
    )


def _photo(
    row: Row, link: str, doubts: tuple[str, ...], *, album: Album, taken: dict[bytes, int]
) -> Photo:
    name = said(row, "file_name")
    found: Picture | str = album.find(name) if name else "its row on the photos sheet is missing"
    if isinstance(found, Picture) and found.jpeg not in taken:
        if sum(taken.values()) + len(found.jpeg) > _PACK_BYTES:
            found = f"the pictures of this pack already take {_PACK_BYTES / 1e6:.0f} MB"
        else:
            taken[found.jpeg] = len(found.jpeg)
    is_shown = isinstance(found, Picture)
    return Photo(
        name or said(row, "photo_id"),
        link,
        doubts,
        said(row, "shows"),
        found if isinstance(found, Picture) else None,
        "" if is_shown else str(found),
    )


def photo_words(photos: list[Photo]) -> str:
    """The photos of an end in one line of its page; '' for none."""
    named = [
        f"{shown(p.name, 60)} ({'photo page follows' if p.picture else f'not shown: {p.why_not}'})"
        for p in sorted(photos, key=lambda p: p.picture is None)
    ]
    return ", ".join(named)


def _place_in_file(row: Row) -> tuple[str, str, str]:
    return said(row, "file"), said(row, "sheet"), said(row, "row")


def _rows(tables: Tables, name: str) -> list[Row]:
    frame = tables.get(name)
    return [] if frame is None or frame.empty else list(frame.to_dict("records"))

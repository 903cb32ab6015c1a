"""The desk: the one folder in which the files and answers of a session lie."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from pipeline.core.errors import UsageError
from pipeline.serve.limits import Limits
from pipeline.serve.names import CSV, look_inside, megabytes, own_name, shown
from pipeline.serve.receive import Part
from pipeline.serve.refused import RefusedError

_MARK: Final = "stanch-desk.json"
_PARTS: Final = ("files", "incoming", "out")


@dataclass(frozen=True)
class Item:
    """A file on the desk: the number of its own folder, its name, kind, size and sum."""

    number: int
    name: str
    kind: str
    size_bytes: int
    sha: str


@dataclass(frozen=True)
class Given:
    """An answer that was given on the page; `key` holds every thing that its line stands for."""

    line_id: str
    key: str
    column: str
    code: str
    as_read: str
    text: str
    by_whom: str
    on: str
    place: str
    question: str


@dataclass(frozen=True)
class Told:
    """What became of one dropped file: its name as it can be shown, and a line."""

    name: str
    line: str
    is_taken: bool


@dataclass
class Desk:
    """Files and answers of a session, kept in `folder` and nowhere else."""

    folder: Path
    limits: Limits
    items: list[Item] = field(default_factory=list)
    answers: dict[str, Given] = field(default_factory=dict)
    next_number: int = 1

    @classmethod
    def open(cls, folder: Path, limits: Limits) -> Desk:
        """Open a desk in a folder that is new, empty, or a desk already.

        Raises
        ------
        UsageError
            When the folder holds anything else or cannot be written.
        """
        desk = cls(folder.resolve(), limits)
        mark = desk.folder / _MARK
        try:
            desk.folder.mkdir(parents=True, exist_ok=True)
            if mark.is_file():
                desk._load(mark)
            elif any(desk.folder.iterdir()):
                raise UsageError(
                    f"{folder} holds files of something else.",
                    why="The intake page keeps uploads in a folder of its own.",
                    mend="Name an empty or a new folder with --folder.",
                )
            for name in _PARTS:
                (desk.folder / name).mkdir(exist_ok=True)
            desk._sweep()
            desk.save()
        except OSError as fault:
            raise UsageError(
                f"{folder} cannot be used: {fault.strerror}.",
                mend="Name a folder that can be written with --folder.",
            ) from None
        return desk

    @property
    def incoming(self) -> Path:
        """Where an upload lies until it was looked at; also the only place for short-lived files."""
        return self.folder / "incoming"

    @property
    def out(self) -> Path:
        """What the check writes."""
        return self.folder / "out"

    def _load(self, mark: Path) -> None:
        try:
            stored = json.loads(mark.read_text("utf-8"))
            self.items = [Item(**i) for i in stored["files"]]
            self.answers = {a["line_id"]: Given(**a) for a in stored["answers"]}
            self.next_number = int(stored["next_number"])
        except (ValueError, KeyError, TypeError):
            raise UsageError(
                f"{mark} cannot be read.",
                why="It was changed by something else.",
                mend="Name another folder with --folder.",
            ) from None
        self.items = [i for i in self.items if self._own(i) and self.path_of(i).is_file()]

    def _own(self, item: Item) -> bool:
        """Whether a stored line names a file that this page would have stored so."""
        try:
            return own_name(item.name) == item.name and item.number > 0
        except RefusedError:
            return False

    def _sweep(self) -> None:
        """Remove what an earlier session left half done."""
        for path in self.incoming.iterdir():
            path.unlink() if path.is_file() else shutil.rmtree(path)
        known = {self._folder_of(i).parent for i in self.items}
        for path in sorted((self.folder / "files").iterdir()):
            if path not in known:
                shutil.rmtree(path, ignore_errors=True)

    def save(self) -> None:
        """Write the list of files and answers, in one step."""
        stored: dict[str, Any] = {
            "next_number": self.next_number,
            "files": [asdict(i) for i in self.items],
            "answers": [asdict(self.answers[k]) for k in sorted(self.answers)],
        }
        aside = self.folder / f"{_MARK}.aside"
        aside.write_text(json.dumps(stored, ensure_ascii=False, indent=1), encoding="utf-8")
        aside.replace(self.folder / _MARK)

    def _folder_of(self, item: Item) -> Path:
        # CSV files that came together are one delivery: `about.csv` speaks for the others
        return self.folder / "files" / f"{item.number:04d}" / f"drop-{item.number}"

    def path_of(self, item: Item) -> Path:
        """Where a file lies."""
        return self._folder_of(item) / item.name

    def paths(self) -> list[Path]:
        """What is read, in the order in which it came; CSV files of one drop as their folder."""
        out: list[Path] = []
        for item in self.items:
            others = [i for i in self.items if i.number == item.number and i.kind == CSV]
            path = self.path_of(item)
            if item.kind == CSV and len(others) > 1:
                path = path.parent
            if path not in out:
                out.append(path)
        return out

    def take(self, parts: list[Part], *, takes_place: bool) -> list[Told]:
        """Take what was dropped.

        Parameters
        ----------
        parts : list of Part
            Files that lie in `incoming`.
        takes_place : bool
            Whether a file of the same name takes the place of the earlier one (not for CSV
            files, whose names are the names of the sheets).

        Returns
        -------
        list of Told
            One line for each file.
        """
        told: list[Told] = []
        csv_number = 0
        for part in parts:
            try:
                if part.refused:
                    raise part.refused
                name = own_name(part.name)
                kind = look_inside(part.path, name)
                number = csv_number if kind == CSV and csv_number else self.next_number
                line = self._keep(part, name, kind, number, takes_place=takes_place)
            except RefusedError as fault:
                part.path.unlink(missing_ok=True)
                told.append(Told(shown(part.name), f"Refused. {fault}", is_taken=False))
                continue
            csv_number = number if kind == CSV else csv_number
            self.next_number = max(self.next_number, number + 1)
            told.append(Told(name, line, is_taken=True))
        self.save()
        return told

    def _keep(self, part: Part, name: str, kind: str, number: int, *, takes_place: bool) -> str:
        with part.path.open("rb") as file:
            sha = hashlib.file_digest(file, "sha256").hexdigest()
        alike = [i for i in self.items if i.name.casefold() == name.casefold()]
        if any(i.sha == sha for i in alike):
            raise RefusedError("The same file is on the desk already.")
        if any(i.number == number for i in alike):
            raise RefusedError(
                "Two files of this drop have the same name.", mend="Drop the second on its own."
            )
        old = alike if takes_place and kind != CSV else []
        left = [i for i in self.items if i not in old]
        if len(left) >= self.limits.desk_files_count:
            raise RefusedError(
                f"The desk holds {self.limits.desk_files_count} files already.",
                mend="Remove some that are done with.",
            )
        if sum(i.size_bytes for i in left) + part.size_bytes > self.limits.desk_bytes:
            raise RefusedError(
                f"The desk would hold more than {megabytes(self.limits.desk_bytes)}.",
                mend="Remove files that are done with.",
            )
        for item in old:
            self._unlink(item)
        item = Item(number, name, kind, part.size_bytes, sha)
        self._folder_of(item).mkdir(parents=True, exist_ok=True)
        part.path.replace(self.path_of(item))
        self.items = [*left, item]
        if old:
            return "Taken, in place of the earlier file of this name."
        if alike:
            return "Taken beside the earlier file of this name: later rows win, row by row."
        return "Taken."

    def _unlink(self, item: Item) -> None:
        self.path_of(item).unlink(missing_ok=True)
        folder = self._folder_of(item)
        if folder.is_dir() and not any(folder.iterdir()):
            shutil.rmtree(folder.parent)

    def remove(self, number: int, name: str) -> bool:
        """Remove a file; whether there was one."""
        item = next((i for i in self.items if (i.number, i.name) == (number, name)), None)
        if item is None:
            return False
        self.items.remove(item)
        self._unlink(item)
        self.save()
        return True

    def answer(self, given: list[Given]) -> None:
        """Keep answers; a blank one takes the earlier answer to the same line back."""
        for one in given:
            self.answers.pop(one.line_id, None)
            if one.text:
                self.answers[one.line_id] = one
        self.save()

"""Taking in a form with files: streamed to names of our own, counted while it comes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Final

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from pipeline.serve.limits import Limits
from pipeline.serve.names import megabytes, too_large
from pipeline.serve.refused import RefusedError

_LONGEST_FIELD_BYTES: Final = 10_000
_MOST_FIELDS: Final = 20


@dataclass
class Part:
    """A file as it came: the name that the browser gave, where it lies, why it was refused."""

    name: str
    path: Path
    size_bytes: int = 0
    refused: RefusedError | None = None


@dataclass
class Received:
    """Fields and files of one form."""

    fields: dict[str, str] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)

    def drop(self) -> None:
        """Remove what lies there of the files."""
        for part in self.parts:
            part.path.unlink(missing_ok=True)


class _Form:
    """Callbacks of the parser; a file that is too large is not written on."""

    def __init__(self, folder: Path, limits: Limits) -> None:
        self.out = Received()
        self._folder, self._limits = folder, limits
        self._header_name, self._header_value, self._disposition = b"", b"", b""
        self._field: str | None = None
        self._text = bytearray()
        self._part: Part | None = None
        self._file: BinaryIO | None = None
        self._total_bytes = 0
        self._fields_count = 0

    def callbacks(self) -> dict[str, object]:
        return {
            name: getattr(self, name)
            for name in ("on_part_begin", "on_part_data", "on_part_end", "on_header_field",
                         "on_header_value", "on_header_end", "on_headers_finished")
        }  # fmt: skip

    def on_part_begin(self) -> None:
        self._disposition, self._field, self._part = b"", None, None
        self._text.clear()

    def on_header_field(self, data: bytes, start: int, end: int) -> None:
        self._header_name += data[start:end]

    def on_header_value(self, data: bytes, start: int, end: int) -> None:
        self._header_value += data[start:end]

    def on_header_end(self) -> None:
        if self._header_name.lower() == b"content-disposition":
            self._disposition = self._header_value
        self._header_name = self._header_value = b""

    def on_headers_finished(self) -> None:
        _, options = parse_options_header(self._disposition)
        if b"filename" in options:
            self._begin_file(_text(options[b"filename"]))
            return
        self._fields_count += 1
        if self._fields_count > _MOST_FIELDS:
            raise RefusedError("The form has too many fields.", mend="Use the page's own form.")
        self._field = _text(options.get(b"name", b""))

    def _begin_file(self, name: str) -> None:
        number = len(self.out.parts)
        part = Part(name, self._folder / f"in-{number:04d}")
        self._part = part
        if number > self._limits.drop_files_count * 4:
            raise RefusedError("That are far too many files at once.", mend="Drop fewer at a time.")
        self.out.parts.append(part)
        if number >= self._limits.drop_files_count:
            part.refused = RefusedError(
                f"More than {self._limits.drop_files_count} files at once.",
                mend="Drop it again on its own.",
            )
        elif name:
            self._file = part.path.open("wb")

    def on_part_data(self, data: bytes, start: int, end: int) -> None:
        if self._part is not None:
            self._take(self._part, data[start:end])
            return
        self._text += data[start:end]
        if len(self._text) > _LONGEST_FIELD_BYTES:
            raise RefusedError("A field of the form is too long.", mend="Use the page's own form.")

    def _take(self, part: Part, data: bytes) -> None:
        part.size_bytes += len(data)
        if self._file is None or part.refused:
            return
        self._total_bytes += len(data)
        if part.size_bytes > self._limits.file_bytes:
            part.refused = too_large(self._limits)
        elif self._total_bytes > self._limits.drop_bytes:
            part.refused = RefusedError(
                f"The drop is larger than {megabytes(self._limits.drop_bytes)}.",
                mend="Drop fewer files at a time.",
            )
        if part.refused:
            self.close()
            part.path.unlink(missing_ok=True)
            return
        self._file.write(data)

    def on_part_end(self) -> None:
        self.close()
        if self._part is not None and not self._part.name and not self._part.size_bytes:
            self.out.parts.remove(self._part)  # what a browser sends where no file was chosen
        elif self._field is not None:
            self.out.fields.setdefault(self._field, _text(bytes(self._text)))

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


async def receive(
    stream: AsyncIterator[bytes], content_type: str, folder: Path, limits: Limits
) -> Received:
    """Take in a form with files.

    Parameters
    ----------
    stream : async iterator of bytes
        Body of the request.
    content_type : str
        Its header, which names the boundary.
    folder : Path
        Where files are laid down under numbers.
    limits : Limits

    Returns
    -------
    Received
        Files above a limit are marked as refused and not kept.

    Raises
    ------
    RefusedError
        When the body is no such form, or far above every limit.
    """
    kind, options = parse_options_header(content_type)
    if kind != b"multipart/form-data" or not options.get(b"boundary"):
        raise RefusedError("That is no form with files.", mend="Use the page's own form.")
    form = _Form(folder, limits)
    came_bytes = 0
    is_whole = False

    def end() -> None:
        nonlocal is_whole
        is_whole = True

    try:
        parser = MultipartParser(
            options[b"boundary"],
            {**form.callbacks(), "on_end": end},  # type: ignore[arg-type]
        )
        async for chunk in stream:
            came_bytes += len(chunk)
            _check_size(came_bytes, limits)
            parser.write(chunk)
    except FormParserError:
        form.out.drop()
        raise RefusedError("The form cannot be read.", mend="Use the page's own form.") from None
    except BaseException:
        form.close()
        form.out.drop()
        raise
    finally:
        form.close()
    if not is_whole:
        form.out.drop()
        raise RefusedError("The form did not come through whole.", mend="Drop the files again.")
    return form.out


def _check_size(came_bytes: int, limits: Limits) -> None:
    if came_bytes > limits.drained_bytes:
        raise RefusedError(
            "The drop is far too large.", mend="Drop fewer files at a time.", status=413
        )


def _text(data: bytes) -> str:
    return data.decode("utf-8", errors="replace")

"""Survey photos made small for paper: upright, without metadata, never unpacked without a bound."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from PIL import ExifTags, Image

from pipeline.core.photo_files import photo_paths, read_photo
from pipeline.publish.work_packs.facts import Picture

_LONG_SIDE_PX: Final = 1_000
_QUALITY: Final = 72
_MOST_PIXELS: Final = 64_000_000  # house rule: some 200 MB unpacked, more than most cameras give
_MOST_BYTES: Final = 60_000_000
_KINDS: Final = ("JPEG", "PNG", "WEBP", "TIFF")
_UNREAD: Final = (".heic",)
_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE, 8: Image.Transpose.ROTATE_90,
}  # fmt: skip
_ORIENTATION: Final = ExifTags.Base.Orientation
_GREY_16: Final = "I;16"
_SEE_THROUGH: Final = ("RGBA", "LA", "PA", "RGBa", "La")


class Album:
    """The photo files of a survey by name, made small when they are asked for."""

    def __init__(self, files: Iterable[Path]) -> None:
        self._paths: dict[str, list[Path]] = {}
        for path in dict.fromkeys(photo_paths(files)):
            self._paths.setdefault(path.name.casefold(), []).append(path)
        self._made: dict[Path, Picture | str] = {}

    def forget(self) -> None:
        """Let go of what was made, so that only one pack's pictures are held at a time."""
        self._made.clear()

    def find(self, name: str) -> Picture | str:
        """The picture of a file name (matched without case), or the reason why there is none."""
        paths = self._paths.get(name.casefold(), [])
        if not paths:
            return "it was not sent with the survey"
        if len(paths) > 1 and len({p.read_bytes() for p in paths}) > 1:
            return f"{len(paths)} different files of this name were sent"
        path = paths[0]
        if path not in self._made:
            self._made[path] = made_small(path)
        return self._made[path]


def made_small(path: Path) -> Picture | str:
    """Make a photo small for paper, or say why it cannot be.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Picture or str
        At most 1000 px on its long side, upright by its EXIF orientation; or why not, in words
        that hold nothing of the file.

    Notes
    -----
    Size and kind are judged before anything is unpacked. What is written is made from the pixels
    alone: no EXIF, no place, no comment, no colour profile. Same file, same bytes (with the same
    Pillow).

    References
    ----------
    Exif 2.32 (CIPA DC-008), tag 0x0112 Orientation; from memory, through Pillow's names.
    """
    if path.suffix.lower() in _UNREAD:
        return "files of its kind (HEIC) are not read"
    try:
        if path.stat().st_size > _MOST_BYTES:
            return f"its file is larger than {_MOST_BYTES / 1e6:.0f} MB"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a huge picture is refused below, an odd one shown
            with Image.open(path, formats=_KINDS) as picture:
                if picture.width * picture.height > _MOST_PIXELS:
                    return _too_large()
                # a JPEG is unpacked no larger than needed
                picture.draft(None, (_LONG_SIDE_PX, _LONG_SIDE_PX))
                upright = _small(picture)
    except Image.DecompressionBombError:
        return _too_large()
    except Exception:  # noqa: BLE001 - whatever is wrong with a user's picture, the pack is written
        return "it is damaged or no picture"
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=_QUALITY, optimize=True)
    day = read_photo(path).day
    return Picture(out.getvalue(), *upright.size, day.isoformat() if day else "")


def _too_large() -> str:
    return f"it has more than {_MOST_PIXELS / 1e6:.0f} million pixels"


def _small(picture: Image.Image) -> Image.Image:
    """Pixels alone: small, upright, on white where one could see through."""
    picture.load()
    small: Image.Image = picture
    if picture.mode.startswith(_GREY_16):
        # Pillow would cut all above 255 to white
        small = picture.point(lambda v: v / 256.0).convert("L")
    elif picture.mode in _SEE_THROUGH or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        small = Image.new("RGBA", clear.size, "white")
        small.alpha_composite(clear)
    small = small.convert("RGB")
    small.thumbnail((_LONG_SIDE_PX, _LONG_SIDE_PX), Image.Resampling.LANCZOS)
    try:
        turn = picture.getexif().get(_ORIENTATION, 1)
    except Exception:  # noqa: BLE001 - a torn EXIF block turns nothing
        turn = 1
    turned = small.transpose(_TURNS[turn]) if turn in _TURNS else small
    return Image.frombytes("RGB", turned.size, turned.tobytes())

"""What a photo file says of itself: where and when it was taken, from its EXIF block."""

from __future__ import annotations

import datetime as dt
import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from PIL import ExifTags, Image

PHOTO_ENDINGS: Final = (".jpg", ".jpeg", ".png", ".heic", ".webp", ".tif", ".tiff")
_TAKEN: Final = (ExifTags.Base.DateTimeOriginal, ExifTags.Base.DateTime)
_DAY_LENGTH: Final = 10


@dataclass(frozen=True)
class Photo:
    """A photo file: its name, and place (degrees) and day as far as the file tells them."""

    name: str
    lat_deg: float = math.nan
    lon_deg: float = math.nan
    day: dt.date | None = None


def photo_paths(files: Iterable[Path]) -> list[Path]:
    """The photo files among survey files; a folder stands for all photos below it.

    Parameters
    ----------
    files : iterable of Path
        Survey files and folders, as the settings name them.

    Returns
    -------
    list of Path
        In the order of the files, those of a folder sorted.
    """
    out: list[Path] = []
    for path in files:
        inside = sorted(path.rglob("*")) if path.is_dir() else [path]
        out += [p for p in inside if p.suffix.lower() in PHOTO_ENDINGS and p.is_file()]
    return out


def read_photo(path: Path) -> Photo:
    """Read place and day out of a photo file; the picture itself is never unpacked.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Photo
        Without place or day where the file has none, or cannot be read as a picture.

    Notes
    -----
    A camera's clock may be wrong and a phone's place is good to some 10 m at best: both only
    raise questions, they never give a position or a date to a row.

    References
    ----------
    Exif 2.32 (CIPA DC-008), tags 0x9003 DateTimeOriginal and GPS IFD 0x0001 to 0x0004; from
    memory, through Pillow's names.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a huge or odd picture: nothing is unpacked here
            with Image.open(path) as picture:
                exif = picture.getexif()
                told = {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
                gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    except Exception:  # noqa: BLE001 - a broken picture has no facts; its name still counts
        return Photo(path.name)
    lat = _degrees(gps, ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLatitudeRef, "S")
    lon = _degrees(gps, ExifTags.GPS.GPSLongitude, ExifTags.GPS.GPSLongitudeRef, "W")
    if not (abs(lat) <= 90.0 and abs(lon) <= 180.0) or (lat == 0.0 and lon == 0.0):
        lat = lon = math.nan  # a receiver without a fix writes noughts
    return Photo(path.name, lat, lon, _day(told))


def _degrees(gps: dict[int, Any], tag: int, side: int, negative: str) -> float:
    """Degrees, minutes and seconds as one number; NaN where they are missing or unreadable."""
    try:
        degrees, minutes, seconds = (float(part) for part in gps[tag])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return math.nan
    value = degrees + minutes / 60.0 + seconds / 3600.0
    return -value if str(gps.get(side, "")).strip().upper() == negative else value


def _day(told: dict[int, Any]) -> dt.date | None:
    for tag in _TAKEN:
        text = str(told.get(tag, ""))[:_DAY_LENGTH].replace(":", "-")
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            continue
    return None

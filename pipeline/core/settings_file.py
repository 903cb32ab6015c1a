"""Reading a settings file: resolves paths, turns every fault into one clear message."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.core.errors import UsageError
from pipeline.core.settings import Settings


def load(path: Path, *, date: dt.date | None = None) -> Settings:
    """Read and check a settings file.

    Parameters
    ----------
    path : Path
        The TOML file; relative paths inside count from its folder.
    date : datetime.date, optional
        Planning date that overrides the file's.

    Returns
    -------
    Settings

    Raises
    ------
    UsageError
        When the file is missing, is no TOML, or a key is wrong; names file, key, value, why, mend.
    """
    if not path.is_file():
        raise UsageError(
            f"There is no settings file {path}.",
            mend="Check the path; configs/example.toml is a complete example.",
        )
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"{path} cannot be read as TOML: {fault}.", mend="Mend that line."
        ) from None
    if date is not None:
        raw.setdefault("programme", {})["planning_date"] = date
    _resolve(raw, path.parent)
    try:
        settings = Settings.model_validate(raw)
    except ValidationError as fault:
        raise UsageError(_message(path, fault)) from None
    if settings.programme.planning_date is None:
        raise UsageError(
            f"{path}: no planning date.",
            why="Nothing here reads today's date, so that the same inputs give the same papers.",
            mend="Write planning_date under [programme] or call with --date YYYY-MM-DD.",
        )
    _check_files(path, settings)
    if settings.surveys.records and settings.records is None:
        raise UsageError(
            f"{path} names records, and has no [records].",
            why="When a seal counts as accepted is a policy, and no default decides a policy.",
            mend="Copy the section [records] of configs/example.toml and set its figures.",
        )
    return settings


_PATH_KEYS = {
    "reference": ("regions_file", "footprints_file"),
    "ground": ("path",),
    "design": ("materials",),
    "buying": ("items", "prices", "suppliers", "depots", "stock", "calendar"),
    "surveys": ("files", "answers", "records", "releases"),
}


def _absolute(value: Any, base: Path) -> Any:
    if isinstance(value, list):
        return [_absolute(v, base) for v in value]
    return (base / value).resolve() if isinstance(value, str) else value


def _resolve(raw: dict[str, Any], base: Path) -> None:
    for section, keys in _PATH_KEYS.items():
        part = raw.get(section)
        if isinstance(part, dict):
            for key in keys:
                if key in part:
                    part[key] = _absolute(part[key], base)
    for gps in _list_of_tables(raw, "surveys", "gps"):
        if "files" in gps:
            gps["files"] = _absolute(gps["files"], base)
    for source in _list_of_tables(raw, "flood", "source"):
        for key in ("path", "domain", "ground"):
            if key in source:
                source[key] = _absolute(source[key], base)


def _list_of_tables(raw: dict[str, Any], section: str, key: str) -> list[dict[str, Any]]:
    part = raw.get(section)
    tables = part.get(key, []) if isinstance(part, dict) else []
    return [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []


def _message(path: Path, fault: ValidationError) -> str:
    lines = [f"The settings in {path} cannot be used:"]
    for error in fault.errors():
        key = ".".join(str(part) for part in error["loc"]) or "the file"
        if error["type"] == "missing":
            lines.append(f"  {key}: not given, and it has no default. Add it.")
        elif error["type"] == "extra_forbidden":
            lines.append(f"  {key}: no such setting. Check the spelling or take the line out.")
        else:
            value = str(error["input"])
            lines.append(f"  {key} = {value[:60]}: {error['msg']}.")
    return "\n".join(lines)


def _check_files(path: Path, settings: Settings) -> None:
    named: list[tuple[str, Path]] = [
        ("reference.regions_file", settings.reference.regions_file),
        ("ground.path", settings.ground.path),
        ("design.materials", settings.design.materials),
    ]
    if settings.reference.footprints_file:
        named.append(("reference.footprints_file", settings.reference.footprints_file))
    named += [("surveys.files", p) for p in settings.surveys.files]
    named += [("surveys.records", p) for p in settings.surveys.records]
    named += [("surveys.releases", p) for p in settings.surveys.releases]
    named += [("surveys.gps", p) for gps in settings.surveys.gps for p in gps.files]
    for source in settings.flood.source:
        named.append((f"flood.source {source.id}", source.path))
        if source.domain:
            named.append((f"flood.source {source.id} domain", source.domain))
        if source.ground:
            named.append((f"flood.source {source.id} ground", source.ground))
    for key in ("items", "prices", "suppliers", "depots", "stock", "calendar"):
        named.append((f"buying.{key}", getattr(settings.buying, key)))
    missing = [f"  {key}: {p}" for key, p in named if not p.exists()]
    if missing:
        raise UsageError(
            "\n".join([f"{path} names files that are not there:", *missing]),
            mend="Check the paths; they count from the folder of the settings file.",
        )

"""The run id: 8 hex digits over inputs, settings, program version and planning date."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pipeline.core.settings import Settings


@dataclass(frozen=True)
class RunId:
    """The id, and what went into it; `only` names the regions of a run that left others out."""

    short: str
    inputs: dict[str, str]
    settings: dict[str, Any]
    version: str
    only: tuple[str, ...] = ()


def identify(config: Path, settings: Settings, only: Collection[str] = ()) -> RunId:
    """Hash everything that decides what a run writes.

    Paths count relative to the settings file, so that the same files give the same id wherever
    they lie.

    Parameters
    ----------
    config : Path
        The settings file.
    settings : Settings
        What it holds, after overrides.
    only : collection of str, optional
        Regions that the run is made for; none = all.

    Returns
    -------
    RunId

    """
    base = config.resolve().parent
    inputs = {
        _relative(path, base): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(set(input_files(settings)))
    }
    resolved = _plain(settings.model_dump(mode="python"), base)
    program = version("stanch")
    regions = tuple(sorted(set(only)))
    decides = {"inputs": inputs, "settings": resolved, "version": program}
    if regions:
        decides["only"] = regions
    text = json.dumps(decides, sort_keys=True, ensure_ascii=False)
    short = hashlib.sha256(text.encode("utf-8")).hexdigest()[:8]
    return RunId(short, inputs, resolved, program, regions)


def input_files(settings: Settings) -> Iterator[Path]:
    """Every file that the settings name; a folder stands for all files in it."""
    for path in _paths(settings.model_dump(mode="python")):
        if path.is_dir():
            yield from (p for p in sorted(path.rglob("*")) if p.is_file())
        elif path.is_file():
            yield path


def _paths(value: Any) -> Iterator[Path]:
    if isinstance(value, Path):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from _paths(part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            yield from _paths(part)


def _relative(path: Path, base: Path) -> str:
    return Path(os.path.relpath(path, base)).as_posix()


def _plain(value: Any, base: Path) -> Any:
    if isinstance(value, Path):
        return _relative(value, base)
    if isinstance(value, dict):
        return {str(k): _plain(v, base) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v, base) for v in value]
    return value if isinstance(value, (int, float, str, bool, type(None))) else str(value)

"""Usual doubts of measuring steps, each with its source, for what a survey leaves blank."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from functools import cache
from importlib import resources


@cache
def _table() -> dict[str, float]:
    text = resources.files("pipeline.core").joinpath("data/level_doubts.csv").read_text("utf-8")
    return {row["step"]: float(row["u_m"]) for row in csv.DictReader(text.splitlines())}


def usual_u_m(step: str) -> float:
    """Usual doubt of a step (m, one standard deviation); steps not listed count as unknown."""
    table = _table()
    return table.get(step, table["unknown"])


def parts_text(parts: Iterable[tuple[str, float]]) -> str:
    """Doubts that a level shares with others, by name, for a hand-over table."""
    return "; ".join(f"{name.replace(';', ',')} = {u_m:.6g}" for name, u_m in parts if u_m > 0.0)


def read_parts(text: object) -> dict[str, float]:
    """Named doubts (m) of a text that `parts_text` wrote; a name that comes twice counts once."""
    if not isinstance(text, str) or not text:
        return {}
    pairs = (part.rpartition(" = ") for part in text.split("; "))
    return {name: float(u_m) for name, _, u_m in pairs}

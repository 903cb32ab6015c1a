"""Usual doubts of measuring steps, each with its source, for what a survey leaves blank."""

from __future__ import annotations

import csv
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

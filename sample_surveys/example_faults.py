"""Applies the typed faults of `faults.toml` to the files of the example.

Each patch names file, sheet, cell, what must stand there before (`was`, so that a changed plan
cannot move a fault unseen) and the value that is typed over it. `values`
are laid out to the right; `merge` merges cells; `whole` is the text of a whole file; `add` adds a
point to a GPX or GeoPackage file.
"""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
from openpyxl.utils import coordinate_to_tuple
from shapely.geometry import Point

from sample_surveys.example_files import save_layer, save_workbook

PATCHES = Path(__file__).with_name("faults.toml")


class PatchError(ValueError):
    """A patch does not meet the value that it was typed for."""


def apply(folder: Path, patches: Path = PATCHES) -> None:
    """Apply all patches to the files under `folder`/surveys."""
    told: dict[str, list[dict[str, Any]]] = {}
    for patch in tomllib.loads(patches.read_text(encoding="utf-8"))["patch"]:
        told.setdefault(str(patch["file"]), []).append(patch)
    for name in sorted(told):
        path = folder / "surveys" / name
        kind = path.suffix
        if kind == ".xlsx" and "whole" in told[name][0]:
            path.write_text(str(told[name][0]["whole"]), encoding="utf-8")
        elif kind == ".xlsx":
            _workbook(path, told[name])
        elif kind == ".csv":
            _csv(path, told[name])
        elif kind == ".gpx":
            _gpx(path, told[name])
        else:
            _layer(path, told[name])


def _check(patch: dict[str, Any], found: object) -> None:
    was = patch.get("was", "")
    if str(was) != ("" if found is None else str(found)):
        raise PatchError(
            f"{patch['file']} {patch.get('sheet', '')}!{patch['cell']}: found {found!r}, "
            f"the patch was typed for {was!r}"
        )


def _workbook(path: Path, patches: list[dict[str, Any]]) -> None:
    book = openpyxl.load_workbook(path)
    for patch in patches:
        sheet = book[patch["sheet"]]
        if "merge" in patch:
            sheet.merge_cells(patch["merge"])
            continue
        row, column = coordinate_to_tuple(patch["cell"])
        for i, value in enumerate(patch.get("values", [patch.get("value")])):
            cell = sheet.cell(row, column + i)
            _check(patch, cell.value)
            cell.value = None if value == "" else value
    save_workbook(path, book)


def _csv(path: Path, patches: list[dict[str, Any]]) -> None:
    with path.open(encoding="utf-8-sig", newline="") as source:
        rows = list(csv.reader(source))
    for patch in patches:
        row, column = coordinate_to_tuple(patch["cell"])
        while len(rows) < row:
            rows.append([""] * len(rows[0]))
        for i, value in enumerate(patch.get("values", [patch.get("value")])):
            _check(patch, rows[row - 1][column - 1 + i])
            rows[row - 1][column - 1 + i] = str(value)
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        csv.writer(out, lineterminator="\r\n").writerows(rows)


def _gpx(path: Path, patches: list[dict[str, Any]]) -> None:
    text = path.read_text(encoding="utf-8")
    for patch in patches:
        point = (
            f'  <wpt lat="{patch["lat"]:.7f}" lon="{patch["lon"]:.7f}"><ele>68.0</ele>'
            f"<name>{patch['add']}</name></wpt>\n</gpx>"
        )
        text = text.replace("</gpx>", point)
    path.write_text(text, encoding="utf-8")


def _layer(path: Path, patches: list[dict[str, Any]]) -> None:
    frame = gpd.read_file(path)
    names = [*frame["name"], *(patch["add"] for patch in patches)]
    shapes = [*frame.geometry, *(Point(patch["x"], patch["y"]) for patch in patches)]
    save_layer(path, {"name": names}, shapes)

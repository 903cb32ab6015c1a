"""The seals of the example run: deeper layers, envelope, ranges, and what every paper says."""

from __future__ import annotations

import csv
import zipfile
from pathlib import Path

import pytest

from pipeline.core.materials import Materials, load

NOTE = "no head rating, not for work"


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """A table of the run, read with the csv module alone."""
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def designs(example_run: Path) -> list[dict[str, str]]:
    """Drawn ends of the example."""
    return [d for d in rows(example_run, "designs") if d["is_designed"] == "True"]


@pytest.fixture(scope="module")
def materials(root: Path) -> Materials:
    """The example materials."""
    return load(root / "configs" / "materials_example.toml")


def test_several_layers_are_deeper_than_the_policy(designs: list[dict[str, str]]) -> None:
    """At least five ends are deeper than 20 mm, none thinner; what decided stands beside each."""
    deeper = [d for d in designs if float(d["layer_mm"]) > 20.0]
    assert len(deeper) >= 5
    assert {d["layer_by"] for d in deeper} <= {"bending", "shear"}
    assert min(float(d["layer_mm"]) for d in designs) == 20.0


def test_several_ends_are_held_by_the_envelope(
    example_run: Path, designs: list[dict[str, str]], materials: Materials
) -> None:
    """Heads, bores and free circles beyond the invented envelope hold the design; none is drawn.

    Every drawn end lies inside it by the file's own three figures.
    """
    held = [d for d in rows(example_run, "designs") if "outside envelope" in d["hold_codes"]]
    assert len(held) >= 5
    assert {d["hold_reach"] for d in held} == {"design"}
    assert {d["is_designed"] for d in held} == {"False"}
    own = materials.sealant.envelope
    assert all(
        " m over " in d["hold_words"] for d in held if float(d["design_head_m"]) > own.head_m
    )
    for d in designs:
        assert float(d["design_head_m"]) <= own.head_m
        assert float(d["free_circle_mm"]) <= own.free_circle_mm
        size = min(float(d["bore_mm"]), float(d["bore_b_mm"] or "inf"))
        assert size <= own.bore_mm


def test_every_paper_carries_the_note(example_run: Path) -> None:
    """Map, workbooks with quantities, every order (XML and CSV), every sheet of an end, run record."""
    texts = [example_run / "map.html", example_run / "run.json"]
    texts += sorted((example_run / "procurement" / "orders").iterdir())
    for path in texts:
        assert NOTE in path.read_text("utf-8"), path.name
    for path in (example_run / "programme.xlsx", example_run / "procurement" / "schedule.xlsx"):
        with zipfile.ZipFile(path) as book:
            assert NOTE in book.read("xl/sharedStrings.xml").decode("utf-8"), path.name
    for d in rows(example_run, "designs"):
        assert d["is_needed"] == "False" or NOTE in d["cautions"]


def test_ranges_are_ranges(example_run: Path, designs: list[dict[str, str]]) -> None:
    """P50 <= P90 of every end and order line; a total is less than its summed P90s."""
    assert all(float(d["sealant_p50_ml"]) < float(d["sealant_p90_ml"]) for d in designs)
    lines = [n for n in rows(example_run, "order_lines") if n["item_id"].startswith("sealant")]
    assert lines
    for line in lines:
        assert float(line["need_firm"]) <= float(line["need_firm_p90"])
        assert float(line["need_provisional"]) <= float(line["need_provisional_p90"]) + 1e-9
    needs = [n for n in rows(example_run, "needs")
             if n["firmness"] == "firm" and n["item_id"].startswith("sealant")]  # fmt: skip
    summed = sum(float(n["quantity_p90"]) for n in needs)
    assert sum(float(n["need_firm_p90"]) for n in lines) < summed

"""The materials file: what is read, and how faults are told."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.core import settings_file
from pipeline.core.contract import EXAMPLE_MATERIALS_NOTE
from pipeline.core.errors import UsageError
from pipeline.core.materials import load, papers_say


@pytest.fixture
def example(root: Path) -> str:
    return (root / "configs" / "materials_example.toml").read_text("utf-8")


def _load(tmp_path: Path, text: str) -> str:
    """The message that a changed file is refused with."""
    path = tmp_path / "materials.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as fault:
        load(path)
    return str(fault.value)


def test_example_reads(root: Path) -> None:
    """The example is complete, in catalogue order, and says what it is."""
    materials = load(root / "configs" / "materials_example.toml")
    assert [i.outer_mm for i in materials.sleeves] == [40, 30, 20, 15, 10]
    assert [i.outer_mm for i in materials.collars] == [15, 20, 30]
    assert materials.note == EXAMPLE_MATERIALS_NOTE
    # wall rule 0.8 + 0.06 x outer, by hand: 20 - 2 x 2.0
    assert materials.filler.bore_mm(20.0) == pytest.approx(16.0)
    assert materials.sealant.bond("fibrous wrap", "dry", "long") == (0.0, 0.0)
    assert materials.sealant.bond("clay", "wet", "cyclic") == (55.0, 100.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("\nexample = true", "\nexample = false", "certificate"),
        ('item_id = "sealant-310"', 'item_id = "sealant-999"', "sealant-999"),
        ('id = "sleeve-15"', 'id = "sleeve-10"', "stand twice: sleeve-10"),
        ("factor = 1.6", "factor = 0.9", "factor = 0.9"),
        ("nozzle_mm = 6.0", "nozle_mm = 6.0", "no such key"),
        ("cure_days = 7.0", "", "not given"),
        ("long = 110.0", "long = 0.0", "long = 0.0"),
        ("wall_share = 0.06", "wall_share = 0.5", "leaves no bore"),
        ('parts = "one"', 'parts = "two"', "pot_life_min"),
        ("most_c = 35.0", "most_c = 5.0", "least_c"),
        ('counted_by = "site"', 'counted_by = "town"', "counted_by"),
        ('substrate = "clay"', 'substrate = "fibre"', "listed twice"),
        ("outer_mm = 40.0\n", "", "needs outer_mm"),
        ("pack_ml = 310.0\n", "", "needs pack_ml"),
    ],
)
def test_faults_name_the_key(tmp_path: Path, example: str, old: str, new: str, words: str) -> None:
    """Each fault is one message with the key and the reason, never a traceback."""
    assert old in example
    assert words in _load(tmp_path, example.replace(old, new, 1))


def test_missing_or_broken_file(tmp_path: Path) -> None:
    """A missing file and a file that is no TOML are told as such."""
    with pytest.raises(UsageError, match="no materials file"):
        load(tmp_path / "none.toml")
    assert "cannot be read as TOML" in _load(tmp_path, "[about\n")


def test_papers_say_it_only_of_example_materials(root: Path, tmp_path: Path) -> None:
    """Papers name example materials; of materials with a certificate they say nothing."""
    settings = settings_file.load(root / "configs" / "clean.toml")
    assert papers_say(settings) == f"{EXAMPLE_MATERIALS_NOTE}."
    text = settings.design.materials.read_text("utf-8").replace("example = true", "example = false")
    real = tmp_path / "real.toml"
    real.write_text(text.replace('certificate = ""', 'certificate = "C-1"'), "utf-8")
    design = settings.design.model_copy(update={"materials": real})
    assert papers_say(settings.model_copy(update={"design": design})) == ""

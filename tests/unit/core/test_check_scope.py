"""What a check reads besides, and what each check needs."""

from __future__ import annotations

from pathlib import Path

from pipeline.core.check_scope import NEEDS, SEALS, by_need, need_of, scope_of
from pipeline.core.settings_file import load
from pipeline.run import not_made


def test_every_check_that_is_not_made_has_one_need() -> None:
    """Nothing is lost by grouping; the two that a run makes are those of the design."""
    groups = by_need(not_made())
    assert sorted(c for codes in groups.values() for c in codes) == list(not_made())
    assert list(groups) == list(NEEDS)
    assert groups[SEALS] == ["duct-19", "duct-20"]
    assert need_of("place-03") == "places"
    assert need_of("place-14") == "floods"  # it looks at the flood grid under the place


def test_files_of_the_settings_that_are_not_named_are_not_read(root: Path) -> None:
    """Of the example: one workbook, and one CSV file out of the folder that the settings name."""
    settings = load(root / "configs" / "example.toml")
    surveys = root / "sample_surveys" / "example" / "surveys"
    scope = scope_of(settings, [surveys / "first_north.xlsx",
                                surveys / "new_approaches" / "ducts.csv"])  # fmt: skip
    assert len(scope.not_read) == len(settings.surveys.files) - 1
    assert "first_north.xlsx" not in scope.not_read
    assert "new_approaches but for what was named" in scope.not_read
    said = " ".join(scope.lines())
    for name in ("rover_points.gpkg", "first_autumn.xlsx", "releases.csv"):
        assert name in said
    whole = scope_of(settings, settings.surveys.files)
    assert whole.not_read == ()
    assert len(whole.lines()) == 1


def test_a_csv_is_read_with_its_folder(root: Path) -> None:
    """A settings file that names single CSV files is met by naming their folder."""
    settings = load(root / "configs" / "example.toml")
    folder = root / "sample_surveys" / "example" / "surveys" / "new_approaches"
    only = settings.surveys.model_copy(update={"files": (folder / "ducts.csv",)})
    assert scope_of(settings.model_copy(update={"surveys": only}), [folder]).not_read == ()

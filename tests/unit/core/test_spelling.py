"""Ids typed in another case."""

from __future__ import annotations

from pipeline.core.spelling import nearest, one_meant, read_as

KNOWN = ("S02-B1", "Pump 7", "pump 7", "Küste")


def test_another_case_is_taken_where_only_one_id_fits() -> None:
    """An exact id stays; one that fits is taken; of two that fit none is guessed."""
    assert one_meant("S02-B1", KNOWN) == "S02-B1"
    assert one_meant(" s02-b1 ", KNOWN) == "S02-B1"
    assert one_meant("KÜSTE", KNOWN) == "Küste"
    assert one_meant("pump 7", KNOWN) == "pump 7"
    assert one_meant("PUMP 7", KNOWN) == ""
    assert one_meant("S02-B", KNOWN) == ""


def test_what_was_read_another_way_is_said() -> None:
    """Nothing is said of an id that is typed as it is."""
    assert read_as("Küste", "Küste") == []
    assert read_as("s02-b1", "S02-B1") == ['"s02-b1" is read as S02-B1: nothing else fits it.']


def test_both_that_fit_are_shown_and_else_the_nearest() -> None:
    """Whoever types PUMP 7 sees that there are two; a slip of a letter finds its id in any case."""
    assert nearest("PUMP 7", KNOWN) == ["Pump 7", "pump 7"]
    assert nearest("s02-b2", KNOWN)[0] == "S02-B1"
    assert nearest("zzz", KNOWN) == []

"""Words and local codes of the programme stand in place of ours, and a wrong code is told."""

from __future__ import annotations

import pytest

from pipeline.core.cautions import ALWAYS, caution_words, check_codes, general
from pipeline.core.errors import UsageError
from pipeline.core.settings import Cautions


def test_words_and_local_code_of_the_settings_are_printed() -> None:
    """The programme's own words, then the code its safety lead names."""
    said = Cautions(
        texts={"confined space": "Ring control first."},
        local_codes={"confined space": "order 7 of the invented country"},
    )
    words = caution_words("confined space", "Our words.", said)
    assert words == "Ring control first. Local code: order 7 of the invented country."
    assert caution_words("asbestos", "Our words.", said) == "Our words."


def test_without_any_local_code_the_last_caution_says_so() -> None:
    """A paper never looks as if codes had been checked: it says that none is named, and where."""
    words = general(ALWAYS, Cautions(country="Nowhere"))
    assert words.endswith("No local code is named for Nowhere: ask which ones apply.")
    named = Cautions(country="Nowhere", local_codes={"asbestos": "rule 1"})
    assert "No local code" not in general(ALWAYS, named)


def test_a_code_that_does_not_exist_is_refused_with_the_nearest() -> None:
    """A slip in a code must not drop a caution's local code unseen."""
    said = Cautions(local_codes={"confined spaces": "x"})
    with pytest.raises(UsageError, match="confined spaces") as fault:
        check_codes(said, {"confined space", "asbestos"})
    assert "confined space" in fault.value.mend

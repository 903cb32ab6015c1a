"""One running intake page for the tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.serving import Served, serving


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The intake page on loopback, without settings."""
    tree = tmp_path_factory.mktemp("serve")
    (tree / "neighbour.txt").write_text("not for the page")
    with serving(tree) as page:
        yield page

"""The run id tells runs apart that write different things, and no others."""

from __future__ import annotations

from pathlib import Path

from pipeline.core.run_id import identify
from pipeline.core.settings_file import load


def test_a_run_of_one_region_is_another_run(root: Path) -> None:
    """Left-out regions change what is written: the id differs, in whatever order they are named."""
    config = root / "configs" / "example.toml"
    settings = load(config)
    whole = identify(config, settings)
    north = identify(config, settings, ["North"])
    both = [identify(config, settings, names) for names in (["North", "South"], ["South", "North"])]
    assert len({whole.short, north.short, both[0].short}) == 3
    assert both[0] == both[1]
    assert whole.only == ()
    assert north.only == ("North",)
    assert identify(config, settings, []).short == whole.short

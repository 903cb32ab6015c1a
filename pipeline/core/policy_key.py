"""One name for a flood policy, so that sites with the same policy share one search."""

from __future__ import annotations


def policy_key(design_aep_per_year: float, climate: str, defences: str, freeboard_m: float) -> str:
    """Name of a policy: event, climate, defences and freeboard in one text."""
    return f"{design_aep_per_year:.9g} | {climate} | {defences} | {freeboard_m:.3f} m"

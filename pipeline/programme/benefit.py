"""How far seals that may fail lower the chance of water inside. Pure."""

from __future__ import annotations


def chance_after(
    before_per_year: float, next_per_year: float, *, reliability: float, seals_count: int
) -> float:
    """Chance of water inside when each of n seals holds with chance r, independently.

    Parameters
    ----------
    before_per_year, next_per_year : float, 0-1
        Chance as found, and chance of the next gate when every seal holds.
    reliability : float, 0-1
        Chance that one seal holds when water comes.
    seals_count : int
        Seals that must all hold.

    Returns
    -------
    float
        p_next + (p_before - p_next) (1 - r^n); p_before where the next gate is not rarer.

    Notes
    -----
    House rule (methods): one seal that fails is taken to bring back the chance as found, which is
    on the wet side, for the seals of a package stand at different levels.
    """
    fall = max(0.0, before_per_year - next_per_year)
    return before_per_year - fall * reliability**seals_count

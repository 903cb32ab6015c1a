"""The class of one opening from the control levels of all that can get to it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from scipy.special import ndtr

from pipeline.core import contract
from pipeline.core.units import down_mm, up_mm
from pipeline.exposure.links import TAKEN_AS_CLOSED
from pipeline.exposure.network import AS_IS, DISTRUSTED, LOWERED, RAISED
from pipeline.exposure.water import Water

ONE_SIDED_5_PERCENT: Final = 0.05


@dataclass(frozen=True)
class Reaching:
    """One source that may get to an opening: its control level in four runs (m) and its water.

    `is_assumed`: somewhere on the way something is taken as open because it is not known.
    """

    control_m: tuple[float, float, float, float]
    mechanism: str
    place_id: str
    water: Water
    words: tuple[str, ...]
    places: tuple[str, ...]
    is_direct: bool
    is_proved: bool
    chambers_count: int = 0
    is_assumed: bool = False

    def policy_mm(self, freeboard_m: float) -> float:
        """Policy line of this source in whole mm, water up; NaN where it stays dry."""
        if math.isnan(self.water.design_m):
            return math.nan
        if math.isinf(self.water.design_m):
            return math.inf
        return float(up_mm(self.water.design_m + freeboard_m))

    def margin_mm(self, run: int, freeboard_m: float) -> float:
        """Control level minus policy line in one run; NaN where the source stays dry."""
        policy = self.policy_mm(freeboard_m)
        if math.isnan(policy):
            return math.nan
        control = self.control_m[run]
        if policy == math.inf or control == -math.inf:
            return -math.inf
        return float(down_mm(control)) - policy if math.isfinite(control) else math.inf


@dataclass(frozen=True)
class Verdict:
    """Class, margin and reason of an opening, and the source that decides (None = none)."""

    level_class: str
    reason: str
    way: str
    margin_mm: float
    is_bound: bool
    decides: Reaching | None


@dataclass(frozen=True)
class Opening:
    """What is known of the opening itself."""

    level_m: float
    limit_mm: float
    has_pedigree: bool
    pedigree_gap: str
    is_proved: bool
    is_unknown_far: bool
    is_modelled: bool
    missing_place: str
    closed_by: str
    nearest: Water | None


def chance_below(level_m: float, u_m: float, water_m: float, water_u_m: float) -> float:
    """Chance that an opening lies below the water: Phi((W - C) / sqrt(u_C^2 + u_W^2)).

    Parameters
    ----------
    level_m, u_m : float
        Control level and its doubt, one standard deviation (m).
    water_m, water_u_m : float
        Water level and its doubt (m).

    Returns
    -------
    float
        Equal levels without doubt count as below.

    References
    ----------
    Normal difference of two independent errors; any statistics text.

    """
    if not (math.isfinite(level_m) and math.isfinite(water_m)):
        return 1.0 if level_m <= water_m else 0.0
    u = math.hypot(u_m, 0.0 if math.isnan(water_u_m) else water_u_m)
    if u == 0.0:
        return 1.0 if level_m <= water_m else 0.0
    return float(ndtr((water_m - level_m) / u))


def classify(opening: Opening, sources: list[Reaching], *, freeboard_m: float, k: float) -> Verdict:
    """Give an opening its class.

    Parameters
    ----------
    opening : Opening
    sources : list of Reaching
        Every source that a way leads from, also those that stay dry.
    freeboard_m : float
        Policy freeboard (m).
    k : float
        One-sided limit in standard deviations.

    Returns
    -------
    Verdict

    Notes
    -----
    House rule for `above`: dry in the distrusted run, in which every cover, crest and invert
    without pedigree and every link without proof is no obstacle; the opening's own level has
    pedigree; its own duct is proved; the water of every place on the way is modelled.

    """
    margins = [(r.margin_mm(AS_IS, freeboard_m), i) for i, r in enumerate(sources)]
    known = [(m, i) for m, i in margins if not math.isnan(m)]
    margin, at = min(known, default=(math.nan, -1))
    decides = sources[at] if at >= 0 else None
    way = _way(opening, sources, freeboard_m)
    level_class, reason = _class(opening, sources, decides, freeboard_m, k)
    if level_class == contract.NO_FLOOD and not _wet(sources, AS_IS, freeboard_m):
        way = contract.WAY_UNKNOWN
    return Verdict(level_class, reason, way, margin, _is_bound(decides), decides)


def _is_bound(decides: Reaching | None) -> bool:
    """The nearest water may stand lower at the place itself: the margin is 'at least' this."""
    return decides is not None and decides.water.is_nearest


def _wet(sources: list[Reaching], run: int, freeboard_m: float) -> list[Reaching]:
    return [r for r in sources if r.margin_mm(run, freeboard_m) <= 0]


def _way(opening: Opening, sources: list[Reaching], freeboard_m: float) -> str:
    wet = _wet(sources, AS_IS, freeboard_m)
    over, under = any(r.is_direct for r in wet), any(not r.is_direct for r in wet)
    if over and under:
        return contract.BOTH_WAYS
    if over or under:
        return contract.OVER_GROUND if over else contract.THROUGH_DUCT
    return contract.WAY_UNKNOWN if opening.is_unknown_far and not sources else contract.NONE_FOUND


def _class(
    opening: Opening,
    sources: list[Reaching],
    decides: Reaching | None,
    freeboard_m: float,
    k: float,
) -> tuple[str, str]:
    if math.isnan(opening.level_m):
        return contract.NO_LEVEL, "its level is not known; treated as reached by water"
    wet = _wet(sources, AS_IS, freeboard_m)
    if _wet(sources, RAISED, freeboard_m):
        return contract.BELOW, _wet_words(wet or _wet(sources, RAISED, freeboard_m), freeboard_m)
    unproved = [r for r in wet if not r.is_proved and not r.is_direct]
    if unproved:
        return contract.BELOW, "link unproved: " + _wet_words(unproved, freeboard_m)
    if not opening.is_modelled:
        where = opening.missing_place or "the places behind it"
        return (
            contract.NO_FLOOD,
            f"the flood is not modelled at {where}; that is not the same as dry",
        )
    if _wet(sources, LOWERED, freeboard_m):
        margin = min(
            r.margin_mm(AS_IS, freeboard_m)
            for r in sources
            if not math.isnan(r.margin_mm(AS_IS, freeboard_m))
        )
        return contract.CLOSE, f"within the doubt of the levels: {margin:+.0f} mm"
    return _above_or_close(opening, sources, decides, freeboard_m, k)


def _above_or_close(
    opening: Opening,
    sources: list[Reaching],
    decides: Reaching | None,
    freeboard_m: float,
    k: float,
) -> tuple[str, str]:
    near = opening.nearest
    line = math.nan if near is None else float(up_mm(near.design_m + freeboard_m))
    # a seal in its bore holds whatever stands near; without one the water may come nearer
    if not opening.closed_by and float(down_mm(opening.level_m)) - opening.limit_mm <= line:
        return contract.CLOSE, (
            f"nearest water: it lies below the water that stands nearby ({line / 1000:.3f} m with "
            "freeboard); the wall itself stays dry and no way was found"
        )
    gap = _gap(opening, sources, freeboard_m)
    if gap:
        return contract.CLOSE, f"dry by the levels at hand, but {gap}"
    for r in sources:
        if math.isnan(r.water.design_m):
            continue
        u_w = r.water.design_u_m
        if math.isnan(u_w) or freeboard_m < k * u_w:
            u_c = (r.control_m[AS_IS] - r.control_m[LOWERED]) / k
            chance = chance_below(r.control_m[AS_IS], u_c, r.water.design_m, u_w)
            if math.isnan(u_w) or chance >= ONE_SIDED_5_PERCENT:
                return contract.CLOSE, (
                    f"the freeboard is smaller than the doubt of the water level; chance below "
                    f"{chance:.0%}"
                )
    return contract.ABOVE, _above_words(opening, decides, freeboard_m)


def _gap(opening: Opening, sources: list[Reaching], freeboard_m: float) -> str:
    """What keeps a dry opening from being cleared; '' = nothing."""
    if not opening.has_pedigree:
        return f"its own level cannot clear ({opening.pedigree_gap or 'no pedigree'})"
    if opening.closed_by:
        return ""
    if opening.is_unknown_far:
        return "where its duct leads is not known"
    if not opening.is_proved:
        return "link unproved"
    doubtful = _wet(sources, DISTRUSTED, freeboard_m)
    if doubtful:
        return f"a level or link on the way from {doubtful[0].place_id} cannot clear"
    return ""


def _wet_words(wet: list[Reaching], freeboard_m: float) -> str:
    worst = min(wet, key=lambda r: (r.margin_mm(AS_IS, freeboard_m), r.place_id))
    margin = worst.margin_mm(AS_IS, freeboard_m)
    by = "below" if math.isinf(margin) else f"below by {-margin:.0f} mm"
    near = " (nearest water)" if worst.water.is_nearest else ""
    return f"{by}: {worst.words[0]}{near}" if worst.words else by


def _above_words(opening: Opening, decides: Reaching | None, freeboard_m: float) -> str:
    if opening.closed_by == TAKEN_AS_CLOSED:
        return "taken as closed by a seal that holds"
    if opening.closed_by:
        return f"closed by seal {opening.closed_by}: dated, inspected, sound and rated"
    if decides is None:
        return "no modelled water stands near any way to it in the design event"
    margin = decides.margin_mm(AS_IS, freeboard_m)
    if math.isinf(margin):
        return "no way leads to it from any water of the design event"
    least = "at least " if decides.water.is_nearest else ""
    return f"above by {least}{margin:.0f} mm, levels and links proved on the whole way"

"""One circle more: push overlapping circles apart until all of them fit, or give up.

Greedy corner placement leaves a few circles on the table. Here each of its packings is given one
circle more, put into its largest hole, and the overlaps are pushed out (circles that were there
before do not move). Where that fails, the most squeezed or a random circle hops to the largest
hole and the push starts again. All packings, and as many more of circles thrown in at random, are
pushed side by side as one set of arrays: plain numpy is fast enough, there is no second compiled
way, and every installation makes the same drawing as far as its floats are the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from pipeline.design.geometry import Array, Opening

Effort = Literal["greedy", "quick", "standard", "thorough"]
Index = npt.NDArray[np.intp]
Points = npt.NDArray[np.complex128]

INFLATE_MM: Final = 1e-3  # radii are larger by this while pushing: a push that ends fits with room
OVERLAP_MM: Final = 1e-6  # true radii may overlap by this; exact touch is accepted
# Rounds at most; each pushes every packing once. Fewer beside cables, where each end is its own.
_ROUNDS: Final = {"greedy": 0, "quick": 2, "standard": 40, "thorough": 60}
_ROUNDS_BESIDE: Final = {"greedy": 0, "quick": 2, "standard": 40, "thorough": 80}
# All but thorough give up where the least energy over radius squared stays above these; by trial.
_GIVE_UP: Final = (0.008, 0.004)
_LATER: Final = 3  # rounds after which the second of them counts
_GIVE_UP_BESIDE: Final = (0.022, 0.5)  # beside cables: a / (1 + round) ** b
_CHAINS: Final = 18  # packings that are pushed side by side
_THROWN: Final = 12  # of these begin with circles thrown in at random
_AT_RANDOM: Final = 0.7  # part of the hops that move a random circle, not the most squeezed
_NOISE: Final = 0.5  # of a radius: how far a hop may prefer a smaller hole
_BLOCK: Final = 12  # steps between two looks at the progress
_BLOCKS: Final = 14  # blocks of a push at most
_STEP: Final = 0.22  # of a unit spring; the contact graph's largest stiffness is about 4
_LOST: Final = 3e-4  # energy over radius squared that no polishing would mend
_STALLED: Final = 0.98  # a block that leaves more than this of the energy has ended
_HOPEFUL: Final = 1e-4  # energy over radius squared that may be polished away
_POLISHED: Final = 3  # packings of a round that are polished, lowest energy first
_GRID: Final = 0.55  # spacing of the points that the largest hole is looked for at, in radii
_REACH: Final = 0.02  # of a radius that a circle may move in the first polishing step
_SHRINK: Final = 0.2  # of it in each next one
_POLISH: Final = 7  # polishing steps at most


@dataclass(frozen=True)
class Task:
    """An opening with its fixed circles, and the radius of the circles to add (mm)."""

    hole: Opening
    xy_mm: Array  # (m, 2) circles that do not move
    radii_mm: Array  # (m,)
    radius_mm: float

    def inner(self, inflate_mm: float) -> tuple[float, float, float]:
        """Half sizes of the core of the opening drawn in by the radius, and the arc about it."""
        by_mm = self.radius_mm + inflate_mm
        arc_mm = max(self.hole.corner_mm - by_mm, 0.0)
        core = (self.hole.half_x_mm - by_mm - arc_mm, self.hole.half_y_mm - by_mm - arc_mm)
        return max(core[0], 0.0), max(core[1], 0.0), arc_mm


def one_more(task: Task, starts: list[Array], *, effort: Effort) -> Array:
    """The fullest packing that pushes can make of greedy ones.

    Parameters
    ----------
    task : Task
    starts : list of array (n, 2)
        Centres of packings without overlap, in any order (mm).
    effort : str
        greedy (no pushes), quick (36 pushes at most), standard (720 at most) or thorough. All but
        thorough give up as soon as the least energy that is left is too high, often after 18
        pushes; thorough does not (1,080, beside other circles 1,440). All begin alike, so that
        more effort is never worse.

    Returns
    -------
    array (n, 2)
        Centres of the added circles (mm); the first fullest start where nothing is gained.

    Notes
    -----
    A heuristic: a fuller packing may exist. Random hops are seeded from the task. The figures by
    trial are house rules, found on empty bores.

    References
    ----------
    Hops from a local minimum to the next, kept where they end lower: monotonic basin hopping.
    Steps: Nesterov's accelerated gradient with O'Donoghue and Candes' restart (from memory).
    """
    best = max(starts, key=len)
    while len(best) and effort != "greedy":
        found = _search(task, starts, len(best) + 1, effort)
        if found is None:
            break
        best = found
        starts = [found, *starts]
    return best


def _search(task: Task, starts: list[Array], count: int, effort: Effort) -> Array | None:
    points = _grid(task)
    if not _may_fit(task, count) or len(points) == 0:
        return None
    rng = np.random.default_rng(_seed(task, count))
    xy = _begin(task, starts, count, points, rng)
    best, least = xy, np.full(len(xy), np.inf)
    rounds = _ROUNDS_BESIDE if len(task.radii_mm) else _ROUNDS
    for step in range(rounds[effort]):
        xy, energy = _relaxed(task, xy)
        promising = np.flatnonzero(energy < _HOPEFUL * task.radius_mm**2)
        for chain in promising[np.argsort(energy[promising], kind="stable")][:_POLISHED]:
            fitted = _polished(task, xy[chain])
            if fitted is not None:
                return fitted
        # a push that ends higher than the one before is taken back
        best = np.where((energy < least)[:, None, None], xy, best)
        least = np.minimum(energy, least)
        if effort != "thorough" and least.min() > _limit(task, step) * task.radius_mm**2:
            return None
        xy = _hopped(task, best, points, rng)
    return None


def _limit(task: Task, step: int) -> float:
    """Least energy over radius squared above which a further round is not worth its time."""
    if len(task.radii_mm) == 0:
        return _GIVE_UP[step >= _LATER]
    start, power = _GIVE_UP_BESIDE
    return float(start / (1.0 + step) ** power)


def _begin(
    task: Task, starts: list[Array], count: int, points: Array, rng: np.random.Generator
) -> Array:
    """The fullest packings topped up, and as many circles thrown in at random."""
    chains = sorted(starts, key=lambda s: -len(s))[: _CHAINS - _THROWN]
    out = [_topped_up(task, s, count, points) for s in chains]
    while len(out) < _CHAINS:
        thrown = points[rng.integers(0, len(points), count)]
        out.append(thrown + rng.uniform(-0.5, 0.5, thrown.shape) * _GRID * task.radius_mm)
    return np.stack(out)


def _may_fit(task: Task, count: int) -> bool:
    """False where the areas alone rule the count out."""
    taken = np.sum(np.square(task.radii_mm)) + count * task.radius_mm**2
    return bool(np.pi * taken < task.hole.area_mm2)


def _seed(task: Task, count: int) -> list[int]:
    """Whole numbers that name the task, to a micrometre."""
    sizes = [task.hole.half_x_mm, task.hole.half_y_mm, task.hole.corner_mm, task.radius_mm]
    every = np.concatenate([sizes, task.xy_mm.ravel(), task.radii_mm])
    return [count, *(int(v) for v in np.round(np.abs(every) * 1000.0))]


def _grid(task: Task) -> Array:
    """Points all over the drawn-in opening."""
    core_x, core_y, arc = task.inner(0.0)
    half = np.array([core_x + arc, core_y + arc])
    counts = np.ceil(2.0 * half / (_GRID * task.radius_mm)).astype(int) + 1
    x, y = (np.linspace(-h, h, int(n)) for h, n in zip(half, counts, strict=True))
    every = np.column_stack([np.repeat(x, len(y)), np.tile(y, len(x))])
    every = every[task.hole.inset(task.radius_mm).inside_mm(every) >= -1e-9]
    if len(task.radii_mm) == 0:
        return np.asarray(every)
    apart = np.linalg.norm(every[:, None] - task.xy_mm[None], axis=-1) - task.radii_mm
    return np.asarray(every[apart.min(axis=1) > 0.5 * task.radius_mm])


def _topped_up(task: Task, start: Array, count: int, points: Array) -> Array:
    """The packing with circles put into its largest holes until there are `count`."""
    xy = start[:count]
    while len(xy) < count:
        room = _room(task, xy[None], points)
        xy = np.vstack([xy, points[np.argmax(np.round(room, 6), axis=1)]])
    return xy


def _room(task: Task, xy: Array, points: Array) -> Array:
    """Distance from each point of the grid to the nearest circle (chains, points), in mm.

    The wall is as far as the radius already: points lie in the drawn-in opening.
    """
    room = np.full((len(xy), len(points)), 2.0 * task.radius_mm)
    if len(task.radii_mm):
        fixed = np.linalg.norm(points[:, None] - task.xy_mm[None], axis=-1) - task.radii_mm
        room = np.minimum(room, fixed.min(axis=1))
    if xy.shape[1]:
        dx = points[None, :, None, 0] - xy[:, None, :, 0]
        dy = points[None, :, None, 1] - xy[:, None, :, 1]
        room = np.minimum(room, np.sqrt((dx * dx + dy * dy).min(axis=2)) - task.radius_mm)
    return np.asarray(room)


@dataclass(frozen=True)
class _Springs:
    """Overlaps of all chains as springs; a point of the plane is one complex number."""

    reach: Array  # (moving, all) sums of radii, 0 for a circle with itself
    fixed: Points  # (m,)
    core: tuple[float, float]
    arc_mm: float

    def pull(self, every: Points) -> tuple[Points, Array, Array]:
        """Force on each moving circle (chains, n), overlaps (chains, n, all) and with the wall.

        `every` is (chains, n + m): moving circles first.
        """
        n = len(self.reach)
        at = every[:, :n]
        delta = at[:, :, None] - every[:, None, :]
        dist = np.abs(delta)
        over = self.reach - dist
        np.maximum(over, 0.0, out=over)
        np.maximum(dist, 1e-9, out=dist)
        np.divide(over, dist, out=dist)
        delta *= dist
        force = delta.sum(axis=2)
        if self.core[0] > 0.0 or self.core[1] > 0.0:
            near = np.empty_like(at)
            near.real = np.clip(at.real, -self.core[0], self.core[0])
            near.imag = np.clip(at.imag, -self.core[1], self.core[1])
            beyond = at - near
        else:
            beyond = at
        out = np.abs(beyond)
        wall = np.maximum(out - self.arc_mm, 0.0)
        force -= wall / np.maximum(out, 1e-9) * beyond
        return force, over, wall

    def with_fixed(self, xy: Array) -> Points:
        """All circles of each chain as complex numbers (chains, n + m)."""
        moving = xy[..., 0] + 1j * xy[..., 1]
        fixed = np.broadcast_to(self.fixed, (len(xy), len(self.fixed)))
        return np.concatenate([moving, fixed], axis=1)


def _springs(task: Task, count: int, inflate_mm: float) -> _Springs:
    radius = task.radius_mm + inflate_mm
    moving = np.full((count, count), 2.0 * radius)
    np.fill_diagonal(moving, 0.0)
    fixed = np.broadcast_to(task.radii_mm + radius, (count, len(task.radii_mm)))
    core_x, core_y, arc = task.inner(inflate_mm)
    points = task.xy_mm[:, 0] + 1j * task.xy_mm[:, 1]
    return _Springs(np.hstack([moving, fixed]), points, (core_x, core_y), arc)


def _energy(over: Array, wall: Array) -> Array:
    """Squared overlaps of each chain (mm2), every pair once."""
    n = wall.shape[1]
    own, fixed = over[:, :, :n], over[:, :, n:]
    energy = np.einsum("bij,bij->b", own, own) / 2.0 + np.einsum("bij,bij->b", fixed, fixed)
    return np.asarray(energy + np.einsum("bi,bi->b", wall, wall))


def _relaxed(task: Task, xy: Array) -> tuple[Array, Array]:
    """Chains after pushing, and their energies (mm2); Nesterov steps, restarted when uphill."""
    n = xy.shape[1]
    springs = _springs(task, n, INFLATE_MM)
    look = springs.with_fixed(xy)
    now = look[:, :n].copy()
    energies = np.full(len(xy), np.inf)
    alive = np.arange(len(xy))
    x, age, before = now.copy(), np.zeros(len(xy)), np.full(len(xy), np.inf)
    goal, lost = 1e-8 * task.radius_mm**2, _LOST * task.radius_mm**2
    for block in range(_BLOCKS):
        for _ in range(_BLOCK):
            force, over, wall = springs.pull(look)
            new = look[:, :n] + _STEP * force
            speed = new - x
            uphill = (force.real * speed.real + force.imag * speed.imag).sum(axis=1) < 0.0
            age = np.where(uphill, 0.0, age + 1.0)
            x = new
            look[:, :n] = x + speed * (age / (age + 3.0))[:, None]
        energy = _energy(over, wall)
        now[alive], energies[alive] = x, energy
        if (energy < goal).any():
            break
        # an energy that would end too high at its present rate is not worth more steps
        rate = energy / before
        keep = (rate < _STALLED) & (energy * rate ** (_BLOCKS - block - 1) < lost)
        alive, x, age, before, look = alive[keep], x[keep], age[keep], energy[keep], look[keep]
        if len(alive) == 0:
            break
    return np.stack([now.real, now.imag], axis=-1), energies


def _polished(task: Task, xy: Array) -> Array | None:
    """The packing at true radii without overlap, or None.

    Linear programs in a row: the least deepest overlap within a small step of each circle. Pairs
    overlap less than their tangents say, so that only the wall needs repeating.
    """
    step_mm = _REACH * task.radius_mm
    for _ in range(_POLISH):
        over, rows = _contacts(task, xy, 3.0 * step_mm)
        if float(over.max(initial=0.0)) <= OVERLAP_MM:
            return xy
        size = rows.shape[1]
        answer = linprog(
            np.append(np.zeros(size), 1.0),
            A_ub=np.hstack([-rows, np.full((len(rows), 1), -1.0)]),
            b_ub=-over,
            bounds=[*[(-step_mm, step_mm)] * size, (-INFLATE_MM / 2.0, None)],
            method="highs-ds",
        )
        # the wall's bend adds at most step^2 / reach of it, later steps mend that much
        if not answer.success or answer.fun > step_mm / 10.0:
            return None
        xy = xy + answer.x[:-1].reshape(-1, 2)
        step_mm *= _SHRINK
    return None


def _contacts(task: Task, xy: Array, band_mm: float) -> tuple[Array, Array]:
    """Overlaps at true radii above -band (mm), and how each shrinks with x and y (rows, 2n)."""
    n, inner = len(xy), task.inner(0.0)
    i, j = np.triu_indices(n, 1)
    pair = xy[i] - xy[j]
    far = np.hypot(pair[:, 0], pair[:, 1])
    over = 2.0 * task.radius_mm - far
    hit = np.flatnonzero(over > -band_mm)
    values, of, unit = [over[hit]], i[hit], pair[hit] / np.maximum(far[hit], 1e-9)[:, None]
    own = np.zeros((len(hit), n, 2))
    own[np.arange(len(hit)), of] = unit
    own[np.arange(len(hit)), j[hit]] = -unit
    delta = (xy[:, None] - task.xy_mm[None]).reshape(-1, 2)
    far = np.hypot(delta[:, 0], delta[:, 1])
    over = np.tile(task.radii_mm, n) + task.radius_mm - far
    hit = np.flatnonzero(over > -band_mm)
    values.append(over[hit])
    units = [delta[hit] / np.maximum(far[hit], 1e-9)[:, None]]
    which = [hit // max(len(task.radii_mm), 1)]
    beyond = np.abs(xy) - np.array(inner[:2])
    beyond = np.maximum(beyond, 0.0) if inner[2] > 0.0 else beyond
    for a, direction, over in _walls(xy, beyond, inner[2]):
        hit = np.flatnonzero(over > -band_mm)
        values.append(over[hit])
        units.append(direction[hit])
        which.append(a[hit])
    single, at = np.concatenate(units), np.concatenate(which)
    rows = np.zeros((len(at), n, 2))
    rows[np.arange(len(at)), at] = single
    return np.concatenate(values), np.concatenate([own, rows]).reshape(-1, 2 * n)


def _walls(xy: Array, beyond: Array, arc_mm: float) -> list[tuple[Index, Array, Array]]:
    """Circle, direction away from the wall, and overlap with it: arcs, or two pairs of sides."""
    every = np.arange(len(xy))
    if arc_mm > 0.0:
        out = np.hypot(beyond[:, 0], beyond[:, 1])
        inward = -np.sign(xy) * beyond / np.maximum(out, 1e-9)[:, None]
        return [(every, inward, out - arc_mm)]
    axes = []
    for axis in (0, 1):
        inward = np.zeros_like(xy)
        inward[:, axis] = -np.sign(xy[:, axis])
        axes.append((every, inward, beyond[:, axis]))
    return axes


def _hopped(task: Task, xy: Array, points: Array, rng: np.random.Generator) -> Array:
    """Every packing with its most squeezed or a random circle moved to one of its larger holes."""
    chains, count = xy.shape[:2]
    springs = _springs(task, count, INFLATE_MM)
    _, over, wall = springs.pull(springs.with_fixed(xy))
    squeezed = np.argmax(np.round(over.sum(axis=2) + wall, 9), axis=1)
    is_random = rng.random(chains) < _AT_RANDOM
    chosen = np.where(is_random, rng.integers(0, count, chains), squeezed)
    rows = np.arange(chains)
    rest = xy.copy()
    rest[rows, chosen] = 1e9
    room = _room(task, rest, points)
    room += _NOISE * task.radius_mm * rng.random(room.shape)
    out = xy.copy()
    out[rows, chosen] = points[np.argmax(room, axis=1)]
    return out

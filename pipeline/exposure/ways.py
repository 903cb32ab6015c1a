"""Best ways into one mouth from every place, in the four runs, by one search against the water."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.exposure.links import Link
from pipeline.exposure.network import AS_IS, RUNS, Mouth, Waterworks
from pipeline.exposure.network_parts import Part, parts
from pipeline.exposure.search import NOWHERE, settle

_RUNS: Final = range(len(RUNS))
_NOT_PROVED: Final = ("not proved", "unknown duct", "not known")


@dataclass(frozen=True)
class Way:
    """The way from a place to a mouth, in the four runs."""

    control_m: tuple[float, float, float, float]
    edges: tuple[int, ...]
    link: Link | None
    is_proved: bool


@dataclass(frozen=True)
class _Found:
    """Control levels from every place of one part, and the next step of the way as it is."""

    part: Part
    level_m: npt.NDArray[np.float64]
    via: npt.NDArray[np.int64]


class Ways:
    """The network, ready for searches into mouths."""

    def __init__(self, works: Waterworks) -> None:
        self.works = works
        self.component, self.parts = parts(works)
        self.place_in = np.zeros(len(works.nodes), dtype=np.int64)
        for part in self.parts:
            self.place_in[part.nodes] = np.arange(part.nodes.size)

    def into(self, mouth: Mouth, without: int) -> Into:
        """Search from a mouth back to every place that water can come from.

        Parameters
        ----------
        mouth : Mouth
        without : int
            A place that the water may not pass (-1 = none).

        Returns
        -------
        Into

        """
        return Into(self, mouth, without)


class Into:
    """Best ways into one mouth."""

    def __init__(self, ways: Ways, mouth: Mouth, without: int) -> None:
        self._ways = ways
        self._mouth = mouth
        self._found: dict[int, _Found] = {}
        for number in sorted({int(ways.component[node]) for node, _, _ in mouth.places}):
            part = ways.parts[number]
            out = NOWHERE
            if without != NOWHERE and ways.component[without] == number:
                out = int(ways.place_in[without])
            self._found[number] = self._search(part, number, out)

    def _search(self, part: Part, number: int, without: int) -> _Found:
        ways = self._ways
        here = [
            (int(ways.place_in[node]), crest)
            for node, crest, _ in self._mouth.places
            if ways.component[node] == number
        ]
        runs = [
            settle(part.back, part.crest_m[run], [(v, c[run]) for v, c in here], without)
            for run in _RUNS
        ]
        return _Found(part, np.array([level for level, _ in runs]), runs[AS_IS][1])

    def from_place(self, start: int) -> Way | None:
        """Best way from a place; None where no way leads in any run.

        Parameters
        ----------
        start : int
            Place of the whole network.

        Returns
        -------
        Way or None

        """
        found = self._found.get(int(self._ways.component[start]))
        if found is None:
            return None
        at = int(self._ways.place_in[start])
        control = found.level_m[:, at].tolist()
        if min(control) == math.inf:
            return None
        edges: tuple[int, ...] = ()
        link = None
        if control[AS_IS] < math.inf:
            edges, last = self._follow(found, at)
            link = self._link_at(last)
        words = [self._ways.works.edge_words[e] for e in edges]
        proved = (link is None or link.is_proved) and not any(
            no in word for word in words for no in _NOT_PROVED
        )
        return Way((control[0], control[1], control[2], control[3]), edges, link, proved)

    def _follow(self, found: _Found, at: int) -> tuple[tuple[int, ...], int]:
        """Steps from a place of the part on, and the place of the whole network they end at."""
        part = found.part
        edges = []
        while (step := int(found.via[at])) != NOWHERE:
            edges.append(int(part.edges[step]))
            at = int(part.head[step])
        return tuple(edges), int(part.nodes[at])

    def _link_at(self, node: int) -> Link | None:
        """Duct of the mouth that the way takes at last: the one of the lowest crest there."""
        here = [(crest[AS_IS], link) for place, crest, link in self._mouth.places if place == node]
        lowest = min(crest for crest, _ in here)
        return next(link for crest, link in here if crest == lowest)

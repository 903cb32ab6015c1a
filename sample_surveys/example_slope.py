"""Where things stand: a place on the valley side or on an island whose ground has a given height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_surveys import example_land as land
from sample_surveys.example_plan import Site

EVENT_OF_CLASS = {"ordinary": 2, "important": 3, "vital": 4}  # place in example_land.AEPS


@dataclass(frozen=True)
class Slope:
    """The slope that a site stands on."""

    site: Site

    def design_level(self) -> float:
        """Water level of the site's policy event at the site (m), exact in a pool."""
        event = EVENT_OF_CLASS[self.site.critical]
        if self.site.island:
            return land.SEA_LEVELS[event]
        return round(float(land.river_level(np.array([self.site.place]), event)[0]), 2)

    def at(self, offset_m: float, ground_m: float) -> tuple[float, float]:
        """Easting and northing (m) of the place beside the site where the ground has a height.

        `offset_m` is counted along the slope (eastwards by the river), `ground_m` up it.
        """
        if self.site.island:
            return self._on_island(offset_m, ground_m)
        x = self.site.place + offset_m
        middle = float(land.river_y(np.array([x]))[0])
        low, high = 300.0, 1_600.0
        for _ in range(60):
            half = 0.5 * (low + high)
            y = middle + self.site.side * half
            if float(land.mainland(np.array([x]), np.array([y]))[0]) < ground_m:
                low = half
            else:
                high = half
        return round(x, 1), round(middle + self.site.side * high, 1)

    def _on_island(self, offset_m: float, ground_m: float) -> tuple[float, float]:
        isle = land.ISLANDS[self.site.island]
        rho = 1.0 - (ground_m - land.SEA_LEVELS[land.DESIGN]) / isle.rise_m
        turn = np.radians(self.site.place) + offset_m / (0.5 * (isle.half_x_m + isle.half_y_m))
        x = isle.x_m + rho * isle.half_x_m * np.cos(turn)
        y = isle.y_m + rho * isle.half_y_m * np.sin(turn)
        return round(float(x), 1), round(float(y), 1)

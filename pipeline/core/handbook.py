"""Constants of nature and of the trade, each with its source."""

from __future__ import annotations

from typing import Final

# ISO 80000-3 rounds standard gravity (9.80665) to this in hand calculations.
G_M_PER_S2: Final = 9.81
# Fresh water, handbook value.
WATER_KG_PER_M3: Final = 1000.0
# Sea water over fresh water; from memory, common hydrographic value.
SEA_WATER_FACTOR: Final = 1.025
# One-sided 95 % of the standard normal distribution.
K_95: Final = 1.645
# The search scale of coordinates of the example: millimetres per metre.
MM_PER_M: Final = 1000.0

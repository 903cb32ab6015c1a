"""Prints how fast levels are read at many places, against rasterio's own sampling in the same run.

Run: python tests/benchmarks/bench_sampling.py [places]   (default 100000)

The task: the level of a 2,000 x 2,000 grid at scattered places; opening the file included on both
sides. rasterio.sample reads place by place; here the file is read once and sampled together.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

from pipeline.core.rasters import open_grid

SIDE = 2_000
CELL_M = 2.0
WEST, NORTH = 4_000_000.0, 3_000_000.0


def main(count: int) -> None:
    """Time both and print the ratio."""
    rng = np.random.default_rng(3)
    x = WEST + rng.uniform(0.0, SIDE * CELL_M, count)
    y = NORTH - rng.uniform(0.0, SIDE * CELL_M, count)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "levels.tif"
        slope = np.linspace(12.0, 10.0, SIDE)[None, :] + np.linspace(0.5, 0.0, SIDE)[:, None]
        with rasterio.open(path, "w", driver="GTiff", height=SIDE, width=SIDE, count=1,
                           dtype="float32", crs="EPSG:3035", nodata=-9999.0, tiled=True,
                           compress="deflate",
                           transform=from_origin(WEST, NORTH, CELL_M, CELL_M)) as file:  # fmt: skip
            file.write(slope.astype("float32"), 1)
        begun = time.perf_counter()
        ours = open_grid(path, working_crs="EPSG:3035").sample(x, y)
        ours_s = time.perf_counter() - begun
        begun = time.perf_counter()
        with rasterio.open(path) as file:
            theirs = np.array([v[0] for v in file.sample(zip(x, y, strict=True))])
        theirs_s = time.perf_counter() - begun
    same = float(np.nanmax(np.abs(ours - theirs)))
    print(f"{count:,} places in a grid of {SIDE} x {SIDE}; largest difference {same:.1e} m")
    print(f"read once, sampled together  {ours_s:7.3f} s")
    print(f"rasterio.sample              {theirs_s:7.3f} s")
    print(f"ratio                        {theirs_s / ours_s:7.1f}   (aim: at least 10)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)

"""A PDF canvas as all our papers use it: same bytes for the same pages, packed once."""

from __future__ import annotations

from pathlib import Path

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

# The library writes packed pages once more as text by default, in plain Python: a third of the time
# of a work pack, and a quarter more bytes, for readers that take no binary files.
rl_config.useA85 = 0


def pdf_canvas(path: Path, size_points: tuple[float, float]) -> Canvas:
    """Make a canvas without clock or random numbers in its file.

    Parameters
    ----------
    path : Path
        File to write.
    size_points : (float, float)
        Width and height of a page.

    Returns
    -------
    Canvas

    """
    return Canvas(str(path), pagesize=size_points, invariant=1, pageCompression=1)

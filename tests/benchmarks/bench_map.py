"""Size, time to ready and panning of our map beside a plain folium.GeoJson of the same openings.

Run from the repository's folder: python -m tests.benchmarks.bench_map [openings]
Both files are opened in the same Chromium in one run; folium's outside scripts are replaced by the
same packed-in Leaflet, because without a network its page would not open at all.
"""

from __future__ import annotations

import html
import re
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import folium
import geopandas as gpd
import shapely

from pipeline.publish.map_data import opening_spots
from pipeline.publish.map_page import _SHIM, _leaflet, write_map
from tests.browser.chromium import chromium
from tests.browser.many import many_tables, settings

RUNS = 3
PANS = 20


def main(openings_count: int) -> None:
    """Write both maps, open both, print the table."""
    tables, asked = many_tables(openings_count), settings()
    with tempfile.TemporaryDirectory() as folder:
        ours, theirs = Path(folder) / "ours.html", Path(folder) / "plain.html"
        began = time.perf_counter()
        write_map(ours, tables, asked, run_id="bench")
        ours_s = time.perf_counter() - began
        began = time.perf_counter()
        _plain(theirs, tables, asked.reference.working_crs)
        theirs_s = time.perf_counter() - began
        with chromium() as browser:
            fast = [_measured(browser, ours, "body[data-ready=yes]", "S.map") for _ in range(RUNS)]
            slow = [_measured(browser, theirs, "path.leaflet-interactive, canvas", "window.plain")
                    for _ in range(RUNS)]  # fmt: skip
        print(f"{openings_count:,} openings        ours        folium.GeoJson   times")
        _line("size (MB)", ours.stat().st_size / 1e6, theirs.stat().st_size / 1e6)
        _line("write (s)", ours_s, theirs_s)
        _line("ready (s), best of 3", min(f[0] for f in fast), min(s[0] for s in slow))
        _line("a pan at street (ms)", min(f[1] for f in fast), min(s[1] for s in slow))
        _line("a pan, all in view (ms)", min(f[2] for f in fast), min(s[2] for s in slow))


def _line(name: str, ours: float, theirs: float) -> None:
    print(f"{name:24s} {ours:10.2f} {theirs:18.2f} {theirs / ours:8.1f}")


def _plain(path: Path, tables: dict[str, Any], working_crs: str) -> None:
    """All openings with the columns of our card, as folium's guide shows it."""
    frame = tables["reach"].merge(tables["designs"], on="end_id", how="left")
    spots = opening_spots(tables)
    frame = gpd.GeoDataFrame(
        frame, geometry=[shapely.Point(spots[o]) for o in frame["opening_id"]], crs=working_crs
    ).to_crs("EPSG:4326")
    page = folium.Map(location=[55.71, -0.45], zoom_start=12, tiles=None, prefer_canvas=True)
    page.default_js, page.default_css = [], []
    folium.GeoJson(
        frame, marker=folium.CircleMarker(radius=5), tooltip=folium.GeoJsonTooltip(["opening_id"])
    ).add_to(page)
    name = page.get_name()
    text = re.sub(r"<(script|link)\b[^>]*(src|href)=\"https?:[^>]*>(</script>)?", "",
                  page.get_root().render())  # fmt: skip
    head = f"<script>{_SHIM}</script><style>{_leaflet('leaflet.css')}</style>"
    head += f"<script>{_leaflet('leaflet.js')}</script>"
    tail = f"<script>window.plain = {html.escape(name)};</script>"
    path.write_text(text.replace("<head>", f"<head>{head}", 1) + tail, "utf-8")


def _measured(browser: Any, path: Path, ready: str, name: str) -> tuple[float, float, float]:
    """Seconds until ready and painted; milliseconds of a pan at street and at programme scale."""
    context = browser.new_context(viewport={"width": 1440, "height": 900}, offline=True)
    page = context.new_page()
    page.set_default_timeout(300_000)
    began = time.perf_counter()
    page.goto(path.as_uri())
    page.wait_for_selector(ready)
    page.evaluate("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    ready_s = time.perf_counter() - began
    pan = (
        "async ([map, zoom, pans]) => { map.setView([55.71, -0.45], zoom, {animate: false});"
        " const frame = () => new Promise(r => requestAnimationFrame(r)); await frame();"
        " const t = performance.now();"
        " for (let i = 0; i < pans; i++) { map.panBy([40, 10], {animate: false}); await frame(); }"
        " return (performance.now() - t) / pans; }"
    )
    at = {z: page.evaluate(f"(a) => ({pan})([{name}, a, {PANS}])", z) for z in (17, 12)}
    context.close()
    return ready_s, at[17], at[12]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50_000)

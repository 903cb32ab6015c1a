"""The map: one HTML file that asks nothing of the outside and runs no text of a survey.

folium builds the page and the picture layers; its outside scripts are replaced by the library's
own files, packed in. A content security policy with the hash of every script makes the browser
itself refuse anything else.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from importlib import resources
from pathlib import Path
from typing import Any, Final

import folium
from branca.element import Element

from pipeline.core.materials import papers_say
from pipeline.core.settings import Settings
from pipeline.publish.map_data import as_json, map_data
from pipeline.publish.map_pictures import Picture, flood_picture, hillshade_picture
from pipeline.tables import Tables

_LEAFLET: Final = "static/js_lib_leaflet"
# folium's own page script asks jQuery for one thing: to put a parsed element into a div.
_SHIM: Final = (
    "window.$=function(t){var d=document.createElement('div');d.innerHTML=t;"
    "return [d.firstElementChild];};"
)


def write_map(path: Path, tables: Tables, settings: Settings, *, run_id: str) -> None:
    """Write map.html.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on the page.

    """
    data = map_data(tables, settings)
    figure = _figure(data, tables, settings, run_id)
    path.write_text(_with_policy(figure), encoding="utf-8")


def _figure(data: dict[str, Any], tables: Tables, settings: Settings, run_id: str) -> str:
    south_west, north_east = data["bounds"]
    centre = [(south_west[0] + north_east[0]) / 2, (south_west[1] + north_east[1]) / 2]
    page = folium.Map(
        location=centre,
        zoom_start=12,
        tiles=None,
        prefer_canvas=True,
        max_zoom=21,
        min_zoom=8,
        zoom_control="bottomright",
    )
    page.default_js = []
    page.default_css = []
    pictures = [hillshade_picture(settings), flood_picture(tables, settings)]
    for picture in pictures:
        if picture is not None:
            _overlay(picture).add_to(page)
    figure = page.get_root()
    _number_elements(figure)
    head, body = _head(settings), _side(data, tables, settings, run_id)
    figure.header.add_child(Element(head), name="own_head")
    figure.html.add_child(Element(_escape_template(body)), name="own_body")
    figure.script.add_child(
        Element(f'window.addEventListener("load", function () {{ openMap({page.get_name()}); }});'),
        name="own_start",
    )
    _number_elements(figure)
    return str(figure.render())


def _overlay(picture: Picture) -> folium.raster_layers.ImageOverlay:
    return folium.raster_layers.ImageOverlay(
        image=picture.data_uri,
        bounds=picture.bounds,
        opacity=picture.opacity,
        name=picture.name,
        alt=picture.name,
        zindex=1,
    )


def _number_elements(figure: Any) -> None:
    """Replace the random ids of the page's parts, so that the same run gives the same bytes."""
    number = 0
    waiting = [figure]
    while waiting:
        part = waiting.pop(0)
        part._id = f"{number:032x}"  # noqa: SLF001 - the library offers no public way
        number += 1
        waiting += list(part._children.values())  # noqa: SLF001 - see above
        for name in ("header", "html", "script"):
            child = getattr(part, name, None)
            if child is not None and child is not part and hasattr(child, "_children"):
                waiting.append(child)


def _escape_template(text: str) -> str:
    """Keep the page builder's template language from reading anything in our text."""
    return "{% raw %}" + text.replace("{% endraw %}", "") + "{% endraw %}"


def _asset(name: str) -> str:
    return resources.files("pipeline.publish").joinpath(f"assets/{name}").read_text("utf-8")


def _leaflet(name: str) -> str:
    text = resources.files("js_lib_leaflet").joinpath(f"{_LEAFLET}/{name}").read_text("utf-8")
    return re.sub(r"/[/*][#@] sourceMappingURL=[^\n]*", "", text)


def _head(settings: Settings) -> str:
    css = re.sub(r"url\([^)]*\)", "none", _leaflet("leaflet.css"))
    title = html.escape(settings.programme.name)
    parts = [
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{title}: map</title>",
        f"<style>{css}</style>",
        f"<style>{_asset('map.css')}</style>",
        f"<script>{_SHIM}</script>",
        f"<script>{_leaflet('leaflet.js')}</script>",
        f"<script>{_asset('map.js')}</script>",
    ]
    return _escape_template("\n".join(parts))


def _side(data: dict[str, Any], tables: Tables, settings: Settings, run_id: str) -> str:
    flood, programme = settings.flood, settings.programme
    name = html.escape(programme.name)
    about = html.escape(
        f"Run {run_id}, planned {settings.planning_date}. Design event {flood.design_aep:.2%} a "
        f"year, climate {flood.climate}, {flood.defences} defences, freeboard "
        f"{flood.freeboard_m:.2f} m unless a site states its own. Levels on "
        f"{settings.reference.vertical_datum}. Groundwater: {flood.groundwater}. "
        f"{papers_say(settings)}"
    )
    sources = html.escape("; ".join(sorted({s.id for s in flood.source})))
    del tables
    return f"""
<main id="side" aria-label="Filters and legend">
<h1>{name}</h1>
<p class="quiet" id="count" aria-live="polite"></p>
<div id="finder"><label for="find">Find a site, building, chamber or opening</label>
<input id="find" type="search" autocomplete="off"><ul id="found"></ul></div>
<p><button class="act" id="show-twin">Table of what is shown</button>
<button class="act" id="whole">Whole programme</button>
<button class="act" id="print">Print</button></p>
<h2>Openings by class: what the symbols mean</h2><fieldset id="filter-level_class" aria-label="Class"></fieldset>
<fieldset><label><input type="checkbox" id="with-chambers">also mouths in chambers</label></fieldset>
<section id="key"><p class="quiet">From afar one symbol per site: the worst class of its openings.
Nearer, one per opening.</p><dl>
<dt>&#9675;</dt><dd>chamber (nearer)</dd><dt>&#8213;</dt><dd>duct with proved ends; dashed: not
proved (nearer)</dd><dt>&#9618;</dt><dd>pale tint: flood surface of the design event, deeper is
darker; no tint is not the same as dry</dd></dl></section>
<h2>Region</h2><fieldset id="filter-region" aria-label="Region"></fieldset>
<h2>Hold</h2><fieldset id="filter-hold" aria-label="Hold"></fieldset>
<h2>About</h2><p class="quiet">{about}</p><p class="quiet">Flood sources: {sources}.</p>
<p class="quiet">Entries are drawn around their building by wall; they have no surveyed position.
Treat every cable as live. Chambers are confined spaces. Local codes, permits and the owner's rules
decide.</p>
</main>
<div id="card" role="dialog" aria-label="Details" hidden></div>
<section id="twin" aria-label="Table of what the map shows" tabindex="-1" hidden>
<p><strong>Openings shown</strong> <button class="act" id="download">Download as CSV</button>
<button class="act" id="close-twin">Close the table</button></p>
<table><thead><tr id="twin-head"></tr></thead><tbody id="twin-body"></tbody></table></section>
<script id="data" type="application/json">{as_json(data)}</script>
"""


def _with_policy(page: str) -> str:
    """Add the content policy: only the scripts written here, no connection, no outside file."""
    page = re.sub(r"<meta http-equiv=\"content-type\"[^>]*>", '<meta charset="utf-8">', page)
    page = re.sub(r"<(script|link)\b[^>]*(src|href)=\"https?:[^>]*>(</script>)?", "", page)
    scripts = re.findall(r"<script(?![^>]*application/json)[^>]*>(.*?)</script>", page, re.DOTALL)
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode('utf-8')).digest()).decode()}'"
        for s in scripts
    )
    policy = (
        "default-src 'none'; connect-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        f"script-src {hashes}; base-uri 'none'; form-action 'none'"
    )
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    icon = '<link rel="icon" href="data:,">'
    page = page.replace("<head>", f'<head>\n<meta charset="utf-8">\n{meta}\n{icon}', 1)
    return page.replace("<html>", '<html lang="en">', 1)

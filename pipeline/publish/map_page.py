"""The map: one HTML file that asks nothing of the outside and runs no text of a survey.

folium builds the page; its outside scripts are replaced by the library's
own files, packed in. A content security policy with the hash of every script makes the browser
itself refuse anything else.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from dataclasses import asdict
from importlib import resources
from pathlib import Path
from string import Template
from typing import Any, Final

import folium
from branca.element import Element

from pipeline.core.errors import UsageError
from pipeline.core.materials import papers_say
from pipeline.core.settings import Settings
from pipeline.publish.map_data import as_json, map_data
from pipeline.publish.map_pack import packed
from pipeline.publish.map_pictures import pictures
from pipeline.tables import Tables

_LEAFLET: Final = "static/js_lib_leaflet"
# folium's own page script asks jQuery for one thing: to put a parsed element into a div.
_SHIM: Final = (
    "window.$=function(t){var d=document.createElement('div');d.innerHTML=t;"
    "return [d.firstElementChild];};"
)
_SCRIPTS: Final = (
    "map_base.js", "map_draw.js", "map_cards.js", "map_strip.js", "map_section.js", "map_way.js", "map_find.js",
    "map_twin.js", "map_paper.js", "map_start.js",
)  # fmt: skip
# stands first on the printed sheet, where nothing can cut it
_CAUTION: Final = (
    "Local codes, permits and the owner's rules decide. Treat every cable as live. Chambers are "
    "confined spaces."
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

    Raises
    ------
    UsageError
        When the settings ask for tiles by an address that is none.

    """
    data = map_data(tables, settings)
    flood, programme = settings.flood, settings.programme
    tiles = tile_address(settings)
    about = _about(settings, run_id)
    data["page"] |= {
        "about": {"name": programme.name, "lines": about, "caution": _CAUTION},
        "design_aep": flood.design_aep,
        "pictures": [asdict(p) for p in pictures(tables, settings)],
        "packs": _packs(path.parent, data["rows"]["sites"]),
        "tiles": tiles,
    }
    path.write_text(_with_policy(_figure(data, settings, about), tiles), encoding="utf-8")


def _packs(folder: Path, sites: dict[str, Any]) -> dict[str, str]:
    """Work packs that lie beside the map, by site."""
    names = sites["columns"]["site_id"]["v"] if sites["count"] else []
    plain = [s for s in names if re.fullmatch(r"[A-Za-z0-9_-]+", s)]
    return {s: f"work_packs/{s}.pdf" for s in plain if (folder / f"work_packs/{s}.pdf").exists()}


def tile_address(settings: Settings) -> str:
    """Address of background tiles, where the settings ask for them; blank = none.

    Raises
    ------
    UsageError
        When it is not an https address with {z}, {x} and {y}.

    """
    address = settings.export.tiles
    if not address:
        return ""
    if not re.fullmatch(r"https://[a-zA-Z0-9.-]+(:\d+)?/[\w./{}?=&%~+-]+", address) or not all(
        sign in address for sign in ("{z}", "{x}", "{y}")
    ):
        raise UsageError(
            f"[export] tiles is not an address of map tiles: {address}",
            why="The map asks this one host for its background and nothing else.",
            mend="Write an https address with {z}, {x} and {y}, or leave it blank.",
        )
    return address


def _figure(data: dict[str, Any], settings: Settings, about: list[str]) -> str:
    south_west, north_east = data["page"]["bounds"]
    centre = [(south_west[0] + north_east[0]) / 2, (south_west[1] + north_east[1]) / 2]
    page = folium.Map(
        location=centre,
        zoom_start=12,
        tiles=None,
        prefer_canvas=True,
        max_zoom=21,
        min_zoom=6,
        zoom_snap=0.25,
        zoom_control="topleft",
    )
    page.default_js = []
    page.default_css = []
    figure = page.get_root()
    _number_elements(figure)
    figure.header.add_child(Element(_head(settings)), name="own_head")
    figure.html.add_child(Element(_escape_template(_side(data, about))), name="own_body")
    figure.script.add_child(
        Element(f'window.addEventListener("load", function () {{ openMap({page.get_name()}); }});'),
        name="own_start",
    )
    _number_elements(figure)
    return str(figure.render())


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
        *(f"<script>{_asset(name)}</script>" for name in _SCRIPTS),
    ]
    return _escape_template("\n".join(parts))


def _about(settings: Settings, run_id: str) -> list[str]:
    """What every reader of the map must know of its run, in sentences."""
    flood = settings.flood
    sources = "; ".join(
        f"{s.id}{f' (issued {s.issued})' if s.issued else ''}"
        for s in sorted(flood.source, key=lambda s: s.id)
    )
    return [
        f"Run {run_id}, planned {settings.planning_date}. Design event {flood.design_aep:.2%} a "
        f"year, climate {flood.climate}, {flood.defences} defences, freeboard "
        f"{flood.freeboard_m:.2f} m unless a site states its own. Levels on "
        f"{settings.reference.vertical_datum}; positions from {settings.reference.working_crs}. "
        f"Groundwater: {flood.groundwater}. {papers_say(settings)}",
        f"Flood sources: {sources}.",
        "Entries are drawn around their building by wall; they have no surveyed position.",
    ]


def _side(data: dict[str, Any], about: list[str]) -> str:
    """The page around the map; names and sentences are escaped, data is JSON."""
    warning = ""
    if tiles := data["page"]["tiles"]:
        host = html.escape(tiles.split("/")[2])
        warning = (
            f'<p class="warning">The background comes from {host}. While this map is open, that '
            "host and the network on the way learn which places are looked at, and so where the "
            "sites may be. Clear [export] tiles to stop it.</p>"
        )
    return Template(_asset("map_side.html")).substitute(
        name=html.escape(data["page"]["about"]["name"]),
        about="".join(f'<p class="quiet">{html.escape(line)}</p>' for line in (*about, _CAUTION)),
        tiles_warning=warning,
        data=as_json(data["page"]),
        packed=packed(data["rows"]),
    )


def _with_policy(page: str, tiles: str) -> str:
    """Add the content policy: only the scripts written here, no connection, no outside file."""
    page = re.sub(r"<meta http-equiv=\"content-type\"[^>]*>", '<meta charset="utf-8">', page)
    page = re.sub(r"<(script|link)\b[^>]*(src|href)=\"https?:[^>]*>(</script>)?", "", page)
    scripts = re.findall(r"<script(?![^>]*type=)[^>]*>(.*?)</script>", page, re.DOTALL)
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode('utf-8')).digest()).decode()}'"
        for s in scripts
    )
    host = "/".join(tiles.split("/")[:3])
    policy = (
        f"default-src 'none'; connect-src 'none'; img-src data:{' ' + host if host else ''}; "
        "style-src 'unsafe-inline'; "
        f"script-src {hashes}; base-uri 'none'; form-action 'none'"
    )
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    icon = '<link rel="icon" href="data:,">'
    page = page.replace("<head>", f'<head>\n<meta charset="utf-8">\n{meta}\n{icon}', 1)
    return page.replace("<html>", '<html lang="en">', 1)

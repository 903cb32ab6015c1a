"""Hand-over tables of intake: the survey as read, one table per sheet, and what goes beside it.

The columns of a sheet come from the survey's definition (`core.survey`); every table carries the
same row record in front (`file`, `sheet`, `row`, `row_state`, `stopped`,
`doubted`).
"""

from __future__ import annotations

from typing import Final

from pipeline.core import contract, survey
from pipeline.core.answers import OUTCOMES
from pipeline.tables.spec import Col, Table, flag, real, text, whole

_ROW: Final = (
    text("file", "file the row came from", nullable=False),
    text("sheet", "sheet or layer as called in the file", nullable=False),
    whole("row", "row number as the spreadsheet shows it"),
    text("row_state", "used, asked or refused", nullable=False, words=contract.ROW_STATES),
    text("stopped", "columns whose value a STOP took out of use, joined by ';'"),
    text("doubted", "columns whose value is asked about: used as typed, it clears nothing"),
)
_POSITION: Final = (
    real("x_m", "easting in the working coordinate system"),
    real("y_m", "northing in the working coordinate system"),
    real("plan_u_m", "doubt of the position, one standard deviation", lo=0.0),
    text(
        "position_from",
        "what gave the position: 'easting, northing', 'lat, lon', "
        "'grid reference', 'GPS point NAME (file)', 'footprint', 'site'; blank = none",
    ),
)
# columns that intake derives from the row, beside what the sheet itself holds
_EXTRA: Final[dict[str, tuple[Col, ...]]] = {
    "visits": (),
    "sites": _POSITION,
    "buildings": _POSITION,
    "chambers": (*_POSITION, text("region", "region of the chamber's site, or after 'STREET-'")),
    "entries": (),
    "level_points": (
        text("separation_from", "grid of the settings that gave the separation; blank = surveyed"),
        real("separation_u_m", "doubt of that grid", lo=0),
    ),
    "ducts": (
        flag(
            "is_unlisted",
            "no row of the survey: a way that was counted but not listed",
            nullable=False,
        ),
        text("building_id", "building of the end's entry; blank for a chamber end"),
        text("site_id", "site of the end's entry or chamber"),
        text("clear_depth_word", "'300 or more' or 'not probed', where a word was given"),
    ),
    "flood_levels": (
        real("aep_per_year", "annual exceedance probability read from the event", lo=0, hi=1),
        text("past_date", "date of a past flood, ISO"),
        real("freeboard_in_m", "freeboard already inside the value"),
        text("climate_name", "what the climate allowance is called"),
        real("x_m", "easting where applies_to is a coordinate pair"),
        real("y_m", "northing where applies_to is a coordinate pair"),
    ),
}
_KIND: Final = {"number": "real", "whole": "whole", "number_or_word": "real"}


def _column(col: survey.Column) -> Col:
    meaning = col.note or col.heading
    if col.kind in _KIND:
        return Col(col.house_name, _KIND[col.kind], meaning, survey_heading=col.heading)  # type: ignore[arg-type]
    if col.kind == "yesno":
        return Col(col.house_name, "flag", meaning, survey_heading=col.heading)
    kind = {"date": " (ISO date)", "many": " (several, joined by ';')"}.get(col.kind, "")
    return Col(col.house_name, "text", meaning + kind, survey_heading=col.heading)


def sheet_table(sheet: str, name: str) -> Table:
    """The description of a sheet's hand-over table."""
    own = tuple(_column(c) for c in survey.of_sheet(sheet))
    return Table(
        name,
        f"rows of sheet '{sheet}'",
        (survey.key_of(sheet),),
        (*_ROW, *own, *_EXTRA.get(sheet, ())),
    )


SURVEY_TABLES: Final = {
    name: sheet_table(sheet, name) for sheet, name in survey.TABLE_OF_SHEET.items()
}

ABOUTS = Table(
    "abouts",
    "what the about sheet of each file declares",
    ("file", "house_name"),
    (
        text("file", "file"),
        text("house_name", "our name of the declaration"),
        text("value", "as typed"),
    ),
)

COLUMNS = Table(
    "columns",
    "which column of which sheet held what: from a house name to the letter in the spreadsheet",
    ("file", "sheet", "house_name"),
    (
        text("file", "file"),
        text("sheet", "sheet or layer as called in the file"),
        text("table", "hand-over table that the sheet went into"),
        text("house_name", "our name"),
        text("heading", "heading as typed"),
        text("letter", "column letter as the spreadsheet shows it"),
    ),
)

COUNTS = Table(
    "counts",
    "rows in = used + asked + refused, per sheet and file",
    ("file", "sheet"),
    (
        text("file", "file"),
        text("sheet", "sheet, layer or 'GPS points'"),
        whole("rows_count", "data rows", lo=0, nullable=False),
        whole("used_count", "rows used as they are", lo=0, nullable=False),
        whole(
            "asked_count", "rows used with a stated assumption or question", lo=0, nullable=False
        ),
        whole("refused_count", "rows of which a value was not used", lo=0, nullable=False),
        whole("skipped_count", "blank, total, repeated-header and example rows", nullable=False),
    ),
)

GPS_POINTS = Table(
    "gps_points",
    "points of GPS files and what each was matched to",
    ("file", "layer", "row"),
    (
        text("file", "file"),
        text("layer", "layer of the file"),
        whole("row", "number of the point in its layer, from 1"),
        text("point_name", "name as read"),
        real("x_m", "easting in the working coordinate system"),
        real("y_m", "northing in the working coordinate system"),
        real("height_m", "height as read; a position only unless the settings state more"),
        text("method", "method stated in the settings"),
        text("point_date", "time of the point, ISO date"),
        text("matched_table", "table of the row that it belongs to; blank = none"),
        text("matched_id", "id of that row; blank = none"),
        text("row_state", "used, asked or refused", words=contract.ROW_STATES),
    ),
)

FINDINGS = Table(
    "findings",
    "one row per finding",
    (),
    (
        text("code", "code of the rule", nullable=False),
        text("weight", "STOP, ASK or NOTE", nullable=False, words=contract.WEIGHTS),
        text("answered_by", "who answers"),
        text("file", "file"),
        text("sheet", "sheet"),
        whole("row", "row as the spreadsheet shows it"),
        text("column", "house name of the column"),
        text("cell", "cell address"),
        text("as_read", "value as typed"),
        text("message", "the message", nullable=False),
        text("assumed", "what is assumed until answered"),
        text("mend", "how to mend"),
        text("key", "sheet/id of the thing"),
        text("place_id", "place where it stands"),
        text("site_id", "site"),
        text("also_keys", "other things that the same line stands for, joined by ' ; '"),
        text("answer", "what was answered, by whom and when; such a line is not asked again"),
    ),
)

CHANGES = Table(
    "changes",
    "rows that were sent before: what changed, one row per column; blank column = sent as it was",
    (),
    (
        text("key", "sheet/id of the thing", nullable=False),
        text("column", "house name of the column"),
        text("old", "as typed before"),
        text("new", "as typed now"),
        text("old_file", "file of the older row"),
        text("old_row", "its row as the spreadsheet shows it"),
        text("new_file", "file of the row that stands"),
        text("new_row", "its row as the spreadsheet shows it"),
    ),
)

ANSWERS = Table(
    "answers",
    "answers that came back, one row per thing, column and code, and what became of each",
    ("key", "column", "code"),
    (
        text("key", "sheet/id of the thing, lower case"),
        text("column", "house name of the column"),
        text("code", "code of the question"),
        text("answer", "as written", nullable=False),
        text("by_whom", "who answered"),
        text("answered_on", "day of the answer"),
        text("source", "list, row and file of the answer"),
        text("outcome", "what became of it", words=OUTCOMES, nullable=False),
    ),
)


def _layer(name: str, meaning: str, *columns: Col) -> Table:
    return Table(name, meaning, (), (*columns, Col("geometry", "geometry", "shape")))


REGIONS = _layer("regions", "outlines of the regions", text("region", "region"))
FOOTPRINTS = _layer("footprints", "building outlines", text("building_id", "building"))
FLOOD_POLYGONS = _layer(
    "flood_polygons",
    "polygon sources: one row per polygon",
    text("source_id", "source of the settings"),
    real("aep_per_year", "annual exceedance probability", lo=0, hi=1),
    real("level_m", "water level on the working datum; unknown = outline without level"),
)
FLOOD_DOMAINS = _layer(
    "flood_domains", "what a source modelled", text("source_id", "source of the settings")
)
FLOOD_NODES: Final = Table(
    "flood_nodes",
    "nodes of flood models: one row per node and event; a row without level shapes the line or "
    "marks a structure",
    (),
    (
        text("source_id", "source of the settings", nullable=False),
        text("reach", "river or branch", nullable=False),
        text("node", "node of the model"),
        real("chainage_m", "along the reach, growing downstream", nullable=False),
        real("x_m", "in the working coordinate system", nullable=False),
        real("y_m", "in the working coordinate system", nullable=False),
        text("bank", "left, right (looking downstream) or both", words=("left", "right", "both")),
        text("structure", "weir, bridge, culvert: water is not even across it"),
        real("aep_per_year", "chance of the event; blank = every event", lo=0, hi=1),
        real("level_m", "water level on the datum of the source"),
    ),
)
LAYERS: Final = {t.name: t for t in (REGIONS, FOOTPRINTS, FLOOD_POLYGONS, FLOOD_DOMAINS)}

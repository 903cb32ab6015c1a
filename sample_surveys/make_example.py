"""Writes the invented example programme and the small clean sample.

Run from the root of the repository: `python -m sample_surveys.make_example [--to FOLDER]`.
Running it again gives the same bytes.
"""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

from sample_surveys import (
    every_word,
    example_country,
    example_faults,
    example_firms,
    example_records,
)
from sample_surveys.example_facts import (
    FOOTPRINTS,
    HOLES,
    ROVER_BUILDINGS,
    SPRINGS,
    apply_facts,
)
from sample_surveys.example_plan import APPROACHES, CLEAN, ISLES, NORTH, SMALL, SOUTH, Site
from sample_surveys.example_survey import Book, write_sites

# chambers whose position comes from a rover only
GPX_SITES = ("NA04-", "NA06-")
LAYER_SITES = ("N06-", "N08-")


def _region(sites: tuple[Site, ...], region: str, first_visit: dt.date) -> Book:
    book = write_sites(sites, region, first_visit)
    apply_facts(book)
    return book


def _take_positions(book: Book, starts: tuple[str, ...]) -> list[dict[str, object]]:
    """The chambers of some sites as points; their rows keep no coordinates."""
    taken = []
    for row in book.sheets["chambers"]:
        if str(row["chamber_id"]).startswith(starts):
            taken.append(dict(row))
            row["easting"] = row["northing"] = None
    return taken


def write_example(folder: Path) -> None:
    """All files of the example programme, faults applied."""
    north = _region(NORTH, "North", dt.date(2025, 3, 3))
    south = _region(SOUTH, "South", dt.date(2025, 4, 7))
    approaches = _region(APPROACHES, "NA", dt.date(2025, 5, 12))
    isles = _region(ISLES, "Isles", dt.date(2025, 6, 2))
    small = write_sites(SMALL, "South", dt.date(2025, 7, 1))
    outlines: dict[str, list[tuple[float, float]]] = {}
    for book in (north, south, approaches, isles, small):
        outlines |= book.outlines
    places = {
        name: (corners[0][0] + 10.0, corners[0][1] + 6.0) for name, corners in outlines.items()
    }
    example_country.write_grids(
        folder / "flood", [places[name] for name in HOLES], [places[name] for name in SPRINGS]
    )
    example_country.write_layers(folder / "layers")
    example_country.write_footprints(
        folder / "layers" / "footprints.gpkg", {name: outlines[name] for name in FOOTPRINTS}
    )
    gpx = _take_positions(approaches, GPX_SITES)
    layer = _take_positions(north, LAYER_SITES)
    surveys = folder / "surveys"
    example_firms.first_firm(surveys / "first_north.xlsx", north)
    example_firms.second_firm(surveys / "second_south.xlsx", south)
    example_firms.third_firm(
        surveys / "third_isles_indoors.xlsx", surveys / "third_isles_street.xlsx", isles
    )
    example_firms.csv_folder(surveys / "new_approaches", approaches)
    example_firms.small_survey(surveys / "small_start.xlsx", small)
    example_firms.gps_file(surveys / "new_approaches_chambers.gpx", gpx)
    points = [
        (str(r["chamber_id"]), float(str(r["easting"])), float(str(r["northing"]))) for r in layer
    ]
    points += [(name, *places[name]) for name in ROVER_BUILDINGS]
    example_country.write_rover_points(surveys / "rover_points.gpkg", points)
    example_faults.apply(folder)
    example_records.write_records(folder / "records")


def write_clean(folder: Path) -> None:
    """The small survey without a fault; it uses the grids of the example."""
    book = write_sites(CLEAN, "North", dt.date(2025, 8, 4))
    book.sheets["sites"][1]["region"] = "South"
    for end in book.sheets["ducts"]:  # a draw cord would be a question to the engineer
        if end["contents"] == "draw cord only":
            end.update(contents="empty", draw_cord="no")
    example_firms.plain_workbook(folder / "clean.xlsx", book)
    example_country.write_footprints(folder / "footprints.gpkg", book.outlines)
    every_word.write_every_word(folder)


def main() -> None:
    """Write everything under a folder (by default the one of this file)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, default=Path(__file__).parent)
    to = parser.parse_args().to
    write_example(to / "example")
    write_clean(to / "clean")
    print(f"written: {to / 'example'} and {to / 'clean'}")


if __name__ == "__main__":
    main()

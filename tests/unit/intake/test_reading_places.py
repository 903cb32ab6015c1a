"""Positions: one complete place each, never guessed; GPS points; map layers."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from convertbng.cutil import convert_lonlat

from pipeline.core.errors import UsageError
from pipeline.core.settings import Gps, Settings
from pipeline.intake import intake
from pipeline.tables import hand_over

Make = Callable[..., Settings]
Book = Callable[..., Path]

SITE = ["site_id", "region", "easting", "northing"]
# south-west corner of the test region, as in conftest
EAST, NORTH = 490_000.0, 640_000.0


def run(settings: Settings) -> dict[str, Any]:
    """Read everything, and hold the tables to their schema."""
    return hand_over("intake", intake(settings))


def site(tables: dict[str, Any], key: str = "S1") -> Any:
    """One site."""
    return tables["sites"].set_index("site_id").loc[key]


def codes(tables: dict[str, Any]) -> dict[str, str]:
    """Weight by code."""
    return dict(zip(tables["findings"]["code"], tables["findings"]["weight"], strict=True))


def degrees(east: float, north: float) -> tuple[float, float]:
    """Longitude and latitude of a grid position, by the independent exact library."""
    lon, lat = convert_lonlat([east], [north])
    return float(lon[0]), float(lat[0])


def one_site(book: Book, settings: Make, **cells: Any) -> dict[str, Any]:
    """A programme of one site with these cells."""
    heads = ["site_id", "region", *cells]
    return run(settings([book(sites=[heads, ["S1", "North", *cells.values()]])]))


def test_eastings_stay_what_they_are(book: Book, settings: Make) -> None:
    """The working system is the survey's: no number changes."""
    row = site(one_site(book, settings, easting=490123.45, northing=640678.9))
    assert (row["x_m"], row["y_m"], row["position_from"]) == (
        490123.45, 640678.9, "easting, northing",
    )  # fmt: skip


def test_degrees_without_a_stated_system_are_wgs84(book: Book, settings: Make) -> None:
    """Latitude and longitude land on the grid position that they came from, to 5 mm."""
    lon, lat = degrees(490_123.4, 640_678.9)
    row = site(one_site(book, settings, lat=lat, lon=lon))
    assert row["x_m"] == pytest.approx(490_123.4, abs=0.005)
    assert row["y_m"] == pytest.approx(640_678.9, abs=0.005)


def test_degrees_minutes_seconds(book: Book, settings: Make) -> None:
    """DMS text is read and noted; the place is the same to a hand's breadth."""
    lon, lat = degrees(490_123.4, 640_678.9)

    def dms(value: float, letter: str) -> str:
        minutes = abs(value) % 1 * 60
        return f"{int(abs(value))}°{int(minutes)}'{minutes % 1 * 60:.4f}\"{letter}"

    tables = one_site(book, settings, lat=dms(lat, "N"), lon=dms(lon, "E" if lon > 0 else "W"))
    assert codes(tables)["place-04"] == "NOTE"
    assert site(tables)["x_m"] == pytest.approx(490_123.4, abs=0.05)


@pytest.mark.parametrize(
    ("text", "x_m", "y_m", "half_m"),
    [("NU 90123 40678", 490123.5, 640678.5, 0.5), ("NU9012 4067", 490125, 640675, 5)],
)
def test_grid_letters(
    book: Book, settings: Make, text: str, x_m: float, y_m: float, half_m: float
) -> None:
    """Figures set the square (NU begins at 400 km E, 600 km N); the place lies in its middle."""
    row = site(one_site(book, settings, grid_ref=text))
    assert (row["x_m"], row["y_m"]) == (x_m, y_m)
    assert row["plan_u_m"] >= half_m / 3**0.5 - 1e-3  # a uniform square's standard deviation


@pytest.mark.parametrize(
    ("cells", "code", "weight"),
    [
        ({"grid_ref": "NU 1234 567"}, "place-05", "STOP"),
        ({"grid_ref": "NI 12345 56789"}, "place-05", "STOP"),
        ({"grid_ref": "XX 123 456"}, "place-06", "STOP"),
        ({"easting": 490100}, "place-01", "STOP"),
        ({"easting": 0, "northing": 0}, "place-13", "STOP"),
        ({"lat": 12.0, "lon": 100.0}, "place-03", "STOP"),
    ],
)
def test_what_is_no_place_is_stopped(
    book: Book, settings: Make, cells: dict[str, Any], code: str, weight: str
) -> None:
    """An unusable position is told and not used; the site stays."""
    tables = one_site(book, settings, **cells)
    assert codes(tables)[code] == weight
    assert pd.isna(site(tables)["x_m"])
    assert site(tables)["row_state"] == "refused"


def test_swapped_metres_are_asked_and_read_the_other_way(book: Book, settings: Make) -> None:
    """Only where the given pair lies outside every region and the swapped one inside."""
    tables = one_site(book, settings, easting=NORTH + 100, northing=EAST + 100)
    assert codes(tables)["place-08"] == "ASK"
    assert (site(tables)["x_m"], site(tables)["y_m"]) == (EAST + 100, NORTH + 100)


def test_swapped_degrees_are_asked(book: Book, settings: Make) -> None:
    """Latitude and longitude in each other's column are asked, and read as they make sense."""
    lon, lat = degrees(490_100, 640_100)
    tables = one_site(book, settings, lat=lon, lon=lat)
    assert codes(tables)["place-02"] == "ASK"
    assert site(tables)["x_m"] == pytest.approx(490_100, abs=0.01)


def test_two_positions_that_disagree_widen_the_doubt(book: Book, settings: Make) -> None:
    """Metres and letters 300 m apart are asked; the doubt covers both (less never dries)."""
    tables = one_site(book, settings, easting=490_100, northing=640_100, grid_ref="NU 90400 40100")
    assert codes(tables)["place-09"] == "ASK"
    assert site(tables)["plan_u_m"] == pytest.approx(300.5, abs=1.0)


@pytest.mark.parametrize("stated", ["", "local grid 1936", "EPSG:4"])
def test_metres_without_a_system_are_not_used(book: Book, settings: Make, stated: str) -> None:
    """A system that is not stated, or that nobody knows, stops the positions and not the run."""
    about = [["name", "value"], ["horizontal_ref", stated]]
    file = book(about=about, sites=[SITE, ["S1", "North", 490100, 640100]])
    tables = run(settings([file], horizontal_ref=""))
    assert codes(tables)["place-12"] == "STOP"
    assert pd.isna(site(tables)["x_m"])


def test_a_default_spot_is_no_place(book: Book, settings: Make) -> None:
    """Four things at exactly one spot stand at a default."""
    rows = [[f"S{i}", "North", 490500, 640500] for i in range(4)]
    tables = run(settings([book(sites=[SITE, *rows, ["S9", "North", 490100, 640100]])]))
    assert tables["findings"]["code"].tolist().count("place-13") == 4
    assert tables["sites"].set_index("site_id")["x_m"].notna().to_dict() == {
        "S0": False, "S1": False, "S2": False, "S3": False, "S9": True,
    }  # fmt: skip


def test_a_building_takes_its_outline_then_its_site(
    book: Book, settings: Make, tmp_path: Path
) -> None:
    """Own position, else footprint, else the site's; an outline in degrees is moved exactly."""
    ring = [degrees(490_200 + dx, 640_200 + dy) for dx, dy in ((0, 0), (20, 0), (20, 10), (0, 10))]
    path = tmp_path / "outlines.geojson"
    gpd.GeoDataFrame(
        {"building_id": ["B-1"]}, geometry=[shapely.Polygon(ring)], crs="EPSG:4326"
    ).to_file(path)
    buildings = [["building_id", "site_id"], ["B-1", "S1"], ["B-2", "S1"]]
    file = book(sites=[SITE, ["S1", "North", 490100, 640100]], buildings=buildings)
    tables = run(settings([file], reference={"footprints_file": path}))
    rows = tables["buildings"].set_index("building_id")
    assert rows["position_from"].to_dict() == {"B-1": "footprint", "B-2": "site"}
    # PROJ without the shift grid lands 2 m off and more; the exact shift within a centimetre
    assert rows.loc["B-1", "x_m"] == pytest.approx(490_210, abs=0.01)
    assert rows.loc["B-1", "y_m"] == pytest.approx(640_205, abs=0.01)


def test_a_layer_without_its_field_is_the_callers_fault(
    book: Book, settings: Make, tmp_path: Path
) -> None:
    """A regions file without field 'region' gives one clear message."""
    path = tmp_path / "r.gpkg"
    square = shapely.box(EAST, NORTH, EAST + 1, NORTH + 1)
    gpd.GeoDataFrame({"area": ["x"]}, geometry=[square], crs="EPSG:27700").to_file(path)
    file = book(sites=[SITE, ["S1", "North", 490100, 640100]])
    with pytest.raises(UsageError, match=r"r\.gpkg.*'region'"):
        run(settings([file], reference={"regions_file": path}))


# ------------------------------------------------------------------ GPS points


def waypoint(name: str, east: float, north: float, day: str = "2025-05-01") -> str:
    """A GPX waypoint at a grid position."""
    lon, lat = degrees(east, north)
    return (
        f'<wpt lat="{lat:.9f}" lon="{lon:.9f}"><ele>12.5</ele>'
        f"<time>{day}T10:00:00Z</time><name>{name}</name></wpt>"
    )


def gpx(path: Path, *parts: str) -> Path:
    """A GPX file of these parts."""
    head = '<?xml version="1.0"?><gpx version="1.1" creator="t"'
    path.write_text(f'{head} xmlns="http://www.topografix.com/GPX/1/1">{"".join(parts)}</gpx>')
    return path


@pytest.fixture
def chambers(book: Book) -> Path:
    """Two chambers without positions at one site."""
    return book(
        sites=[SITE, ["S1", "North", 490100, 640100]],
        chambers=[["chamber_id", "site_id"], ["CH-1", "S1"], ["CH-2", "S1"]],
    )


def with_gps(settings: Make, chambers: Path, *files: Path) -> dict[str, Any]:
    """Read chambers with GPS files."""
    return run(settings([chambers], gps=(Gps(files=files),)))


def test_a_point_belongs_to_the_row_of_its_name(
    settings: Make, chambers: Path, tmp_path: Path
) -> None:
    """Trimmed, any case, plain dashes; a near name is shown and not joined; the count closes."""
    file = gpx(
        tmp_path / "p.gpx",
        waypoint(" ch–1 ", 490_150, 640_150),
        waypoint("CH-22", 490_160, 640_150),
    )
    tables = with_gps(settings, chambers, file)
    rows = tables["chambers"].set_index("chamber_id")
    assert rows.loc["CH-1", "x_m"] == pytest.approx(490_150, abs=0.01)
    assert pd.isna(rows.loc["CH-2", "x_m"])
    assert codes(tables)["file-25"] == "ASK"
    count = tables["counts"].set_index("file").loc["p.gpx"]
    assert (count["rows_count"], count["used_count"], count["asked_count"]) == (2, 1, 1)
    heights = tables["gps_points"]["height_m"].tolist()
    assert heights == [12.5, 12.5]


def test_two_close_points_give_their_mean(settings: Make, chambers: Path, tmp_path: Path) -> None:
    """Within twice the doubt: the mean (4 m apart with a phone: 2 m from each)."""
    file = gpx(
        tmp_path / "p.gpx", waypoint("CH-1", 490_150, 640_150), waypoint("CH-1", 490_154, 640_150)
    )
    row = with_gps(settings, chambers, file)["chambers"].set_index("chamber_id").loc["CH-1"]
    assert row["x_m"] == pytest.approx(490_152, abs=0.01)


def test_two_points_apart_are_asked(settings: Make, chambers: Path, tmp_path: Path) -> None:
    """60 m apart: the newest is used, asked, and its doubt reaches the other."""
    file = gpx(
        tmp_path / "p.gpx",
        waypoint("CH-1", 490_210, 640_150, "2025-06-01"),
        waypoint("CH-1", 490_150, 640_150, "2024-06-01"),
    )
    tables = with_gps(settings, chambers, file)
    row = tables["chambers"].set_index("chamber_id").loc["CH-1"]
    assert row["x_m"] == pytest.approx(490_210, abs=0.01)
    assert row["plan_u_m"] == pytest.approx(60, abs=0.1)
    assert row["row_state"] == "asked"
    assert codes(tables)["place-09"] == "ASK"
    assert tables["gps_points"]["row_state"].tolist() == ["asked", "asked"]


def test_a_file_of_tracks_is_not_empty(settings: Make, chambers: Path, tmp_path: Path) -> None:
    """A short track recorded at a cover counts as one point of its name."""

    def at(east: float) -> str:
        lon, lat = degrees(east, 640_150)
        return f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"/>'

    track = f"<trk><name>CH-2</name><trkseg>{at(490_149)}{at(490_151)}</trkseg></trk>"
    row = with_gps(settings, chambers, gpx(tmp_path / "t.gpx", track))["chambers"]
    assert row.set_index("chamber_id").loc["CH-2", "x_m"] == pytest.approx(490_150, abs=0.01)


def test_an_impossible_latitude_is_refused(settings: Make, chambers: Path, tmp_path: Path) -> None:
    """lat=530 is accepted by the format's reader; here the point is refused, and named."""
    file = gpx(tmp_path / "p.gpx", '<wpt lat="530" lon="-1"><name>CH-1</name></wpt>')
    tables = with_gps(settings, chambers, file)
    assert tables["gps_points"]["row_state"].tolist() == ["refused"]
    assert "CH-1" in tables["findings"].set_index("code").loc["file-25", "message"]
    assert pd.isna(tables["chambers"].set_index("chamber_id").loc["CH-1", "x_m"])


@pytest.mark.parametrize("has_z", [True, False])
def test_points_of_a_geopackage(
    settings: Make, chambers: Path, tmp_path: Path, has_z: bool
) -> None:
    """Layers in their own system, with or without heights; lines among them are no points."""
    path = tmp_path / "p.gpkg"
    point = shapely.Point(490_150, 640_150, 9.5) if has_z else shapely.Point(490_150, 640_150)
    frame = gpd.GeoDataFrame({"name": ["CH-1"]}, geometry=[point], crs="EPSG:27700")
    frame.to_file(path, layer="rover")
    line = shapely.LineString([(490_000, 640_000), (490_010, 640_000)])
    gpd.GeoDataFrame({"name": ["kerb"]}, geometry=[line], crs="EPSG:27700").to_file(
        path, layer="kerbs"
    )
    tables = with_gps(settings, chambers, path)
    assert tables["gps_points"]["matched_id"].tolist() == ["CH-1"]
    assert tables["gps_points"]["height_m"].notna().tolist() == [has_z]


def test_points_without_a_system_are_not_guessed(
    settings: Make, chambers: Path, tmp_path: Path
) -> None:
    """A layer that names no coordinate system gives no position; its point is refused, and told."""
    path = tmp_path / "p.gpkg"
    frame = gpd.GeoDataFrame({"name": ["CH-1"]}, geometry=[shapely.Point(490_150, 640_150)])
    frame.to_file(path, layer="rover")
    with sqlite3.connect(path) as store:
        store.execute("update gpkg_geometry_columns set srs_id = -1")
    store.close()
    tables = with_gps(settings, chambers, path)
    assert pd.isna(tables["chambers"].set_index("chamber_id").loc["CH-1", "x_m"])
    assert set(tables["gps_points"]["row_state"]) <= {"refused"}
    assert {"file-18", "file-25"} & set(codes(tables))

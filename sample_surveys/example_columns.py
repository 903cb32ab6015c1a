"""Column names of the example's files, in the order in which the invented firms write them."""

from __future__ import annotations

from typing import Final

COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "visits": (
        "visit_id", "site_id", "visit_date", "surveyor", "instrument", "datum", "geoid_model",
        "occupations", "check_point_id", "check_diff_mm", "days_since_rain", "permit_ref", "scope",
        "reason", "checked_by_engineer",
    ),
    "sites": (
        "site_id", "site_name", "region", "site_type", "easting", "northing", "grid_ref",
        "position_method", "critical_class", "customers", "backfeed", "repair_days",
        "flood_history", "design_event", "freeboard_m", "permit_kind", "permit_lead_days",
        "outage_needed", "survey_state", "fed_from_site_id", "works_since",
    ),
    "buildings": (
        "building_id", "site_id", "lowest_space", "floor_point_id", "floor_level_m",
        "lowest_floor_below_m", "door_sill_above_floor_m", "lowest_vent_above_floor_m",
        "other_openings", "equipment_above_floor_m", "sump_pump", "wall_build", "wall_thick_mm",
        "floor_build", "built_year", "fire_wall", "visit_id", "easting", "northing",
        "floor_area_m2", "max_head_m", "max_head_by", "tanked", "drain_to", "asbestos_suspect",
    ),
    "chambers": (
        "chamber_id", "other_numbers", "site_id", "owner", "kind", "easting", "northing",
        "grid_ref", "position_method", "position_u_m", "cover_point_id", "cover_level_m",
        "cover_kind", "depth_m", "depth_from", "water_state", "water_below_cover_m", "pumped_out",
        "refill_minutes", "silt_mm", "drain", "ways_seen", "walls_seen", "asbestos_suspect",
        "gas_note", "entered", "visit_id", "confined_space", "drain_to", "cover_test",
    ),
    "entries": (
        "entry_id", "building_id", "face", "kind", "seen_from", "leads_to", "level_method",
        "level_m", "ref_point_id", "dip_down_m", "above_m", "invert_level_m", "measured_to",
        "width_mm", "height_mm", "gap_around_duct", "water_sign", "front_space_mm", "fire_wall",
        "outdoors", "visit_id", "ways_seen", "asbestos_suspect",
    ),
    "ducts": (
        "end_id", "place_kind", "place_id", "face", "row_no", "col_no", "shape", "bore_mm",
        "bore_b_mm", "bore_method", "nominal_mm", "material", "use", "contents", "draw_cord",
        "parent_end_id", "level_method", "level_m", "ref_point_id", "dip_down_m", "above_m",
        "invert_level_m", "measured_to", "dip_from", "far_place_id", "far_end_id", "far_proof",
        "length_m", "high_point_m", "water_now", "water_l_min", "mouth", "clear_depth_mm",
        "sound_from_mm", "lie", "seal_from", "seen", "photo_id", "visit_id", "flap",
    ),
    "cables": (
        "cable_id", "end_id", "count", "diameter_mm", "size_method", "arrangement", "group_no",
        "cores", "class", "covering", "filling", "condition", "dead", "owner",
    ),
    "seals_now": (
        "seal_id", "end_id", "entry_id", "kind", "condition", "water_passing", "fire_label",
        "asbestos_suspect", "year", "proposal", "inspected_on", "rated_head_m", "evidence",
        "removal",
    ),
    "level_points": (
        "point_id", "site_id", "kind", "level_m", "gnss_h_m", "geoid_sep_m", "datum", "method",
        "from_point_id", "closure_mm", "run_km", "u_m", "year", "visit_id", "checked_year",
    ),
    "flood_levels": (
        "flood_id", "applies_to", "source", "kind", "event", "climate", "defences", "value_is",
        "value_m", "ground_m", "datum", "freeboard_in", "u_m", "issued",
    ),
    "observations": (
        "obs_id", "place_id", "visit_id", "what", "value", "unit", "note", "needs_reply_from",
    ),
    "photos": ("photo_id", "file_name", "place_id", "shows", "scale_in_view"),
}
# names of the second firm, by sheet and template name
ALIASES: Final[dict[tuple[str, str], str]] = {
    ("chambers", "chamber_id"): "Manhole",
    ("chambers", "cover_level_m"): "CL",
    ("entries", "invert_level_m"): "IL",
    ("ducts", "end_id"): "Duct End",
    ("ducts", "bore_mm"): "dia (mm)",
    ("ducts", "invert_level_m"): "IL",
    ("ducts", "far_place_id"): "goes to",
    ("cables", "end_id"): "Duct End",
    ("cables", "diameter_mm"): "cable dia",
    ("cables", "count"): "no of cables",
    ("sites", "lat"): "Latitude",
    ("sites", "lon"): "Longitude",
    ("buildings", "floor_level_m"): "FFL",
}
SMALL_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "sites": ("site_id", "region", "easting", "northing"),
    "buildings": ("building_id", "site_id", "floor_level_m"),
    "chambers": ("chamber_id", "site_id", "easting", "northing", "cover_level_m"),
    "entries": ("entry_id", "building_id", "invert_level_m"),
    "ducts": ("end_id", "place_id", "bore_mm", "invert_level_m"),
    "cables": ("end_id", "count", "diameter_mm"),
}

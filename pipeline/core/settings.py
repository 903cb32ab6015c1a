"""Programme settings: one TOML file, read once into frozen objects.

Keys carry the contract's names; the unit of each stands in its description. No policy has a
default (law 4 of the house): a file that leaves one out is refused with one message.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Aep = Annotated[float, Field(gt=0.0, lt=1.0)]
Metres = Annotated[float, Field(ge=0.0, le=1000.0)]

SourceKind = Literal["level grid", "depth grid", "polygon", "node table", "groundwater"]
Mechanism = Literal["river", "sea", "surface water", "groundwater", "sewer", "reservoir"]
Defences = Literal["with", "without", "breach", "not stated"]


class Section(BaseModel):
    """A section of the settings: frozen, and no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Fixed(Section):
    """[[programme.fixed]]: what is settled about a site, whatever the choice would say."""

    site_id: str
    what: Literal["do it", "leave it", "not before"]
    not_before: dt.date | None = Field(default=None, description="day, with 'not before'")
    because: str = Field(min_length=1, description="the reason, as it shall stand on the papers")

    @model_validator(mode="after")
    def _day_belongs_to_not_before(self) -> Fixed:
        if (self.what == "not before") != (self.not_before is not None):
            raise ValueError(
                f"fixed site '{self.site_id}': 'not before', and only that, needs the day not_before"
            )
        return self


class RegionMinimum(Section):
    """[[programme.region_minimum]]: at least so many buildings of a region, over all its years."""

    region: str
    buildings_count: int = Field(ge=1)
    because: str = Field(min_length=1)


class Programme(Section):
    """[programme]: whose programme it is and on which day it is planned."""

    id: str = Field(pattern=r"^[A-Za-z0-9._-]+$")
    name: str
    regions: tuple[str, ...]
    currency: str = Field(pattern=r"^[A-Z]{3}$", description="ISO 4217 code")
    planning_date: dt.date | None = None
    critical_classes: tuple[str, ...] = ("ordinary", "important", "vital")
    fixed: tuple[Fixed, ...] = ()
    region_minimum: tuple[RegionMinimum, ...] = ()


class Shift(Section):
    """[[reference.shift]]: add `add_m` to a height on `datum` to get one on the working datum."""

    datum: str
    add_m: float
    u_m: Metres
    source: str


class SeparationGrid(Section):
    """[reference.separation]: a grid that turns satellite heights into levels, where none was noted."""

    path: Path
    name: str = Field(description="model and year, as it shall stand beside every level")
    u_m: Metres


class Reference(Section):
    """[reference]: the one working coordinate system and the one working height datum."""

    working_crs: str
    vertical_datum: str
    regions_file: Path
    footprints_file: Path | None = None
    shift: tuple[Shift, ...] = ()
    separation: SeparationGrid | None = None
    max_plan_accuracy_m: Metres = Field(
        default=1.0, description="worst stated accuracy of a plan transformation that is accepted"
    )


class Gps(Section):
    """[[surveys.gps]]: files of GPS points; their heights are positions only unless stated."""

    files: tuple[Path, ...]
    id_field: str = "name"
    height: Literal["position only", "level"] = "position only"
    method: str = "phone or handheld"


class Surveys(Section):
    """[surveys]: the survey files and how old a survey or a seal may be."""

    files: tuple[Path, ...]
    answers: tuple[Path, ...] = ()
    records: tuple[Path, ...] = ()
    releases: tuple[Path, ...] = ()
    aliases: dict[str, str] = Field(default_factory=dict)
    horizontal_ref: str = ""
    seal_age_years: float = Field(ge=0)
    survey_age_years: float = Field(ge=0)
    gps: tuple[Gps, ...] = ()


class Policy(Section):
    """One policy: design event, climate, defences, freeboard; blank inherits from [flood]."""

    design_aep: Aep | None = None
    climate: str | None = None
    defences: Defences | None = None
    freeboard_m: Metres | None = None


class Source(Section):
    """[[flood.source]]: one file that says how high water stands in one event."""

    id: str
    kind: SourceKind
    mechanism: Mechanism
    aep: Aep | None = Field(
        default=None, description="annual exceedance probability; a polygon may carry its own"
    )
    path: Path
    band: int = 1
    layer: str | None = None
    level_field: str = "level_m"
    aep_field: str = "aep"
    unit: Literal["m", "mm", "ft"] = "m"
    datum: str
    domain: Path | None = None
    ground: Path | None = Field(
        default=None, description="the flood model's own ground, for a depth grid; same cells"
    )
    u_m: Metres | None = None
    climate: str
    defences: Defences
    issued: dt.date
    freeboard_in_m: Metres = 0.0
    within_m: Metres | None = Field(
        default=None, description="how far from a reach the water of a node table is taken to reach"
    )

    @model_validator(mode="after")
    def _nodes_have_their_reach(self) -> Source:
        if (self.kind == "node table") != (self.within_m is not None):
            raise ValueError(
                f"flood source '{self.id}': a node table, and only that, needs 'within_m': how far "
                "from a reach its water is taken to reach"
            )
        return self

    @model_validator(mode="after")
    def _depth_has_its_ground(self) -> Source:
        if (self.kind == "depth grid") != (self.ground is not None):
            raise ValueError(
                f"flood source '{self.id}': a depth grid, and only that, needs 'ground': the ground "
                "of the SAME flood model, with the same cells"
            )
        return self


class Flood(Section):
    """[flood]: what water the programme plans for. None of the first five has a default."""

    design_aep: Aep
    climate: str
    defences: Defences
    freeboard_m: Metres
    groundwater: str = Field(
        description="'surface' (a source of kind groundwater) or 'none known, accepted by ROLE'"
    )
    k: float = Field(gt=0.0, description="one-sided limit, 1.645 for 95 %")
    reference_water_m: Metres
    link_radius_m: Metres
    ring_cells: int = Field(ge=1)
    hole_cells: int = Field(ge=0)
    model_age_years: float | None = Field(
        default=None, gt=0, description="flood models older than this are asked about; unset = none"
    )
    policy: dict[str, Policy] = Field(default_factory=dict)
    source: tuple[Source, ...]

    @model_validator(mode="after")
    def _groundwater_is_stated(self) -> Flood:
        has_surface = any(s.kind == "groundwater" for s in self.source)
        accepted = self.groundwater.startswith("none known, accepted by ")
        if self.groundwater == "surface" and not has_surface:
            raise ValueError(
                "groundwater = 'surface' needs a [[flood.source]] of kind 'groundwater'"
            )
        if self.groundwater != "surface" and not accepted:
            raise ValueError(
                "groundwater must be 'surface' or 'none known, accepted by ROLE' (a role)"
            )
        return self


class Ground(Section):
    """[ground]: the ground model under the survey."""

    path: Path
    datum: str
    u_m: Metres


class Design(Section):
    """[design]: the seal's policy."""

    materials: Path
    layer_mm: float = Field(gt=0, description="policy minimum of the sealant layer (mm)")
    allowance_frac: dict[str, Fraction] = Field(description="named allowances on net sealant")
    clearance_mm: float = Field(ge=0, description="gap between separated cables (mm)")
    objective: Literal["larger first", "least void"] = "larger first"
    effort: Literal["standard", "thorough"] = Field(
        default="standard", description="how long the drawing looks for one filler sleeve more"
    )
    seal_place: Literal["wall", "wall or chamber"] = "wall"
    water_kg_per_m3: float = Field(default=1000.0, ge=990.0, le=1060.0)
    cord_out: bool = Field(default=False, description="owner's leave to take draw cords out")
    separate_cables: bool = Field(description="owner's leave to move cables apart")
    gas_tight: tuple[str, ...] = Field(
        default=(),
        description="ids of sites, buildings, chambers, entries or ends whose duct ends are sealed "
        "against gas as well, also above the water; 'wet well' = all ducts from wet wells",
    )


class Loss(Section):
    """[value.loss.<site type>]: loss once water is inside; whole currency units and hours."""

    repair: float = Field(ge=0)
    per_customer_hour: float = Field(ge=0)
    hours: float = Field(ge=0)
    backfeed_part_frac: Fraction = 0.5


class Reliability(Section):
    """Chance that a seal holds when water comes; shown as a range."""

    low: Fraction
    central: Fraction
    high: Fraction


class DiscountStep(Section):
    """Rate for the years from `from_year` of the works on."""

    from_year: int = Field(ge=1)
    rate_frac: Fraction


class Discount(Section):
    """A named discount schedule with its vintage."""

    name: str
    vintage: str
    steps: tuple[DiscountStep, ...]


class HeadLimits(Section):
    """Allowed differential head above the lowest floor (m) by wall build and floor build."""

    wall: dict[str, Metres]
    floor: dict[str, Metres]


class Spread(Section):
    """[value.spread]: low and high as multiples of the figures used; unset = no such case is made."""

    repair_low: float = Field(gt=0, le=1, description="loss by repair, low, over the figure used")
    repair_high: float = Field(ge=1)
    supply_low: float = Field(gt=0, le=1, description="loss by lost supply, low, over the figure")
    supply_high: float = Field(ge=1)
    cost_low: float = Field(gt=0, le=1, description="cost of a package, low, over the figure")
    cost_high: float = Field(ge=1)


class Value(Section):
    """[value]: what a wet building costs and how a year's loss becomes a present value."""

    life_years: int = Field(ge=1)
    loss_to: Literal["society", "company"]
    discount: Discount
    tail: Literal["none", "flat"] = "flat"
    unknown_doors: Literal["benefit unknown", "up to"]
    reliability: Reliability
    head_limit_m: HeadLimits
    asbestos_year: int
    spread: Spread | None = None
    loss: dict[str, Loss]


class Budget(Section):
    """[[budget]]: money (whole currency units) and crew-days of a region in a year."""

    region: str
    year: int
    money: float = Field(ge=0)
    crew_days: float = Field(ge=0)


class Crews(Section):
    """[crews]: how a crew works and what an hour costs (whole currency units)."""

    hours_per_day: float = Field(gt=0)
    crew_size: int = Field(ge=1)
    cost_per_hour: float = Field(ge=0)
    site_cost: float = Field(ge=0)
    survey_visit_cost: float | None = Field(
        default=None, ge=0, description="one visit to survey levels again; unset = not stated"
    )
    confined_space_cost: float = Field(ge=0, description="one entry into a confined space")
    chamber_ends_at: tuple[str, ...] = Field(
        default=(),
        description="sites where an engineer has agreed that seals in chambers may take the place "
        "of seals at the wall in the closing line; elsewhere only where no wall end closes a way",
    )
    setup_hours: float = Field(ge=0)
    base_hours_per_end: float = Field(gt=0)
    hours_per_100mm_bore: float = Field(ge=0)
    hours_per_cable: float = Field(ge=0)
    hours_old_seal: float = Field(ge=0)
    hours_wet: float = Field(ge=0)
    travel_factor: float = Field(ge=1)
    travel_km_per_hour: float = Field(gt=0)
    first_day: dt.date
    closed_months: tuple[int, ...] = ()


class Buying(Section):
    """[buying]: the buyer's tables."""

    items: Path
    prices: Path
    suppliers: Path
    depots: Path
    stock: Path
    calendar: Path
    buffer_days: int = Field(ge=0)
    transport_days: int = Field(ge=0)


class Cautions(Section):
    """[cautions]: the words on the papers, by the code of the rule that raises them."""

    country: str = Field(default="", description="named where no local code is")
    texts: dict[str, str] = Field(
        default_factory=dict, description="words in place of ours, by code of the caution"
    )
    local_codes: dict[str, str] = Field(
        default_factory=dict,
        description="code or rule of your country behind a caution, as your safety lead names it",
    )


class Export(Section):
    """[export]: who reads it, and whether tiles from outside are allowed."""

    profile: Literal["full", "working", "public"] = "full"
    tiles: str = ""
    working_hides: tuple[str, ...] = Field(
        default=("visits.surveyor", "sites.key_customers"),
        description="fields (table.column) that stay blank in the profile working",
    )
    public_cell_m: float = Field(
        default=10_000.0, gt=0, description="side of the squares that the profile public counts by"
    )
    public_least_sites: int = Field(
        default=3, ge=1, description="the profile public withholds counts of fewer sites"
    )
    site_extracts: bool = Field(
        default=True, description="write a register of each site for its owner's engineer"
    )


class Records(Section):
    """[records]: when a seal that was made counts as closed, and how many are looked at."""

    nominal_mm: float = Field(gt=0, description="least sealant depth asked for (mm)")
    tolerance_mm: float = Field(ge=0, description="how far the least reading may lie under it")
    accepting_levels: tuple[Literal["desk", "visual", "gauge", "after flood"], ...] = Field(
        min_length=1, description="kinds of look that can accept a seal"
    )
    inspect_days: int = Field(ge=0, description="first look within so many days of sealing")
    look_again_months: int = Field(gt=0, description="next look after an accepted one")
    sample_frac: Fraction = Field(description="share of the made ends to be inspected")
    sample_seed: int = Field(ge=0, description="another number draws another sample")
    source: str = Field(min_length=1, description="where these figures come from")


class Settings(Section):
    """All settings of one programme; paths are absolute after loading."""

    programme: Programme
    reference: Reference
    surveys: Surveys
    flood: Flood
    ground: Ground
    design: Design
    value: Value
    budget: tuple[Budget, ...]
    crews: Crews
    buying: Buying
    export: Export = Export()
    cautions: Cautions = Cautions()
    records: Records | None = Field(
        default=None, description="needed where [surveys] names records or releases"
    )

    @property
    def planning_date(self) -> dt.date:
        """The planning date (loading refuses settings without one)."""
        date = self.programme.planning_date
        if date is None:  # pragma: no cover - load() has made sure
            raise ValueError("no planning date")
        return date

"""The materials file: sealant, filler and items, as the supplier's certificate states them.

The file is a table that a buyer edits. Its figures are characteristic test values; nothing in the
code stands in for them. An example file says so (`about.example`), and then every paper does.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pipeline.core.contract import EXAMPLE_MATERIALS_NOTE
from pipeline.core.errors import UsageError
from pipeline.core.settings import Settings

Duration = Literal["short", "long", "cyclic"]
Surface = Literal["dry", "wet"]
CountedBy = Literal["end", "crew-day", "site", "crew", "region"]
Takes = Literal["compatible", "not compatible", "not tested"]
When = Literal["always", "wet", "old seal", "asbestos", "abrade", "degrease"]
Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]


class Part(BaseModel):
    """A part of the materials file: frozen, and no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class About(Part):
    """[about]: whose figures these are."""

    name: str
    example: bool
    certificate: str = ""

    @model_validator(mode="after")
    def _real_materials_have_a_certificate(self) -> About:
        if not self.example and not self.certificate.strip():
            raise ValueError("certificate must be named when example = false")
        return self


class ByDuration(Part):
    """Characteristic values by load duration (kPa)."""

    short: Positive
    long: Positive
    cyclic: Positive

    def of(self, duration: Duration) -> float:
        """The value for a load duration (kPa)."""
        return float(getattr(self, duration))


class BySurface(Part):
    """Characteristic values on a dry and on a wet surface (kPa)."""

    dry: ByDuration
    wet: ByDuration

    def of(self, surface: Surface, duration: Duration) -> float:
        """The value for a surface and a load duration (kPa)."""
        chosen: ByDuration = getattr(self, surface)
        return chosen.of(duration)


class Strength(Part):
    """[[sealant.strength]]: bond to one substrate; a substrate not listed does not bond."""

    substrate: str
    shear_kpa: BySurface
    tension_kpa: BySurface


class Covering(Part):
    """[[sealant.covering]]: whether a cable covering takes the sealant; not listed = not tested."""

    covering: str
    sealant: Takes


class Envelope(Part):
    """[sealant.envelope]: what was tested; outside it there is no design."""

    bore_mm: Positive = Field(description="largest bore or smaller inside size")
    free_circle_mm: Positive = Field(description="radius of the largest free circle")
    head_m: Positive = Field(description="largest head of fresh water")
    durations: tuple[Duration, ...]
    gas_tested: bool = Field(
        default=False, description="the certificate holds a gas-tightness test of the seal"
    )


class Sealant(Part):
    """[sealant]: how it is applied, how it cures, how strong it is."""

    item_id: str
    parts: Literal["one", "two"]
    pot_life_min: NotNegative
    nozzle_mm: Positive
    recess_mm: NotNegative
    cure_days: NotNegative
    cure_at_c: float
    least_c: float
    most_c: float
    factor: Annotated[float, Field(ge=1.0)] = Field(description="partial factor on the pressure")
    abrading: bool
    envelope: Envelope
    strength: tuple[Strength, ...] = Field(min_length=1)
    covering: tuple[Covering, ...] = ()

    @model_validator(mode="after")
    def _figures_agree(self) -> Sealant:
        if self.parts == "two" and self.pot_life_min <= 0:
            raise ValueError("a two-part sealant needs pot_life_min above 0")
        if self.least_c >= self.most_c:
            raise ValueError("least_c must be below most_c")
        names = [s.substrate for s in self.strength]
        if len(names) != len(set(names)):
            raise ValueError("a substrate is listed twice under [[sealant.strength]]")
        coverings = [c.covering for c in self.covering]
        if len(coverings) != len(set(coverings)):
            raise ValueError("a covering is listed twice under [[sealant.covering]]")
        return self

    def takes(self, covering: str) -> Takes:
        """Whether a cable covering takes the sealant; a covering not listed is not tested."""
        return next((c.sealant for c in self.covering if c.covering == covering), "not tested")

    def bond(self, substrate: str, surface: Surface, duration: Duration) -> tuple[float, float]:
        """Shear and tension (kPa) of the bond to a substrate; (0, 0) where it does not bond."""
        for row in self.strength:
            if row.substrate == substrate:
                return row.shear_kpa.of(surface, duration), row.tension_kpa.of(surface, duration)
        return 0.0, 0.0


class Filler(Part):
    """[filler]: sleeves behind the layer and collars for small cables."""

    wall_base_mm: NotNegative
    wall_share: Share
    length_mm: Positive
    joined: bool
    collar_up_to_mm: NotNegative
    heat_from_mm: Positive = Field(
        description="filler of this length or more around loaded power cables: heat question"
    )

    def bore_mm(self, outer_mm: float) -> float:
        """Inside size of a sleeve or collar of an outer size (mm), by the wall rule of the file."""
        return outer_mm - 2.0 * (self.wall_base_mm + self.wall_share * outer_mm)


class Item(Part):
    """[[item]]: one thing that is bought, and the level at which its number is made."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9._-]*$")
    name: str
    kind: str
    unit: Literal["piece", "ml", "m", "pair", "set"]
    counted_by: CountedBy
    quantity: NotNegative = 1.0
    per_person: bool = False
    when: When = "always"
    outer_mm: Positive | None = None
    pack_ml: Positive | None = None
    spare_frac: Share = 0.0
    spare_count: Annotated[int, Field(ge=0)] = 0
    meaning: str

    @model_validator(mode="after")
    def _sizes_are_given(self) -> Item:
        if self.kind in ("sleeve", "collar") and self.outer_mm is None:
            raise ValueError(f"item {self.id}: a {self.kind} needs outer_mm")
        if self.kind == "sealant" and (self.unit != "ml" or self.pack_ml is None):
            raise ValueError(f"item {self.id}: a sealant is counted in ml and needs pack_ml")
        return self


class Materials(Part):
    """All of a materials file."""

    about: About
    sealant: Sealant
    filler: Filler
    item: tuple[Item, ...]

    @model_validator(mode="after")
    def _items_agree(self) -> Materials:
        ids = [i.id for i in self.item]
        doubled = sorted({i for i in ids if ids.count(i) > 1})
        if doubled:
            raise ValueError(f"item ids stand twice: {', '.join(doubled)}")
        sealant = next((i for i in self.item if i.id == self.sealant.item_id), None)
        if sealant is None or sealant.kind != "sealant":
            raise ValueError(f"sealant.item_id {self.sealant.item_id!r} is no item of kind sealant")
        if not any(i.kind == "sleeve" for i in self.item):
            raise ValueError("there is no item of kind sleeve")
        for i in self.item:
            if i.outer_mm is not None and self.filler.bore_mm(i.outer_mm) <= 0:
                raise ValueError(f"item {i.id}: the wall rule leaves no bore")
        return self

    @property
    def items(self) -> dict[str, Item]:
        """Items by id, in the order of the file."""
        return {i.id: i for i in self.item}

    @property
    def sleeves(self) -> tuple[Item, ...]:
        """Filler sleeves, largest first."""
        return self._by_size("sleeve", largest_first=True)

    @property
    def collars(self) -> tuple[Item, ...]:
        """Cable collars, smallest first."""
        return self._by_size("collar", largest_first=False)

    @property
    def note(self) -> str:
        """What every paper must say about the materials; blank for real ones."""
        return EXAMPLE_MATERIALS_NOTE if self.about.example else ""

    def _by_size(self, kind: str, *, largest_first: bool) -> tuple[Item, ...]:
        rows = [i for i in self.item if i.kind == kind]
        return tuple(sorted(rows, key=lambda i: (i.outer_mm or 0.0, i.id), reverse=largest_first))


def load(path: Path) -> Materials:
    """Read and check a materials file.

    Parameters
    ----------
    path : Path
        The TOML file.

    Returns
    -------
    Materials

    Raises
    ------
    UsageError
        When the file is missing, is no TOML, or a key is wrong; names file, key, value and mend.
    """
    if not path.is_file():
        raise UsageError(
            f"There is no materials file {path}.",
            mend="Check design.materials in the settings; configs/materials_example.toml is one.",
        )
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"{path} cannot be read as TOML: {fault}.", mend="Mend that line."
        ) from None
    try:
        return Materials.model_validate(raw)
    except ValidationError as fault:
        raise UsageError(
            _message(path, fault), mend="Mend these keys after your supplier's certificate."
        ) from None


def papers_say(settings: Settings) -> str:
    """Sentence on the materials that every paper of a run carries; '' for real ones."""
    note = load(settings.design.materials).note
    return f"{note}." if note else ""


def _message(path: Path, fault: ValidationError) -> str:
    lines = [f"The materials in {path} cannot be used:"]
    for error in fault.errors():
        key = ".".join(str(part) for part in error["loc"]) or "the file"
        if error["type"] == "missing":
            lines.append(f"  {key}: not given, and it has no default.")
        elif error["type"] == "extra_forbidden":
            lines.append(f"  {key}: no such key.")
        elif error["type"] == "value_error":
            lines.append(f"  {key}: {error['msg'].removeprefix('Value error, ')}.")
        else:
            lines.append(f"  {key} = {str(error['input'])[:60]}: {error['msg']}.")
    return "\n".join(lines)

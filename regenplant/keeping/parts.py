"""What a copy of a batch is made of: one line for each table, and how its rows hang on the batch.

A new table joins by one line: ``declare(Part(...))`` here, or in the app's own ``ready`` when the app stands above this one. A
test names every model that points to a batch and is in no line.

Rows come into a copy in three ways. They hang on the batch (``hangs_on``: lookups from the model to the batch). They belong to a
row that is in already (``belongs_to``: the field that points to a row of another part). Or a row that is in
points to them; that needs no word.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Any

from django.apps import apps
from django.db.models import Model, Q

from regenplant.batches.models import Batch
from regenplant.batches.worked_out import worked_of

Subject = tuple[str, str]


class Acts(Enum):
    """Which acts about a row go into the copy."""

    ALL = "every act about it, also as a related subject"
    OWN = "every act on it"
    LAST = "the act that wrote it last"


@dataclass(frozen=True, slots=True)
class Part:
    """One table of a copy. ``label`` is "app.Model"; ``subject`` says how acts name a row of it, None where only acts on
    others write it."""

    name: str
    label: str
    hangs_on: tuple[str, ...] = ()
    belongs_to: tuple[str, ...] = ()
    also: Callable[[Batch], Q] | None = None
    """Rows that name the batch in words instead of pointing to it."""
    acts: Acts = Acts.LAST
    subject: Callable[[Any], Subject] | None = None

    @property
    def model(self) -> type[Model]:
        return apps.get_model(self.label)

    @property
    def table(self) -> str:
        return str(self.model._meta.db_table)


_PARTS: dict[str, Part] = {}
LEFT_OUT: dict[str, str] = {
    "people.Person": "named in the list of people, without password and settings",
    "audit.AuditEvent": "the acts stand in a list of their own",
    "batches.RinseStanding": "derived from the readings, and worked out again from them",
    "batches.ForecastMade": "what a program said while it rinsed; no reading and no decision",
}
"""Models that rows of a copy point to, or that point to a batch, and that are no part, each with its reason."""


def declare(*parts: Part) -> None:
    """Declare parts; a model has one."""
    for part in parts:
        _PARTS[part.label] = part


def parts() -> tuple[Part, ...]:
    """All parts, in the order of the copy."""
    return tuple(_PARTS.values())


def part_of(model: type[Model]) -> Part | None:
    return _PARTS.get(model._meta.label)


def _by(kind: str, field: str = "pk") -> Callable[[Any], Subject]:
    """How acts name a row: by its key, or by a number of its own."""
    return lambda row: (kind, str(getattr(row, field)))


def _signed(batch: Batch) -> Q:
    """Signatures on the batch and on its deviations, by the number they name."""
    return Q(record_key__in=[batch.number, *batch.deviations.values_list("number", flat=True)])


def _planned_lots(batch: Batch) -> Q:
    return Q(code__in=list(batch.chemical_lots.values()))


def _worked_out_of(batch: Batch) -> Q:
    """The versions of which a batch of several customers meets the strictest: its text names them."""
    worked = worked_of(batch)
    return Q(pk__in=[part.version_id for part in worked.parts] if worked else [])


declare(
    Part("batch", "batches.Batch", subject=_by("batch", "number")),
    Part("tanks in the batch", "batches.BatchTank", ("batch",)),
    Part("steps", "batches.StepRun", ("batch",)),
    Part("entries", "batches.StepEntry", ("step__batch",)),
    Part("checks of entries", "batches.EntryCheck", ("entry__step__batch", "reading__batch")),
    Part("rinse readings", "batches.RinseReading", ("batch",)),
    Part("logs of meters", "batches.MeterLog", ("batch",)),
    Part("logs set aside", "batches.MeterLogSetAside", ("log__batch",)),
    Part("holds", "batches.Hold", ("batch",)),
    Part("drains", "waste.StepDrain", ("batch",)),
    Part("movements in waste tanks", "waste.WasteMovement", ("batch",)),
    Part("top-ups of the bed", "batches.BatchTopUp", ("batch",)),
    Part("deviations", "batches.Deviation", ("batch",), acts=Acts.ALL, subject=_by("deviation", "number")),
    Part("measurements", "quality.QcMeasurement", ("batch",)),
    Part("QC decisions", "quality.QcDecision", ("batch",)),
    Part("reopenings", "quality.RecordReopening", ("batch",)),
    Part("record reviews", "quality.RecordReview", ("batch",)),
    Part("releases", "quality.Release", ("batch",)),
    Part("rinses that went on", "quality.RinseContinuation", ("batch",)),
    Part("proposed reworks", "quality.ReworkProposal", ("decision__batch",)),
    Part("downgrades", "quality.Downgrade", ("batch",)),
    Part("orders for a downgrade", "quality.DowngradeOrder", ("downgrade__batch",)),
    Part("retained samples", "quality.RetainedSample", ("batch",), acts=Acts.ALL, subject=_by("retained_sample", "number")),
    Part("discarded samples", "quality.SampleDiscard", ("sample__batch",)),
    Part("paper forms", "keeping.PaperForm", ("batch",), acts=Acts.ALL, subject=_by("paper_form", "number")),
    Part("scans of paper forms", "keeping.PaperScan", belongs_to=("form",)),
    Part("signatures", "people.Signature", also=_signed),
    Part("visits", "tanks.TankVisit", ("batch_links__batch",), acts=Acts.OWN, subject=_by("tank_visit", "number")),
    Part("intake inspections", "tanks.IntakeInspection", belongs_to=("visit",)),
    Part("tanks", "tanks.Tank", subject=_by("tank", "serial")),
    Part("tank sizes", "tanks.TankSize", subject=_by("tank_size", "code")),
    Part("customers", "tanks.Customer", subject=_by("customer", "code")),
    Part("sites", "tanks.Site", subject=lambda row: ("customer", row.customer.code)),
    Part("chemical movements", "chemicals.Movement", also=lambda batch: Q(reference=batch.number), acts=Acts.OWN, subject=_by("movement", "number")),
    Part("chemical lots", "chemicals.ChemicalLot", also=_planned_lots, acts=Acts.OWN, subject=_by("chemical_lot")),
    Part("strength checks", "chemicals.StrengthCheck", belongs_to=("lot",)),
    Part("safety data sheets", "chemicals.DataSheet", subject=_by("data_sheet")),
    Part("places of chemical", "chemicals.Place", subject=_by("place")),
    Part("resin types", "resins.ResinType", subject=_by("resin_type")),
    Part("resin lots", "resins.ResinLot", acts=Acts.OWN, subject=_by("resin_lot")),
    Part("resin lot ancestry", "resins.LotParent", belongs_to=("child",)),
    Part("recipes", "recipes.Recipe", subject=lambda row: ("recipe", str(row.pk))),
    Part("recipe versions", "recipes.RecipeVersion", acts=Acts.OWN, subject=lambda row: ("recipe", str(row.recipe_id))),
    Part("specifications", "recipes.Specification", subject=lambda row: ("specification", str(row.pk))),
    Part("specification versions", "recipes.SpecificationVersion", also=_worked_out_of, acts=Acts.OWN, subject=lambda row: ("specification", str(row.specification_id))),
    Part("storage areas", "chemicals.StorageArea", subject=_by("storage_area")),
    Part("waste tanks", "plant.WasteTank", subject=_by("waste_tank")),
    Part("vessels", "plant.Vessel", subject=_by("vessel")),
    Part("instruments", "plant.Instrument", acts=Acts.OWN, subject=_by("instrument")),
    Part("calibrations", "plant.Calibration", belongs_to=("instrument",)),
    Part("points of calibrations", "plant.CalibrationPoint", belongs_to=("calibration",)),
    Part("times out of service", "plant.OutOfService", belongs_to=("instrument",)),
    Part("looks at the impact of a failed calibration", "plant.ImpactLook", belongs_to=("calibration",)),
)  # fmt: skip

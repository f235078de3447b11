"""Records for tests, built through the services, so that nothing stands in a test that the plant could not produce.

Plain functions. What needs a person takes ``by``; people come from ``person``. Add yours at the end of this file.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.version_model import Version
from regenplant.batches import services as batch_services
from regenplant.batches.checking import unchecked
from regenplant.batches.frozen import judged_rinses, plan_of
from regenplant.batches.models import Batch, Deviation, RinseReading, StepRun
from regenplant.batches.rinse import specification_of
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.process.default_recipes import default_recipes, default_specifications
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ShellCondition,
    WaterColour,
)
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.specification import Specification as SpecificationDefinition
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, Purpose, ResinFamily, StepKind
from regenplant.people.approvals import approval_of, withdrawal_of
from regenplant.people.authority import BUILT_IN, Role, plain_of
from regenplant.people.models import AuthorityVersion, Person
from regenplant.people.services import (
    add_first_administrator,
    add_person,
    approve_authority,
    deactivate_person,
    draft_authority,
)
from regenplant.people.signing import SignaturePermit
from regenplant.plant import services as plant_services
from regenplant.plant.models import Instrument, Vessel
from regenplant.plant.services import CalibrationEvidence
from regenplant.plant.services.instruments import InstrumentSettings
from regenplant.plant.services.profile import ProfileSettings
from regenplant.plant.services.supplies import SkidSettings, WasteTankSettings, WaterSettings
from regenplant.plant.services.vessels import VesselSettings
from regenplant.quality import services as quality_services
from regenplant.quality.models import RecordReview
from regenplant.quality.retained import sample_missing
from regenplant.quality.services.measuring import MeasurementAsTyped
from regenplant.quality.signed_content import PASS_MEANING, REVIEW_MEANING
from regenplant.quality.specification import sample_limits
from regenplant.recipes import services as recipe_services
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from regenplant.resins import services as resin_services
from regenplant.resins.models import ResinType
from regenplant.resins.services import ResinTypeSettings
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer, TankSize, TankVisit
from regenplant.waste import services as waste_services
from tests import replay

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
"""A Monday morning: where the clock of a test stands unless the test moves it."""

PASSWORD = "a password for tests"
"""Everybody's password."""


def first_administrator(*, at: datetime = START) -> Person:
    """The administrator who adds all others; made when first asked for."""
    found = Person.objects.filter(username="administrator-1").first()
    if found is not None:
        return found
    outcome = add_first_administrator(
        by=By(None, at, "tests"),
        username="administrator-1",
        full_name="Administrator 1",
        initials="A1",
        password=PASSWORD,
    )
    return Person.objects.get(pk=outcome.result.pk)


def person(*roles: Role, full_name: str = "", at: datetime = START) -> Person:
    """A new person with these roles: "Operator 1", "QC technician 2"."""
    administrator = first_administrator(at=at)
    first = roles[0] if roles else None
    kind = first.value if first else "visitor"
    count = Person.objects.filter(username__startswith=f"{kind.lower().replace(' ', '-')}-").count() + 1
    outcome = add_person(
        by=By(administrator, at, "tests"),
        username=f"{kind.lower().replace(' ', '-')}-{count}",
        full_name=full_name or f"{kind[0].upper()}{kind[1:]} {count}",
        initials=f"{kind[0].upper()}{count}",
        roles=roles,
        password=PASSWORD,
        is_own_password=True,
    )
    return Person.objects.get(pk=outcome.result.pk)


def leaves(person: Person, *, at: datetime = START) -> None:
    """This person's account is closed."""
    deactivate_person(
        by=By(first_administrator(at=at), at, "tests"), person_id=person.pk, reason="Left the plant."
    )
    person.refresh_from_db()


def approved_matrix(rights: dict[str, dict[str, list[str]]], *, at: datetime = START) -> AuthorityVersion:
    """A version of the authority matrix in force from ``at``: drafted by an administrator, approved by a supervisor.

    ``rights`` says what differs from the program's table.
    """
    supervisor = Person.objects.filter(groups__name=Role.SUPERVISOR.value, is_active=True).first() or person(
        Role.SUPERVISOR, at=at
    )
    whole = {**plain_of(BUILT_IN), **rights}
    draft = draft_authority(
        by=By(first_administrator(at=at), at, "tests"), rights=whole, reason="For the tests."
    )
    by = By(supervisor, at, "tests")
    outcome = approve_authority(by=by, version_id=draft.result.pk, permit=approval(by, draft.result))
    found: AuthorityVersion = outcome.result
    return found


# --- a small whole plant ----------------------------------------------------------------------------------------------
@dataclass
class SmallPlant:
    """Everything a batch needs, by name. ``by("operator")`` acts at ``now``; move ``now`` on as the test goes."""

    now: datetime
    people: dict[str, Person]
    vessels: dict[str, Vessel] = field(default_factory=dict)
    types: dict[str, ResinType] = field(default_factory=dict)
    recipe: dict[str, RecipeVersion] = field(default_factory=dict)
    specification: dict[str, SpecificationVersion] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    lots: dict[str, ChemicalLot] = field(default_factory=dict)
    customer: Customer | None = None
    size: TankSize | None = None

    def by(self, who: str = "operator", *, at: datetime | None = None) -> By:
        return By(self.people[who], at or self.now, "tests")

    def forward(self, **delta: float) -> datetime:
        self.now += timedelta(**delta)
        return self.now


def small_plant(*, now: datetime = START) -> SmallPlant:
    """One vessel, recipe and specification for each family, all skids and waters, checked stock, valid instruments.

    Vessels: "C1" (SAC-H), "S1" (SAC-Na), "A1" (SBA1), "A2" (SBA2), each for 0.20 to 0.45 m³ of class D.
    """
    return replay.once(("small_plant", now), lambda: _small_plant(now))


def _small_plant(now: datetime) -> SmallPlant:
    roles = {
        "operator": Role.OPERATOR,
        "operator 2": Role.OPERATOR,
        "qc": Role.QC_TECHNICIAN,
        "qc 2": Role.QC_TECHNICIAN,
        "supervisor": Role.SUPERVISOR,
        "supervisor 2": Role.SUPERVISOR,
        "planner": Role.PLANNER,
        "safety": Role.SAFETY_LEAD,
    }
    plant = SmallPlant(now, {name: person(role, at=now) for name, role in roles.items()})
    plant.people["administrator"] = first_administrator()
    _equip(plant)
    _materials(plant)
    return plant


def _equip(plant: SmallPlant) -> None:
    by = plant.by("supervisor")
    plant_services.save_profile(by=by, profile=ProfileSettings(name="Test plant"))
    plant_services.record_eyewash_test(by=by, tested_on=plant.now.date())
    for code, family in (("C1", "sac_h"), ("S1", "sac_na"), ("A1", "sba_1"), ("A2", "sba_2")):
        settings = VesselSettings(
            code=code,
            name=f"Vessel {code}",
            internal_diameter_m=0.70,
            straight_height_m=3.2,
            bed_volume_min_m3=0.20,
            bed_volume_max_m3=0.45,
            families=(family,),
            segregation_classes=("D",),
        )
        plant.vessels[code] = plant_services.save_vessel(by=by, vessel=settings).result
    for code, chemical, hot in (("AS", "hcl", None), ("NS", "naoh", 333.15), ("BS", "nacl", None)):
        skid = SkidSettings(code, f"Skid {code}", chemical, 1e-5, 2e-3, hot)
        plant_services.save_skid(by=by, skid=skid)
    for kind in ("raw", "softened", "deionized"):
        plant_services.save_water_supply(
            by=by, water=WaterSettings(kind, 291.15, 8e-3, 0.18 if kind == "raw" else 0.0)
        )
    tank = plant_services.save_waste_tank(
        by=by, tank=WasteTankSettings("N1", "Neutralization tank", 400.0, 4.0)
    ).result
    waste_services.set_waste_level(by=by, waste_tank_id=tank.pk, level_m3=2.0)
    for code, kind, compensation, days in (
        ("CELL", "conductivity", "none", 90),
        ("OLD-CELL", "conductivity", "none", -1),
        ("KIT", "wet_test", "", 90),
        ("PH", "ph", "", 90),
    ):
        instrument = InstrumentSettings(
            code, code.title(), kind, 0.1 if kind == "conductivity" else None, compensation
        )
        row = plant_services.save_instrument(by=by, instrument=instrument).result
        due = (plant.now + timedelta(days=days)).date()
        calibrated(plant, row.pk, days_ago=30, due_on=due)
        plant.instruments[code] = Instrument.objects.get(pk=row.pk)


BY_CERTIFICATE = CalibrationEvidence(
    laboratory="Moorhen Bench Laboratory", certificate="MB 1", is_without_points=True
)
"""A calibration for which the laboratory's certificate stands."""


def calibrated(
    plant: SmallPlant, instrument_id: int, *, days_ago: int = 20, due_on: date | None = None
) -> Instrument:
    """An instrument calibrated by a laboratory, so many days ago; due in three months where nothing else is said."""
    return plant_services.record_calibration(
        by=plant.by("qc"), instrument_id=instrument_id, calibrated_on=(plant.now - timedelta(days=days_ago)).date(),
        due_on=due_on or (plant.now + timedelta(days=90)).date(), evidence=BY_CERTIFICATE,
    ).result  # fmt: skip


def _materials(plant: SmallPlant) -> None:
    maker = plant.by("supervisor")
    for family, total, working, density, swelling, most in (
        ("sac_h", 1900, 1100, 1280, 0.07, 393.15),
        ("sac_na", 1900, 1200, 1280, 0.0, 393.15),
        ("sba_1", 1300, 600, 1080, 0.2, 333.15),
        ("sba_2", 1350, 700, 1090, 0.15, 308.15),
    ):
        settings = ResinTypeSettings(
            f"T-{family}".upper(),
            family,
            family,
            total,
            working,
            0.00063,
            density,
            most,
            swelling_frac=swelling,
        )
        plant.types[family] = resin_services.add_resin_type(by=maker, resin_type=settings).result
    for family in VESSEL_OF:
        plant.recipe[family] = approved_recipe(plant, usual_recipe(family))
        plant.specification[family] = approved_specification(plant, usual_specification(family))
    for chemical, strength, density in (
        ("hcl", 0.32, 1158.6),
        ("naoh", 0.50, 1524.0),
        ("nacl", 0.26, 1196.0),
    ):
        stocked(plant, chemical, strength, density)
    plant.customer = tank_services.add_customer(
        by=plant.by("planner"), code="MOON", name="Moonbase Test Kitchen"
    ).result
    plant.size = tank_services.add_tank_size(
        by=plant.by("planner"), code="14 x 47", diameter_m=0.3556, height_m=1.1938, nominal_resin_m3=0.102
    ).result


def exhausted_form(family: str) -> str:
    """The form a returned resin of this family is counted in."""
    return EXHAUSTED_FORM[ResinFamily(family)].value


def usual_recipe(family: str) -> RecipeDefinition:
    """The first default recipe that regenerates (or exchanges) this family."""
    usual = (Purpose.REGENERATION, Purpose.EXCHANGE)
    return next(one for one in default_recipes() if one.family == family and one.purpose in usual)


def usual_specification(family: str) -> SpecificationDefinition:
    return next(one for one in default_specifications() if one.family == family)


def approved_recipe(
    plant: SmallPlant, definition: RecipeDefinition, *, grade: str = "working"
) -> RecipeVersion:
    """A recipe with version 1, approved by a second person."""
    added = recipe_services.add_recipe(
        by=plant.by("supervisor"), code=definition.code, name=definition.name, family=definition.family.value,
        grade=grade, definition=definition, reason="first version for tests",
    ).result  # fmt: skip
    recipe_services.approve_recipe_version(
        by=plant.by("supervisor 2"), version_id=added.pk, permit=approval(plant.by("supervisor 2"), added)
    )
    return RecipeVersion.objects.get(pk=added.pk)


def approved_specification(
    plant: SmallPlant, definition: SpecificationDefinition, *, grade: str = "working"
) -> SpecificationVersion:
    added = recipe_services.add_specification(
        by=plant.by("supervisor"), code=definition.code, name=definition.name, family=definition.family.value,
        grade=grade, definition=definition, reason="first version for tests",
    ).result  # fmt: skip
    recipe_services.approve_specification_version(
        by=plant.by("supervisor 2"), version_id=added.pk, permit=approval(plant.by("supervisor 2"), added)
    )
    return SpecificationVersion.objects.get(pk=added.pk)


def customers_own_specification(
    plant: SmallPlant, family: str, code: str, **change: object
) -> SpecificationVersion:
    """An approved specification that the customer of this plant has for the product of a family, beside the usual one."""
    usual = plant.specification[family]
    definition = specification_definition(usual)
    own = approved_specification(
        plant, replace(definition, code=code, name=f"For a customer, {code}", **change)
    )  # type: ignore[arg-type]
    assert plant.customer is not None
    product = recipe_services.add_product(
        by=plant.by("supervisor"), code="STD", name=definition.name, family=family, grade="working",
        specification_id=usual.specification_id,
    ).result  # fmt: skip
    recipe_services.set_customer_specification(
        by=plant.by("supervisor"), product_id=product.pk, customer_id=plant.customer.pk,
        specification_id=own.specification_id, reason="their order of this year",
    )  # fmt: skip
    return own


def stocked(
    plant: SmallPlant, chemical: str, strength: float, density: float, *, is_titrated: bool = False
) -> ChemicalLot:
    """A bulk tank of a chemical with a lot in use: checked by hydrometer, or titrated with its density beside."""
    place = chemical_services.add_place(
        by=plant.by("supervisor"), code=f"B-{chemical}", name=f"Bulk {chemical}", kind="bulk_tank", chemical=chemical,
        capacity_m3=40.0,
    ).result  # fmt: skip
    lot = chemical_services.receive_delivery(
        by=plant.by(), code=f"LOT-{chemical}", chemical=chemical, certificate_strength_frac=strength,
        place_id=place.pk, grams_100=3_000_000, is_packaged=True,
    ).result  # fmt: skip
    value = f"{strength:.4g}" if is_titrated else f"{density:g}"
    chemical_services.check_strength(
        by=plant.by("qc"), lot_id=lot.pk, temperature_kelvin=293.15, value_as_typed=value,
        unit_as_typed="" if is_titrated else "kg/m3", density_kg_per_m3=density,
        strength_frac=strength if is_titrated else None,
    )  # fmt: skip
    chemical_services.put_lot_in_use(by=plant.by("qc"), lot_id=lot.pk)
    plant.lots[chemical] = ChemicalLot.objects.get(pk=lot.pk)
    return plant.lots[chemical]


def accepted_tanks(
    plant: SmallPlant, family: str, count: int, *, segregation_class: str = "D"
) -> list[TankVisit]:
    """Tanks of one pool, received, looked over and accepted; their visits in order."""
    return [accepted_tank(plant, family, segregation_class=segregation_class) for _ in range(count)]


def received_tank(
    plant: SmallPlant, family: str, *, segregation_class: str = "D", resin_lot_id: int | None = None
) -> TankVisit:
    """A tank at the dock, not looked over yet."""
    assert plant.size is not None and plant.customer is not None
    tank = tank_services.add_tank(
        by=plant.by("planner"), size_id=plant.size.pk, resin_type_id=plant.types[family].pk,
        segregation_class=segregation_class, resin_lot_id=resin_lot_id,
        dedicated_to_id=plant.customer.pk if segregation_class == "A" else None,
    ).result  # fmt: skip
    return tank_services.receive_tank(
        by=plant.by(), tank_id=tank.pk, customer_id=plant.customer.pk, return_reason="exhausted"
    ).result


def accepted_tank(
    plant: SmallPlant, family: str, *, segregation_class: str = "D", resin_lot_id: int | None = None
) -> TankVisit:
    visit = received_tank(plant, family, segregation_class=segregation_class, resin_lot_id=resin_lot_id)
    return accept_received(plant, visit, segregation_class=segregation_class)


def accept_received(plant: SmallPlant, visit: TankVisit, *, segregation_class: str = "D") -> TankVisit:
    """Look a tank over and accept it."""
    seen = InspectionData(
        shell=ShellCondition.SOUND, head_and_fittings=FittingCondition.SOUND, odour=Odour.NONE,
        water_colour=WaterColour.CLEAR, oxidizer_strip=OxidizerStrip.NONE, first_drain_ph=7.0, first_drain_ph_as_typed="7",
    )  # fmt: skip
    tank_services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=seen)
    visit.refresh_from_db()
    tank_services.accept_tank(
        by=plant.by(), visit_id=visit.pk, segregation_class=segregation_class, version=visit.version
    )
    return TankVisit.objects.get(pk=visit.pk)


VESSEL_OF = {"sac_h": "C1", "sac_na": "S1", "sba_1": "A1", "sba_2": "A2"}
"""The vessel of each family of the small plant; ``tests.families`` has those of the others."""


def frozen_batch(plant: SmallPlant, family: str, visits: list[TankVisit] | None = None, **more: Any) -> Batch:
    """A batch of three tanks with its plan frozen, ready to start. ``more`` goes to the service, or takes the place of what
    it would be given (``recipe_version_id``)."""
    chosen = visits if visits is not None else accepted_tanks(plant, family, 3)
    wanted = {
        "vessel_id": plant.vessels[VESSEL_OF[family]].pk if family in VESSEL_OF else None,
        "recipe_version_id": plant.recipe[family].pk,
        "specification_version_id": plant.specification[family].pk,
        **more,
    }
    return batch_services.freeze_batch(
        by=plant.by(), visit_ids=[visit.pk for visit in chosen], **wanted
    ).result


def write_required(plant: SmallPlant, step: StepRun, *, is_before: bool, who: str = "operator") -> None:
    """Write every required entry of a step at its target."""
    for spec in plan_of(step.batch).step(step.number).entries:
        is_written = spec.kind == "text" and step.entries.filter(key=spec.key).exists()
        if spec.is_before == is_before and spec.is_required and not is_written:
            write(plant, step, spec.key, text_for(spec), who=who)


def write(plant: SmallPlant, step: StepRun, key: str, text: str, *, who: str = "operator") -> None:
    """Write one entry; a critical value is typed the same a second time, and two people tick what takes two."""
    spec = next(spec for spec in plan_of(step.batch).step(step.number).entries if spec.key == key)
    if spec.kind == "second_person":
        second = next(
            name for name in ("operator 2", "qc", "supervisor") if name in plant.people and name != who
        )
        batch_services.confirm_together(
            by=plant.by(who), step_id=step.pk, key=key, second=plant.by(second),
            permit=permit(plant, second, batch_services.TOGETHER_MEANING),
        )  # fmt: skip
        return
    again = text if is_critical(spec) else ""
    batch_services.write_entry(by=plant.by(who), step_id=step.pk, key=key, text=text, again=again)


def check_what_is_critical(plant: SmallPlant, batch: Batch, *, who: str = "operator 2") -> None:
    """A second person checks every critical entry and reading that still needs it."""
    for one in unchecked(batch):
        proof = permit(plant, who, batch_services.CHECK_MEANING)
        if one.entry is not None:
            batch_services.check_entry(by=plant.by(who), entry_id=one.entry.pk, permit=proof)
        elif one.reading is not None:
            batch_services.check_reading(by=plant.by(who), reading_id=one.reading.pk, permit=proof)


def decided(
    plant: SmallPlant,
    deviation: Deviation,
    *,
    who: str = "supervisor",
    words: str = "No effect on the resin; accepted as it is.",
    kind: str = "accept",
) -> Deviation:
    """An open deviation decided by a supervisor who took no part in it."""
    decision = batch_services.Decision(kind, words, "handling", "Seen, talked over with the operator.")
    return batch_services.close_deviation(
        by=plant.by(who), deviation_id=deviation.pk, decision=decision,
        permit=permit(plant, who, batch_services.DECIDED_MEANING),
    ).result  # fmt: skip


def text_for(spec: EntrySpec) -> str:
    """What a careful person would write: the target, or the middle of the limits."""
    if spec.kind in ("confirm", "choice"):
        return "yes"
    if spec.kind == "text":
        return "as on the label"
    return units.format_quantity(_inside(spec), spec.kind)


def _inside(spec: EntrySpec) -> float:
    if spec.target is not None:
        return spec.target
    if spec.low is not None and spec.high is not None:
        return (spec.low + spec.high) / 2
    if spec.high is not None:
        return 0.9 * spec.high
    return 1.1 * spec.low if spec.low is not None else 1.0


def run_to(
    plant: SmallPlant, batch: Batch, kind: StepKind, *, finish: bool = False, who: str = "operator"
) -> StepRun:
    """Run a ready or running batch until the step of this kind runs (or is done)."""
    batch.refresh_from_db()
    for step in batch.steps.order_by("number"):
        if step.state in ("done", "skipped"):
            continue
        if step.state == "waiting":
            write_required(plant, step, is_before=True, who=who)
            if batch.state == "ready":
                batch_services.start_batch(by=plant.by(who), batch_id=batch.pk)
            else:
                batch_services.start_step(by=plant.by(who), step_id=step.pk)
            batch.refresh_from_db()
            step.refresh_from_db()
        if StepKind(step.kind) is kind and not finish:
            return step
        work_off(plant, step, who=who)
        batch.refresh_from_db()
        if StepKind(step.kind) is kind:
            step.refresh_from_db()
            return step
    raise AssertionError(f"no step of kind {kind}")


def work_off(plant: SmallPlant, step: StepRun, *, who: str = "operator") -> None:
    """Work a running step to its end as planned: its time, its readings where it ends on the end point, its entries."""
    plant.forward(minutes=step.planned_duration_s / 60)
    judged = judged_rinses(plan_of(step.batch))
    if judged and step.number == judged[-1]:
        rinse_down(plant, step.batch, who=who)
    write_required(plant, step, is_before=False, who=who)
    if StepKind(step.kind) is StepKind.SAMPLE:
        check_what_is_critical(plant, step.batch, who="operator 2" if who != "operator 2" else "operator")
    batch_services.finish_step(by=plant.by(who), step_id=step.pk)


def rinse_down(
    plant: SmallPlant, batch: Batch, *, at_25_us_per_cm: float | None = None, who: str = "operator"
) -> None:
    """Readings inside the limit (or at a value of your own) over the whole hold time, four minutes apart."""
    specification = specification_of(batch)
    limit = specification.limit("conductivity")
    if limit is None:
        return
    # half the limit, or just inside it where half of it would be purer than water can be
    inside = 0.5 if (limit.high or 0.0) > 2e-5 else 0.9
    value = at_25_us_per_cm if at_25_us_per_cm is not None else (limit.high or 0.0) * 1e4 * inside
    for index in range(int(specification.hold_time_s // 240) + 2):
        plant.forward(minutes=4)
        reading(plant, batch, f"{value * (1 - 0.001 * index):.4g} µS/cm", who=who)


def reading(
    plant: SmallPlant,
    batch: Batch,
    value: str,
    *,
    celsius: float = 25.0,
    cell: str = "CELL",
    who: str = "operator",
    rinsed: str = "",
) -> RinseReading:
    typed = ReadingAsTyped(value, f"{celsius} °C", plant.instruments[cell].pk, rinsed, again_text=value)
    return batch_services.record_reading(by=plant.by(who), batch_id=batch.pk, reading=typed).result


def rinsing_batch(plant: SmallPlant, *values: str, family: str = "sba_1") -> Batch:
    """A batch in its fast rinse (limit of the anion 10 µS/cm), each of these values read by the operator four minutes after the
    one before."""
    batch = frozen_batch(plant, family)
    run_to(plant, batch, StepKind.FAST_RINSE)
    for value in values:
        plant.forward(minutes=4)
        reading(plant, batch, value)
    batch.refresh_from_db()
    return batch


def measured_sample(plant: SmallPlant, batch: Batch, *, who: str = "qc", outside: str = "") -> None:
    """Every limit of the batch's sample measured inside; the one named ``outside`` above its limit."""
    for limit in sample_limits(batch):
        if limit.each_tank:
            continue
        high = limit.high if limit.high is not None else (limit.low or 1.0) * 2
        value = (
            high * 3 if limit.measurement == outside else (limit.low + high) / 2 if limit.low else high / 2
        )
        quality_services.record_measurement(
            by=plant.by(who),
            batch_id=batch.pk,
            measurement=MeasurementAsTyped(
                limit.measurement, units.format_quantity(value, limit.kind), plant.instruments["KIT"].pk
            ),
        )


def sampled(plant: SmallPlant, batch: Batch, *, who: str = "operator") -> None:
    """The retained sample of a batch whose class needs one."""
    if sample_missing(batch):
        quality_services.keep_sample(
            by=plant.by(who), batch_id=batch.pk, volume_text="0.5 L", place="shelf 3"
        )


def approval(by: By, version: Version) -> SignaturePermit:
    """A proven password for the approval of this version; the proving itself is tested with ``people.signing``."""
    return SignaturePermit(by.user.pk, approval_of(version), by.at)


def withdrawal(by: By, version: Version) -> SignaturePermit:
    return SignaturePermit(by.user.pk, withdrawal_of(version), by.at)


def permit(plant: SmallPlant, who: str, meaning: str) -> SignaturePermit:
    """A proven password for one meaning; the proving itself is tested with ``people.signing``."""
    return SignaturePermit(plant.people[who].pk, meaning, plant.now)


def passed_batch(plant: SmallPlant, family: str) -> Batch:
    """A batch that passed QC and waits to be filled into its tanks."""
    return pass_batch(plant, frozen_batch(plant, family))


def pass_batch(plant: SmallPlant, batch: Batch) -> Batch:
    """A batch that was started or not, run to its end and passed by QC."""
    run_to(plant, batch, StepKind.SAMPLE, finish=True)
    measured_sample(plant, batch)
    quality_services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="pass", permit=permit(plant, "qc", PASS_MEANING)
    )
    batch.refresh_from_db()
    return batch


def filled_batch(plant: SmallPlant, family: str) -> Batch:
    """A batch whose tanks are filled and wait for its release."""
    batch = passed_batch(plant, family)
    for link in batch.tank_links.select_related("visit__tank"):
        tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(
            by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=link.visit.resin_volume_m3
        )
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    return batch


def reviewed(plant: SmallPlant, batch: Batch, *, who: str = "supervisor", remarks: str = "") -> RecordReview:
    """The record of a filled (or failed, or amended) batch looked through by a supervisor who took no part."""
    return quality_services.review_record(
        by=plant.by(who), batch_id=batch.pk, permit=permit(plant, who, REVIEW_MEANING), remarks=remarks
    ).result


# --- a plant that only takes tanks in ---------------------------------------------------------------------------------
def tank_plant(now: datetime = START) -> SmallPlant:
    """People, four resin types, one size, two customers: what intake and tank pages need, and nothing else."""
    roles = {
        "operator": Role.OPERATOR,
        "qc": Role.QC_TECHNICIAN,
        "supervisor": Role.SUPERVISOR,
        "planner": Role.PLANNER,
        "safety": Role.SAFETY_LEAD,
    }
    plant = SmallPlant(now, {name: person(role, at=now) for name, role in roles.items()})
    for family, density in (("sac_h", 1280.0), ("sac_na", 1280.0), ("sba_1", 1080.0), ("sba_2", 1090.0)):
        settings = ResinTypeSettings(
            f"T-{family}".upper(), family, family, 1900.0, 1100.0, 0.00063, density, 333.15
        )
        plant.types[family] = resin_services.add_resin_type(
            by=plant.by("supervisor"), resin_type=settings
        ).result
    plant.customer = tank_services.add_customer(
        by=plant.by("planner"), code="MOON", name="Moonbase Test Kitchen"
    ).result
    plant.size = tank_services.add_tank_size(
        by=plant.by("planner"), code="14 x 47", diameter_m=0.3556, height_m=1.1938, nominal_resin_m3=0.102
    ).result
    return plant


SOUND_LOOK = InspectionData(
    shell=ShellCondition.SOUND,
    head_and_fittings=FittingCondition.SOUND,
    odour=Odour.NONE,
    water_colour=WaterColour.CLEAR,
    oxidizer_strip=OxidizerStrip.NONE,
    first_drain_ph=7.0,
    first_drain_ph_as_typed="7",
)
"""A look-over that stops nothing."""


# --- a plant as it stands now, for pages that ask the real clock ------------------------------------------------------
def hours_ago(hours: float) -> datetime:
    """This long before the real time, on the last full five minutes: tests that begin near each other stand on the same plant."""
    now = datetime.now(UTC)
    return now.replace(minute=now.minute - now.minute % 5, second=0, microsecond=0) - timedelta(hours=hours)


def plant_today(*, hours: float = 20.0) -> SmallPlant:
    """A small plant whose clock stands some hours before the real one, so that batches run up to now."""
    return small_plant(now=hours_ago(hours))


def another_vessel(plant: SmallPlant, code: str, family: str) -> Vessel:
    """One more vessel like the first of this family."""
    settings = VesselSettings(
        code=code,
        name=f"Vessel {code}",
        internal_diameter_m=0.70,
        straight_height_m=3.2,
        bed_volume_min_m3=0.20,
        bed_volume_max_m3=0.45,
        families=(family,),
        segregation_classes=("D",),
    )
    plant.vessels[code] = plant_services.save_vessel(by=plant.by("supervisor"), vessel=settings).result
    return plant.vessels[code]


def frozen_in(plant: SmallPlant, family: str, vessel: str, *, count: int = 3) -> Batch:
    """A ready batch of new tanks in a vessel of one's choice."""
    visits = accepted_tanks(plant, family, count)
    return batch_services.freeze_batch(
        by=plant.by(),
        visit_ids=[visit.pk for visit in visits],
        vessel_id=plant.vessels[vessel].pk,
        recipe_version_id=plant.recipe[family].pk,
        specification_version_id=plant.specification[family].pk,
    ).result

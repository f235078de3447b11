"""The month: 60 batches on 20 working days, deliveries, counts by level, a leak, a wrong connection, a delivery that is too strong.

Each batch has a vessel of its own, so that the month need not wait for QC: what a batch takes of a chemical does not depend on it. The diary
keeps what the month knows of itself (what was typed, what leaked), so that the record can be held against it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.moves import current_entries
from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import ChemicalLot, Movement, Place, StockCount
from regenplant.chemicals.services import UNLOCK_MEANING, GeometrySettings, Papers
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily, StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.selectors import waste_tank
from regenplant.plant.services import VesselSettings
from regenplant.resins import services as resin_services
from regenplant.resins.models import ResinLot
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer, TankVisit
from regenplant.use import services as use
from regenplant.use.report_content import mark_of, report_content
from regenplant.use.selectors import By, Question
from regenplant.waste import services as waste_services
from regenplant.waste.month import month_of
from regenplant.waste.report_models import DischargeReport
from regenplant.waste.treatment import treatment_of
from tests import factories
from tests.factories import SmallPlant
from tests.waste.sewer import permitted, proven, release

WORKING_DAYS = 20
BATCHES_A_DAY = 3
FAMILIES = ("sac_h", "sba_1", "sac_na")
FACTORS = (1.0, 1.012, 0.985, 1.0, 1.03, 0.99, 1.072, 1.004)
"""What was drawn over what was planned, batch after batch; one of them lies beyond the usual watch level of 5 %."""

# Hydrochloric acid at 20 °C, kg/m³: hydrochloric acid property table (read, as in tests/chemicals/test_lots.py).
DENSITY_32, DENSITY_36 = 1159.0, 1179.0
TANK_DIAMETER_M = 2.5
LEAK_GRAMS = 90_000
"""As 100 %: what ran out of the acid tank between the second and the third count, unseen."""
CHECK_EVERY_DAYS = 5
STRONG = 0.36


@dataclass
class Diary:
    """What the month knows of itself, besides the record."""

    batches: list[Batch] = field(default_factory=list)
    factors: dict[str, float] = field(default_factory=dict)
    stopped: str = ""
    leak_count: str = ""
    before_strong: str = ""
    """A batch whose plan was frozen before the strong delivery and started after it."""
    after_strong: str = ""
    """The first batch of that family that was planned after it."""
    corrected: int = 0
    refusals: list[str] = field(default_factory=list)
    rinsed: dict[str, str] = field(default_factory=dict)
    """By family: the batch that was run to the end of its rinse."""
    entry_corrected: str = ""
    """The batch of which less was drawn than was first written."""
    report: str = ""
    treated: str = ""
    """The chemical that was given to the waste tank."""
    treated_m3: float = 0.0
    treatment: int = 0
    """Number of the movement of waste it made."""
    waste_report: str = ""


@dataclass
class Month:
    """The plant with its diary."""

    plant: SmallPlant
    diary: Diary
    other: Customer
    acid: Place
    pools: list[str] = field(default_factory=list)


def played_month() -> Month:
    """The whole month, from an empty database."""
    plant = factories.small_plant()
    other = tank_services.add_customer(by=plant.by("planner"), code="SUN", name="Sunside Test Laundry").result
    month = Month(plant, Diary(), other, Place.objects.get(code="B-HCL"))
    _set_up(month)
    for day in range(WORKING_DAYS):
        _day(month, day)
    _entry_correction(month)
    _prices(month)
    _signed_report(month)
    return month


# --- set-up -----------------------------------------------------------------------------------------------------------
def _set_up(month: Month) -> None:
    plant = month.plant
    bleach = chemicals.add_place(
        by=plant.by("supervisor"), code="B-NAOCL", name="Bleach", kind="bulk_tank", chemical="naocl", capacity_m3=2.0
    ).result  # fmt: skip
    caustic = Place.objects.get(code="B-NAOH")
    for place, code, un_number in (
        (month.acid, "FILL-HCL", "UN1789"),
        (caustic, "FILL-NAOH", "UN1824"),
        (bleach, "FILL-NAOCL", "UN1791"),
    ):
        chemicals.set_fill_connection(
            by=plant.by("supervisor"), place_id=place.pk, connection_code=code, un_number=un_number, ullage_margin_m3=0.5
        )  # fmt: skip
    height = math.ceil(40.0 / (math.pi / 4 * TANK_DIAMETER_M**2) * 10) / 10
    shape = GeometrySettings(
        "upright", 0.003, "sight glass", "drawing of the tank", diameter_m=TANK_DIAMETER_M, length_m=height
    )  # fmt: skip
    chemicals.set_tank_geometry(by=plant.by("supervisor"), place_id=month.acid.pk, settings=shape)


# --- one day ----------------------------------------------------------------------------------------------------------
def _day(month: Month, day: int) -> None:
    plant = month.plant
    start = factories.START + timedelta(days=7 * (day // 5) + day % 5)
    plant.now = max(plant.now, start)
    if day % 5 == 0:
        plant_services.record_eyewash_test(by=plant.by(), tested_on=plant.now.date())
        _check_all(month)
        _count(month, day)
    waste_services.set_waste_level(
        by=plant.by(), waste_tank_id=_waste_key(), level_m3=2.0 + 0.001 * (day + 1)
    )
    if day == 3:
        _unloaded(month, "A-201", 0.32, 2_000_000, DENSITY_32)
    if day == 6:
        _wrong_connection(month)
    if day == 8:
        _unloaded_caustic(month)
    if day == 12:
        _strong_delivery(month)
    for turn in range(BATCHES_A_DAY):
        _batch(month, FAMILIES[turn])
    if day == 13:
        _treated_and_discharged(month)
    if day == 14:
        _correction(month)


def _waste_key() -> int:
    tank = waste_tank()
    assert tank is not None
    return int(tank.pk)


def _check_all(month: Month) -> None:
    """Strength checks of what stands in the tanks; of acid the blend, as a laboratory would find it."""
    plant = month.plant
    densities = {"hcl": _acid_density(month), "naoh": 1524.0, "nacl": 1196.0}
    for chemical, density in densities.items():
        lot = ChemicalLot.objects.get(chemical=chemical, is_in_use=True)
        chemicals.check_strength(
            by=plant.by("qc"), lot_id=lot.pk, temperature_kelvin=293.15, value_as_typed=f"{density:g}", unit_as_typed="kg/m3",
            density_kg_per_m3=density,
        )  # fmt: skip


def _acid_density(month: Month) -> float:
    """What the hydrometer reads in the acid tank: before the strong delivery 32 %, after it what was poured together."""
    return 1158.6 if not month.diary.after_strong else 1162.0


# --- the waste --------------------------------------------------------------------------------------------------------
DISCHARGED_M3 = (0.9, 0.4)
"""One by an analysis of the tank, one by its worked-out composition."""
ANALYSIS_KG_PER_M3 = {"chloride": 21.0, "sodium": 11.5, "sulfate": 0.25, "tds": 35.0}


def _treated_and_discharged(month: Month) -> None:
    """The first stage of the plan is given, the tank is mixed and read twice, and two portions go to the sewer."""
    plant, tank = month.plant, waste_tank()
    assert tank is not None
    permitted(plant)
    plan = treatment_of(tank, plant.now).plan
    assert plan is not None and plan.stages is not None and plan.first_stock_m3 is not None
    volume_m3 = plan.first_stock_m3.value
    row = waste_services.treat_waste(
        by=plant.by(), waste_tank_id=tank.pk, chemical=plan.stages.chemical, volume_m3=volume_m3, volume_again_m3=volume_m3
    ).result  # fmt: skip
    month.diary.treated = plan.stages.chemical
    month.diary.treated_m3 = volume_m3
    month.diary.treatment = int(row.number)
    for volume, measured in zip(DISCHARGED_M3, (ANALYSIS_KG_PER_M3, {}), strict=True):
        released = release(plant, proven(plant, volume), measured_kg_per_m3=measured)
        plant.forward(minutes=20)
        waste_services.close_discharge(by=plant.by(), discharge_id=released.pk, volume_m3=volume)
    month.diary.waste_report = sign_waste_month(plant).key


def sign_waste_month(plant: SmallPlant) -> DischargeReport:
    """The month's discharges as they stand, signed by the supervisor."""
    made: DischargeReport = waste_services.sign_month(
        by=plant.by("supervisor"), month=month_of(plant.now),
        permit=factories.permit(plant, "supervisor", waste_services.REPORT_MEANING),
    ).result  # fmt: skip
    return made


# --- counts and the leak ----------------------------------------------------------------------------------------------
def _books(place: Place) -> int:
    came = sum(Movement.objects.filter(to_place=place).values_list("grams_100", flat=True))
    return came - sum(Movement.objects.filter(from_place=place).values_list("grams_100", flat=True))


def _count(month: Month, day: int) -> None:
    """A count of acid by level. What the gauge shows follows from what truly stands there: the books, less what leaked."""
    plant = month.plant
    leaked = LEAK_GRAMS if day >= 10 else 0
    booked = bool(month.diary.leak_count)
    true_grams = _books(month.acid) - (0 if booked else leaked)
    check = ChemicalLot.objects.get(chemical="hcl", is_in_use=True).checks.order_by("-checked_at").first()
    assert check is not None and check.density_kg_per_m3 is not None
    grams_per_m3 = check.strength_frac * check.density_kg_per_m3 * 1000.0
    level_m = true_grams / grams_per_m3 / (math.pi / 4 * TANK_DIAMETER_M**2)
    shown = f"{level_m:.3f}"
    count: StockCount = chemicals.count_level(
        by=plant.by("supervisor"), place_id=month.acid.pk, level_m=float(shown), level_as_typed=shown, unit_as_typed="m", temperature_kelvin=293.15
    ).result  # fmt: skip
    if count.is_within:
        return
    month.diary.leak_count = count.number
    try:
        _book(month, count, "supervisor")
    except NotAllowed as refusal:
        month.diary.refusals.append(refusal.message)
    _book(month, count, "supervisor 2")


def _book(month: Month, count: StockCount, who: str) -> None:
    chemicals.book_difference(
        by=month.plant.by(who), number=count.number, gap_grams_100=count.gap_grams_100, category="leak",
        reason="The flange under the tank was wet; tightened.",
    )  # fmt: skip


# --- deliveries -------------------------------------------------------------------------------------------------------
def _opened(month: Month, code: str, strength: float, grams: int) -> int:
    papers = Papers(f"PO {code} / 1", "hcl", "UN1789", code, f"S-{code}", strength, grams, month.acid.pk)
    return int(chemicals.open_unloading(by=month.plant.by(), papers=papers).result.pk)


def _unloaded(month: Month, code: str, strength: float, grams: int, density: float) -> None:
    """Through the lock, all checks met."""
    plant = month.plant
    key = _opened(month, code, strength, grams)
    chemicals.check_sample(
        by=plant.by(), unloading_id=key, density_kg_per_m3=density, temperature_kelvin=293.15, value_as_typed=f"{density:g}",
        unit_as_typed="kg/m3",
    )  # fmt: skip
    chemicals.confirm_connection(by=plant.by("operator 2"), unloading_id=key, scanned="FILL-HCL")
    chemicals.unlock(
        by=plant.by(), unloading_id=key, permit=factories.permit(plant, "operator", UNLOCK_MEANING)
    )
    plant.forward(minutes=40)


def _wrong_connection(month: Month) -> None:
    """The driver's hose hangs at the bleach connection; the second person scans it, and the delivery is stopped for good."""
    key = _opened(month, "A-202", 0.32, 1_500_000)
    row = chemicals.confirm_connection(
        by=month.plant.by("operator 2"), unloading_id=key, scanned="FILL-NAOCL"
    ).result
    month.diary.stopped = row.number
    try:
        chemicals.unlock(
            by=month.plant.by(),
            unloading_id=key,
            permit=factories.permit(month.plant, "operator", UNLOCK_MEANING),
        )
    except RecordRefused as refusal:
        month.diary.refusals.append(refusal.message)
    month.plant.forward(minutes=30)
    chemicals.answer_stop(by=month.plant.by("supervisor"), unloading_id=key, answer="The signs at the wall were swapped; put right.")  # fmt: skip
    _unloaded(month, "A-203", 0.32, 1_500_000, DENSITY_32)


def _unloaded_caustic(month: Month) -> None:
    """A delivery of caustic on top, as strong as what stands there."""
    plant, place = month.plant, Place.objects.get(code="B-NAOH")
    papers = Papers("PO C-301 / 1", "naoh", "UN1824", "C-301", "S-301", 0.50, 1_800_000, place.pk)
    key = chemicals.open_unloading(by=plant.by(), papers=papers).result.pk
    chemicals.check_sample(
        by=plant.by(), unloading_id=key, density_kg_per_m3=1524.0, temperature_kelvin=293.15, value_as_typed="1524", unit_as_typed="kg/m3"
    )  # fmt: skip
    chemicals.confirm_connection(by=plant.by("operator 2"), unloading_id=key, scanned="FILL-NAOH")
    chemicals.unlock(
        by=plant.by(), unloading_id=key, permit=factories.permit(plant, "operator", UNLOCK_MEANING)
    )
    plant.forward(minutes=40)


def _strong_delivery(month: Month) -> None:
    """36 % acid on top of 32 %: a batch that is frozen by then keeps its dose in litres, the next one gets another."""
    waiting = _frozen(month, "sac_h")
    month.diary.before_strong = waiting.number
    _unloaded(month, "A-204", STRONG, 1_700_000, DENSITY_36)
    after = _frozen(month, "sac_h")
    month.diary.after_strong = after.number
    for batch in (waiting, after):
        _run(month, batch, 1.0)


# --- batches ----------------------------------------------------------------------------------------------------------
def _frozen(month: Month, family: str) -> Batch:
    """A batch of three tanks: two of one customer, one of the other."""
    plant = month.plant
    number = len(month.pools)
    code = f"V{number:02d}"
    month.pools.append(code)
    settings = VesselSettings(
        code=code, name=f"Vessel {code}", internal_diameter_m=0.70, straight_height_m=3.2, bed_volume_min_m3=0.20,
        bed_volume_max_m3=0.45, families=(family,), segregation_classes=("D",),
    )  # fmt: skip
    vessel = plant_services.save_vessel(by=plant.by("supervisor"), vessel=settings).result
    visits: list[TankVisit] = []
    own = plant.customer
    for place in range(3):
        plant.customer = month.other if place == number % 3 else own
        visits.append(factories.accepted_tank(plant, family, resin_lot_id=_lot_of(month, family, place)))
    plant.customer = own
    batch = factories.frozen_batch(plant, family, visits, vessel_id=vessel.pk)
    month.diary.batches.append(batch)
    return batch


def _lot_of(month: Month, family: str, place: int) -> int:
    """Two tanks of each batch hold resin of one delivery, the third of another; the third tank is not always the same customer's."""
    code = f"R-{family.upper().replace('_', '')}-{2 if place == 2 else 1}"
    known = ResinLot.objects.filter(code=code).first()
    if known is not None:
        return int(known.pk)
    made = resin_services.receive_new_lot(
        by=month.plant.by("supervisor"), code=code, resin_type_id=month.plant.types[family].pk, segregation_class="D",
        volume_m3=9.0, volume_form=EXHAUSTED_FORM[ResinFamily(family)].value, origin="found in tanks (invented)",
    )  # fmt: skip
    return int(made.result.pk)


def _batch(month: Month, family: str) -> None:
    if len(month.diary.batches) >= WORKING_DAYS * BATCHES_A_DAY:
        return
    factor = FACTORS[len(month.diary.batches) % len(FACTORS)]
    _run(month, _frozen(month, family), factor)


def _run(month: Month, batch: Batch, factor: float) -> None:
    """To the end of the displacement: all of its chemical is in. The first of each family goes on to the end of its rinse."""
    plant = month.plant
    step = factories.run_to(plant, batch, StepKind.INJECT)
    planned = plan_of(batch).step(step.number)
    plant.forward(minutes=step.planned_duration_s / 60)
    factories.write_required(plant, step, is_before=False)
    if factor != 1.0:
        typed = f"{planned.value('stock_m3') * 1000 * factor:.3f} L"
        batch_services.write_entry(
            by=plant.by(), step_id=step.pk, key="stock_drawn", text=typed, again=typed, outside_is_true=True
        )
    month.diary.factors[batch.number] = factor
    batch_services.finish_step(by=plant.by(), step_id=step.pk)
    is_first = batch.resin_type.family not in month.diary.rinsed
    factories.run_to(plant, batch, StepKind.FAST_RINSE if is_first else StepKind.DISPLACE, finish=True)
    month.diary.rinsed.setdefault(batch.resin_type.family, batch.number)


# --- prices and the report --------------------------------------------------------------------------------------------
PRICES = (
    {"chemical": "hcl", "price": "0.31", "basis": "product"},
    {"chemical": "naoh", "price": "0.52", "basis": "product"},
)
"""Invented; salt has none. The acid lot in use gets one of its own, which comes before the general one."""
OWN_PRICE = {"chemical": "hcl", "price": "0.905", "basis": "pure"}


def _prices(month: Month) -> None:
    in_use = ChemicalLot.objects.get(chemical="hcl", is_in_use=True).code
    for price in (*PRICES, {**OWN_PRICE, "lot_code": in_use}):
        use.enter_price(
            by=month.plant.by("supervisor"), currency="EUR", from_day=date(2025, 1, 1), reason="an invented contract", **price
        )  # fmt: skip


def _signed_report(month: Month) -> None:
    """The supervisor signs the month by customer."""
    last = month.plant.now.date()
    question = Question(last.replace(day=1), last, By.CUSTOMER)
    made = use.sign_report(
        by=month.plant.by("supervisor"), question=question, shown=mark_of(report_content(question)),
        permit=factories.permit(month.plant, "supervisor", use.REPORT_MEANING),
    ).result  # fmt: skip
    month.diary.report = made.number


def _entry_correction(month: Month) -> None:
    """Of the newest batch of caustic a tenth less was drawn than was written: the entry is corrected, the rest is back in the stock."""
    batch = [one for one in month.diary.batches if one.resin_type.family == "sba_1"][-1]
    step = batch.steps.get(kind=StepKind.INJECT.value)
    entry = current_entries(step)["stock_drawn"]
    text = f"{plan_of(batch).step(step.number).value('stock_m3') * 900:.3f} L"
    batch_services.correct_entry(
        by=month.plant.by(), entry_id=entry.pk, category="slip", reason="two digits of the level were swapped", text=text,
        again=text, outside_is_true=True,
    )  # fmt: skip
    month.diary.entry_corrected = batch.number
    month.diary.factors[batch.number] = 0.9


# --- a correction -----------------------------------------------------------------------------------------------------
def _correction(month: Month) -> None:
    """The newest draw of acid was booked on the wrong batch: it is taken back, both stay in the ledger."""
    wrong = Movement.objects.filter(chemical="hcl", to_place__kind="batch").order_by("-number").first()
    assert wrong is not None
    chemicals.correct_movement(
        by=month.plant.by("supervisor"), movement_id=wrong.pk, category="place", reason="The level was read at the wrong tank."
    )  # fmt: skip
    month.diary.corrected = int(wrong.number)

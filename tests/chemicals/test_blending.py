"""What a delivery on top of a remainder does to the strength that doses are worked out with (CS-05): the mass balance."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import transaction

from regenplant.batches.preview import Wanted, preview
from regenplant.chemicals import selectors, services
from regenplant.chemicals.blending import blended_strength
from regenplant.chemicals.models import ChemicalLot, Movement, Place
from regenplant.chemicals.services import UNLOCK_MEANING, Papers
from regenplant.core.process.plan import BatchPlan
from regenplant.documents.batch_sheet import draw_batch_sheet
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4
from regenplant.documents.selectors import batch_sheet_content
from regenplant.people.signing import SignaturePermit
from regenplant.web.presenters.plan import stock_words
from tests import factories
from tests.documents.reading import whole_text
from tests.factories import SmallPlant

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-05")]

ISSUE = Issue(1, "2026-03-02 08:00+00:00", "Operator 1", 7, "0" * 64, 1)
# Density of hydrochloric acid at 20 °C: hydrochloric acid property table, read (as in test_lots).
DENSITY = {0.32: 1159.0, 0.34: 1169.0, 0.36: 1179.0}
REST_GRAMS, COMES_GRAMS = 3_000_000, 3_375_000
"""As 100 %: 9 375 kg of 32 % and 9 375 kg of 36 % acid. Equal masses poured together have 34 %: hand calculation."""


@pytest.fixture
def plant() -> SmallPlant:
    plant = factories.small_plant()
    place = Place.objects.get(code="B-HCL")
    services.set_fill_connection(
        by=plant.by("supervisor"), place_id=place.pk, connection_code="FILL-HCL", un_number="UN1789", ullage_margin_m3=0.5,
    )  # fmt: skip
    checked(plant, "LOT-HCL", 0.32)
    plant.forward(hours=1)
    return plant


def checked(plant: SmallPlant, code: str, strength_frac: float) -> None:
    """A titration, with the density beside it."""
    services.check_strength(
        by=plant.by("qc"), lot_id=ChemicalLot.objects.get(code=code).pk, temperature_kelvin=293.15,
        value_as_typed=f"{strength_frac * 100:g}", unit_as_typed="%", strength_frac=strength_frac,
        density_kg_per_m3=DENSITY[strength_frac],
    )  # fmt: skip


def unloaded(
    plant: SmallPlant, code: str = "A-118", grams: int = COMES_GRAMS, strength: float = 0.36
) -> ChemicalLot:
    """Through the lock; the sample is titrated, as found in the delivery."""
    place = Place.objects.get(code="B-HCL")
    papers = Papers("4711 / 2", "hcl", "UN1789", code, "S-90", strength, grams, place.pk)
    row = services.open_unloading(by=plant.by(), papers=papers).result
    services.check_sample(
        by=plant.by(), unloading_id=row.pk, density_kg_per_m3=DENSITY[strength], temperature_kelvin=293.15,
        value_as_typed=f"{DENSITY[strength]:g}", unit_as_typed="kg/m3", strength_frac=strength,
    )  # fmt: skip
    services.confirm_connection(by=plant.by("operator 2"), unloading_id=row.pk, scanned="FILL-HCL")
    by = plant.by()
    permit = SignaturePermit(by.user.pk, UNLOCK_MEANING, by.at)
    found: ChemicalLot = services.unlock(by=by, unloading_id=row.pk, permit=permit).result.lot
    plant.forward(hours=1)
    return found


def stock_frac(plant: SmallPlant) -> float:
    return selectors.stock_data(plant.now)["hcl"].strength_frac


# --- the balance --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("rest", "w_rest", "comes", "w_comes", "blend"),
    [
        (3200, 0.32, 3600, 0.36, 0.34),  # 10 kg and 10 kg of solution
        (3200, 0.32, 10_800, 0.36, 0.35),  # 10 kg and 30 kg
        (0, 0.32, 3600, 0.36, 0.36),  # onto an empty tank
        (5000, 0.5, 5000, 0.25, 1 / 3),  # 10 kg and 20 kg
    ],
)
def test_two_solutions_poured_together(
    rest: int, w_rest: float, comes: int, w_comes: float, blend: float
) -> None:
    """Substance over solution: hand calculation."""
    assert blended_strength(rest, w_rest, comes, w_comes).value == pytest.approx(blend, rel=1e-12)


# --- what a dose uses -----------------------------------------------------------------------------------------------------
def test_36_percent_onto_32_percent_changes_the_volume_of_the_dose_as_the_mass_balance_says(
    plant: SmallPlant,
) -> None:
    """The mass dosed stays; its volume is that mass over strength and density: 32 % at 1 159, then 34 % at 1 169 kg/m³, both read.

    Within 0.3 %: the density of the blend is calculated, the table's rows are read to 1 kg/m³.
    """
    visits = factories.accepted_tanks(plant, "sac_h", 3)

    def plan() -> BatchPlan:
        wanted = Wanted(visits, plant.vessels["C1"], plant.recipe["sac_h"])
        return preview(wanted, plant.now)

    def dose(of: BatchPlan) -> tuple[float, float]:
        figures = next(step.figures for step in of.steps if "stock_m3" in step.figures)
        return figures["chemical_kg_100"].value, figures["stock_m3"].value

    mass, volume = dose(plan())
    assert volume == pytest.approx(mass / (0.32 * 1159.0), rel=3e-3)
    unloaded(plant)
    assert stock_frac(plant) == pytest.approx(0.34, rel=1e-9)
    mass_after, volume_after = dose(plan())
    assert mass_after == pytest.approx(mass, rel=1e-9)
    assert volume_after == pytest.approx(mass / (0.34 * 1169.0), rel=3e-3)
    assert volume_after / volume == pytest.approx(0.32 * 1159.0 / (0.34 * 1169.0), rel=3e-3)
    checked(plant, "LOT-HCL", 0.34)
    assert dose(plan())[1] == pytest.approx(volume_after, rel=3e-3)


def test_what_was_drawn_before_the_delivery_is_not_in_the_blend_and_after_it_changes_nothing(
    plant: SmallPlant,
) -> None:
    """1 875 kg of 32 % are left of 9 375 kg; with 9 375 kg of 36 %: (600 + 3375) / (1875 + 9375) = 35.33 %: hand calculation."""
    services.draw_for_batch(by=plant.by(), chemical="hcl", grams_100=2_400_000, reference="B-10001")
    plant.forward(hours=1)
    unloaded(plant)
    assert stock_frac(plant) == pytest.approx(3975 / 11250, rel=1e-9)
    services.draw_for_batch(by=plant.by(), chemical="hcl", grams_100=1_000_000, reference="B-10002")
    plant.forward(hours=1)
    assert stock_frac(plant) == pytest.approx(3975 / 11250, rel=1e-9)


def test_a_booked_difference_is_not_in_the_blend_of_a_delivery_after_the_count(plant: SmallPlant) -> None:
    """3 000 kg by the books, 2 000 found, 3 375 kg of 36 % on top, booked hours later but of the moment of the count:
    (2 000 + 3 375) / (2 000 / 0.32 + 3 375 / 0.36) = 0.344 (hand calculation)."""
    place = Place.objects.get(code="B-HCL")
    count = services.count_stock(
        by=plant.by("operator 2"), place_id=place.pk, counted_grams_100=2_000_000, reason="weighed out"
    ).result
    plant.forward(hours=1)
    unloaded(plant)
    assert stock_frac(plant) == pytest.approx(0.34, rel=1e-9)
    plant.forward(hours=3)
    services.book_difference(
        by=plant.by("supervisor"), number=count.number, gap_grams_100=-1_000_000, category="unbooked", reason="a batch was never written"
    )  # fmt: skip
    assert stock_frac(plant) == pytest.approx(0.344, rel=1e-9)


def test_two_deliveries_are_followed_one_after_the_other(plant: SmallPlant) -> None:
    """9 375 kg each of 32, 36 and 36 %: 34.667 %: hand calculation."""
    unloaded(plant)
    unloaded(plant, "A-119")
    assert stock_frac(plant) == pytest.approx(0.32 / 3 + 0.36 * 2 / 3, rel=1e-9)


@pytest.mark.parametrize("lot", ["LOT-HCL", "A-118"])
def test_a_check_of_the_two_together_takes_the_place_of_the_balance(plant: SmallPlant, lot: str) -> None:
    """Whichever of the two lots it is written for, the sample comes out of the tank."""
    unloaded(plant)
    checked(plant, lot, 0.34)
    stock = selectors.stock_data(plant.now)["hcl"]
    assert (stock.strength_frac, stock.density_kg_per_m3, stock.check_age_days) == (0.34, 1169.0, 0.0)
    (line,) = [line for line in selectors.stock_board(plant.now) if line.chemical.value == "hcl"]
    assert not line.standing.is_blend


def test_a_delivery_taken_back_by_correction_never_came(plant: SmallPlant) -> None:
    lot = unloaded(plant)
    services.correct_movement(
        by=plant.by("supervisor"), movement_id=Movement.objects.get(lot=lot).pk, category="slip",
        reason="It was for the neighbour and never unloaded.",
    )  # fmt: skip
    plant.forward(hours=1)
    assert stock_frac(plant) == 0.32


def test_a_delivery_at_the_moment_of_the_check_counts_as_later(plant: SmallPlant) -> None:
    checked(plant, "LOT-HCL", 0.32)
    plant_now = plant.now
    unloaded(plant)
    assert Movement.objects.get(lot__code="A-118").moved_at == plant_now
    assert stock_frac(plant) == pytest.approx(0.34, rel=1e-9)


def test_the_age_is_that_of_the_check_and_the_density_is_worked_out(plant: SmallPlant) -> None:
    unloaded(plant)
    plant.forward(days=3)
    stock = selectors.stock_data(plant.now)["hcl"]
    assert (stock.density_kg_per_m3, stock.check_age_days, stock.added_lots) == (None, 3.0, ("A-118",))
    words = stock_words(stock, "HCl", plant.now)
    assert words.startswith("Lot LOT-HCL with A-118 on top: 34.00\u00a0% HCl, by mass balance, checked")


def test_the_batch_sheet_says_that_the_strength_is_worked_out(plant: SmallPlant) -> None:
    unloaded(plant)
    batch = factories.frozen_batch(plant, "sac_h")
    sheet = draw_batch_sheet(batch_sheet_content(batch.number, ISSUE), A4, "metric")
    assert "A-118 came on top, by mass balance" in whole_text(sheet)


# --- what no sample tells -------------------------------------------------------------------------------------------------
def test_without_a_sample_of_the_delivery_nothing_is_planned(plant: SmallPlant) -> None:
    """Totes emptied into a tank without a code: only their certificate is known, which is no check."""
    with transaction.atomic():
        Place.objects.filter(code="B-HCL").update(connection_code="", un_number="")
    services.receive_delivery(
        by=plant.by(), code="A-118", chemical="hcl", certificate_strength_frac=0.36,
        place_id=Place.objects.get(code="B-HCL").pk, grams_100=COMES_GRAMS, is_packaged=True,
    )  # fmt: skip
    plant.forward(hours=1)
    stock = selectors.stock_data(plant.now)["hcl"]
    assert stock.check_age_days is None and stock.checked_at
    plan = preview(
        Wanted(factories.accepted_tanks(plant, "sac_h", 3), plant.vessels["C1"], plant.recipe["sac_h"]),
        plant.now,
    )
    (refusal,) = [check for check in plan.checks if check.code == "strength_check" and not check.is_met]
    assert refusal.sentence.startswith("A-118 came on top of lot LOT-HCL since its strength check")
    (line,) = [line for line in selectors.stock_board(plant.now) if line.chemical.value == "hcl"]
    assert line.is_check_overdue and line.problem.startswith(
        "A-118 came on top of lot LOT-HCL and the plant took no sample"
    )
    checked(plant, "LOT-HCL", 0.34)
    assert selectors.stock_data(plant.now)["hcl"].check_age_days == 0.0


def test_the_board_takes_as_many_queries_for_many_deliveries(
    plant: SmallPlant, django_assert_max_num_queries: Callable[..., object]
) -> None:
    for number in range(3):
        unloaded(plant, f"A-{number}", 100_000)
    plant.now += timedelta(hours=1)
    with django_assert_max_num_queries(12):  # type: ignore[attr-defined]
        lines = selectors.stock_board(plant.now)
    (line,) = [line for line in lines if line.chemical.value == "hcl"]
    assert line.standing.added == ("A-0", "A-1", "A-2") and line.standing.unsampled == ()

"""Whatever is done to the record behind the program's back is found, and the record it was done to is named.

At least fifty ways, on both databases; the ways themselves stand in ``tests/audit/tampering/``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction

from regenplant.audit import locks
from regenplant.audit.verifying import registry
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Place
from regenplant.chemicals.quantities import Basis
from regenplant.chemicals.services import Amount
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import issue_paper
from regenplant.planning import services as plan_services
from regenplant.planning.figures import DEFAULTS
from regenplant.planning.search import search
from regenplant.plant.selectors import plant_day
from regenplant.quality import services as quality_services
from regenplant.quality.models import QcDecision
from regenplant.resins import services as resin_services
from regenplant.resins.models import ResinLot
from regenplant.resins.services import Counted, Piece
from regenplant.safety import services as safety_services
from regenplant.tanks import services as tank_services
from regenplant.use import services as use_services
from regenplant.use.report_content import mark_of, report_content
from regenplant.use.selectors import Question
from regenplant.waste import services as waste_services
from regenplant.waste.month import month_of
from tests import factories
from tests.audit.tampering import WAYS, Record, matches
from tests.batches.meter_logs import take
from tests.chemicals import weighed
from tests.waste import sewer

pytestmark = pytest.mark.django_db
AT_LEAST = 50


@pytest.fixture(scope="module")
def record(django_db_setup: None, django_db_blocker: Any) -> Iterator[Record]:
    """Built once for all ways, in a transaction that is undone; each way is undone for itself."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield _record()
        transaction.set_rollback(True)


def _audited(plant: factories.SmallPlant) -> None:
    """A price, watch levels of the plant's own, and a signed report of use."""
    day = plant_day(plant.now)
    use_services.enter_price(
        by=plant.by("supervisor"), chemical="hcl", price="0.3", currency="EUR", basis="product", from_day=day,
        reason="an invented contract",
    )  # fmt: skip
    use_services.record_watch_levels(
        by=plant.by("supervisor"), batch_frac=0.04, period_frac=0.02, shifts=["06:00"], reason="our own year"
    )
    use_services.record_measure_level(
        by=plant.by("supervisor"), measure="late", level=4.0, reason="our own year"
    )
    question = Question(day - timedelta(days=3), day)
    use_services.sign_report(
        by=plant.by("supervisor"), question=question, shown=mark_of(report_content(question)),
        permit=factories.permit(plant, "supervisor", use_services.REPORT_MEANING),
    )  # fmt: skip


def _record() -> Record:
    plant = factories.small_plant()
    new = resin_services.receive_new_lot(
        by=plant.by("supervisor"), code="N-1", resin_type_id=plant.types["sac_h"].pk, segregation_class="D", volume_m3=0.5,
        volume_form="Na", origin="delivered new", into_store=True,
    ).result  # fmt: skip
    resin_services.split_lot(
        by=plant.by(), resin_lot_id=new.pk, pieces=[Piece("N-1-A", Counted(0.2, "Na"))], reason="One drum of it apart"
    )  # fmt: skip
    passed = [_passed_with_a_log(plant, new), factories.passed_batch(plant, "sac_na")]
    issue_paper(by=plant.by("supervisor"), kind="batch_sheet", key=passed[0].number)
    for place in ("shelf 1", "shelf 2"):
        kept = quality_services.keep_sample(
            by=plant.by("operator 2"), batch_id=passed[0].pk, volume_text="0.5 L", place=place
        ).result
    quality_services.discard_sample(
        by=plant.by("qc"), sample_id=kept.pk, why="used", reason="All of it went into a second test."
    )
    chemical_services.record_spill(
        by=plant.by(), chemical="hcl", location="at the pump", reached="contained", what_happened="the seal dripped all night",
        amount=Amount(Basis.PURE_MASS, 3.0, 0.32, "3 kg"), happened_at=plant.now,
        place_id=Place.objects.get(code="B-HCL").pk,
    )  # fmt: skip
    chemical_services.write_threshold(
        by=plant.by("safety"), chemical="hcl", kind="release", limit_kg=50.0, paper="letter of the authority"
    )
    _audited(plant)
    _counted(plant)
    _sewer(plant)
    _safe(plant)
    _weighed(plant)
    _planned(plant)
    running = factories.frozen_batch(plant, "sba_1")
    batch_services.open_deviation(
        by=plant.by(), batch_id=running.pk, what="the drain valve stuck for 3 min", severity="major"
    )
    issue_paper(by=plant.by("supervisor"), kind="batch_sheet", key=passed[0].number)

    sample = quality_services.SampleAsTyped(
        plant.now, "Operator 1", "core over the full depth", "Moorhen Bench Laboratory"
    )
    figure = quality_services.FigureAsTyped("total_capacity", "1.71 eq/L", "titration")
    for report in ("MB 1", "MB 2"):
        quality_services.record_resin_sample(
            by=plant.by("qc"), lot_id=new.pk, sample=replace(sample, report=report), figures=[figure]
        )
    quality_services.look_at_lot(by=plant.by(), lot_id=new.pk, seen=["brown"], answers={"iron": "yes"})
    for number, factor in enumerate(("90 %", "88 %")):
        quality_services.set_lot_capacity(
            by=plant.by("supervisor"),
            lot_id=new.pk,
            factor_text=factor,
            reason="As the sample says.",
            seen_number=number,
            permit=factories.permit(plant, "supervisor", quality_services.CAPACITY_MEANING),
        )

    def act_again() -> None:
        batch_services.open_deviation(
            by=plant.by(), batch_id=running.pk, what="the drain valve stuck once more", severity="minor"
        )

    act_again()
    first = IssuedPaper.objects.order_by("pk").first()
    assert first is not None
    decisions = list(QcDecision.objects.filter(batch__in=passed).order_by("pk").values_list("pk", flat=True))
    return Record(
        passed[0].number,
        Batch.objects.get(pk=running.pk).number,
        plant.people,
        act_again,
        {"paper_number": first.chain_number, "decisions": decisions, "install": locks.install},
    )


def _sewer(plant: factories.SmallPlant) -> None:
    """A discharge with a reading outside before it, two excursions of which one is closed, and a signed month."""
    sewer.permitted(plant)
    sewer.with_own_drains(plant)
    row = sewer.opened(plant, 0.5)
    plant.forward(minutes=15)
    for ph in (4.9, 6.1, 6.2):
        sewer.read(plant, row, ph)
        plant.forward(minutes=10)
    row = sewer.release(plant, row)
    waste_services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=0.5)
    for words in ("the rinse drain showed pH 4.2 for two minutes", "foam at the outlet for a minute"):
        found = waste_services.report_excursion(by=plant.by(), words=words).result
    waste_services.close_excursion(
        by=plant.by("safety"), excursion_id=found.pk, cause="soap of the floor wash", told="nobody had to be, by the permit",
        permit=factories.permit(plant, "safety", waste_services.CLOSED_MEANING),
    )  # fmt: skip
    waste_services.sign_month(
        by=plant.by("supervisor"), month=month_of(plant.now),
        permit=factories.permit(plant, "supervisor", waste_services.REPORT_MEANING),
    )  # fmt: skip


def _safe(plant: factories.SmallPlant) -> None:
    """A near miss that was answered and one that waits, a refused tank that left, and an eyewash that did not work."""
    for words in ("The hose jumped off under water pressure.", "A tank rolled off the tail lift."):
        told = safety_services.report_near_miss(
            by=plant.by(), kind="release", what=words, spot="Unloading door"
        ).result
    safety_services.answer_near_miss(
        by=plant.by("safety"), near_miss_id=told.pk, cause="The strap was not pulled tight."
    )
    visit = factories.received_tank(plant, "sac_h")
    tank_services.refuse_tank(
        by=plant.by("safety"), visit_id=visit.pk, reason="The first water is yellow", version=visit.version
    )
    safety_services.let_refused_tank_go(
        by=plant.by("supervisor"),
        visit_id=visit.pk,
        went_to="Back to the customer",
        left_on=plant_day(plant.now),
    )
    station = safety_services.save_wash_station(
        by=plant.by("supervisor"), code="W1", spot="Unloading door", kind="both"
    ).result
    for working, note in ((True, ""), (False, "no water came")):
        safety_services.inspect_wash_station(
            by=plant.by("supervisor"),
            station_id=station.pk,
            tested_on=plant_day(plant.now),
            is_working=working,
            note=note,
        )


def _weighed(plant: factories.SmallPlant) -> None:
    """A delivery through the lock whose weigh ticket differs, answered by another person."""
    row = weighed.unlocked(plant)
    weighed.ticket(plant, row, 1190.0)
    chemical_services.answer_weigh_ticket(
        by=plant.by("supervisor"), unloading_id=row.pk, seen_position=1, answer="Sixty kilograms stood in the hose."
    )  # fmt: skip


def _planned(plant: factories.SmallPlant) -> None:
    """Figures for planning, and an accepted plan of the day whose first batch was cancelled."""
    plan_services.record_figures(
        by=plant.by("planner"), figures=replace(DEFAULTS, days=9), reason="Nine days are enough."
    )
    visits = factories.accepted_tanks(plant, "sac_h", count=3)
    tank = tank_services.add_tank(
        by=plant.by("planner"), size_id=visits[0].tank.size_id, resin_type_id=visits[0].resin_type_id, segregation_class="D"
    ).result  # fmt: skip
    tank_services.expect_tanks(
        by=plant.by("planner"), tank_ids=[tank.pk], customer_id=visits[0].customer_id, expected_at=plant.now + timedelta(hours=2)
    )  # fmt: skip
    tank_services.rush_customer(
        by=plant.by("planner"), customer_id=visits[0].customer_id, reason="Back within a day."
    )
    row = plan_services.begin_plan(by=plant.by("planner"), seconds=5).result
    search(row.number, steps=2)
    plan_services.accept_plan(by=plant.by("planner"), number=row.number)
    plan_services.cancel_planned(
        by=plant.by("planner"), planned_code="PB-1001", reason="The truck does not come."
    )


def _counted(plant: factories.SmallPlant) -> None:
    """The shape of a tank, a count by its level that misses much, and its booking by another person."""
    place = Place.objects.get(code="B-HCL")
    chemical_services.set_tank_geometry(
        by=plant.by("supervisor"), place_id=place.pk, settings=chemical_services.GeometrySettings(
            form="upright", diameter_m=4.0, length_m=4.0, level_tolerance_m=0.005, gauge="sight glass", origin="drawing of the tank",
        ),
    )  # fmt: skip
    count = chemical_services.count_level(
        by=plant.by("operator 2"),
        place_id=place.pk,
        level_m=0.3,
        level_as_typed="0.3",
        unit_as_typed="m",
        temperature_kelvin=293.15,
    ).result
    chemical_services.book_difference(
        by=plant.by("supervisor"), number=count.number, gap_grams_100=count.gap_grams_100, category="leak", reason="wet flange under it"
    )  # fmt: skip


def _passed_with_a_log(plant: factories.SmallPlant, new: ResinLot) -> Batch:
    """A batch whose bed was topped up, that passed on readings by hand, and has the log of a meter from the beginning of its rinse."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    batch_services.top_up_batch(
        by=plant.by(), batch_id=batch.pk, resin_lot_id=new.pk, added=Counted(0.004, "Na"), bed=Counted(0.306, "Na"),
        reason="Lost in the backwash before",
    )  # fmt: skip
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    log = take(plant, batch, [900.0 - 20.0 * index for index in range(20)], every_s=10.0)
    batch_services.set_aside(
        by=plant.by(), log_id=log.pk, category="instrument", reason="The cell was not rinsed yet.",
        from_at=log.first_at, until_at=log.first_at,
    )  # fmt: skip
    return factories.pass_batch(plant, batch)


def found(record: Record, way: Callable[[Record], str] | None) -> tuple[str, list[str]]:
    """The pattern a way must be found by, and what was found."""
    with transaction.atomic():
        pattern = ""
        if way is not None:
            locks.remove()
            pattern = way(record)
            if not pattern.startswith("lock:"):  # as a careful hand would leave it
                locks.install()
        report = registry.run()
        transaction.set_rollback(True)
    return pattern, [f"{finding.kind}: {finding.sentence}" for finding in report.findings]


@pytest.mark.requirement("ER-02", "ER-09")
def test_the_record_holds_before_anybody_touches_it(record: Record) -> None:
    assert found(record, None) == ("", [])


@pytest.mark.requirement("ER-02", "ER-03", "ER-09", "ER-18")
@pytest.mark.parametrize("name", sorted(WAYS))
def test_what_was_falsified_is_found_and_named(name: str, record: Record) -> None:
    pattern, sentences = found(record, WAYS[name])
    assert sentences, "nothing was found"
    assert matches(pattern, sentences), "\n".join([pattern, *sentences])


def test_there_are_enough_ways() -> None:
    assert len(WAYS) >= AT_LEAST

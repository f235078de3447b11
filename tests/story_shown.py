"""What the demonstration shows, read from its database: ``python -m tests.story_shown`` prints it as JSON, for ``tests/test_demo.py``.

A program of its own, because the demonstration stands in a database of its own.
"""

from __future__ import annotations

import json
import os
import re
import sys
from datetime import UTC, timedelta
from io import StringIO
from typing import Any

import django
from django.core.management import call_command


def shown() -> dict[str, Any]:
    """Everything that is asserted, as plain data."""
    return {
        **_asked_for(),
        **_meters(),
        **_decided(),
        **_instruments(),
        **_papers(),
        **_use(),
        **_stock(),
        **_resin_store(),
        **_ageing(),
        **_chemical_safety(),
        **_unloadings(),
        **_sewer(),
        **_planned(),
        **_pages(),
        **_verified(),
    }


def _asked_for() -> dict[str, Any]:
    from regenplant.recipes.models import CustomerSpecification, Product, SpecificationVersion

    holding = CustomerSpecification.objects.filter(ended_at__isnull=True)
    versions = SpecificationVersion.objects.filter(
        specification__in=holding.values("specification"), state="approved"
    )
    return {
        "products": Product.objects.filter(is_active=True).count(),
        "customers_asking": sorted(row.customer.code for row in holding.select_related("customer")),
        "asking_less": sorted(row.customer.code for row in holding.exclude(looser_reason="")),
        "approved_by_another": [version.approved_by_id != version.made_by_id for version in versions],
        "drafts": SpecificationVersion.objects.filter(state="draft").count(),
    }


def _meters() -> dict[str, Any]:
    from django.db.models import Count

    from regenplant.batches.forecasts import history_of
    from regenplant.batches.models import Batch, ForecastMade, MeterLog
    from regenplant.core.process.lifecycle import BatchState
    from regenplant.plant.models import MeterFeed

    of_source = MeterLog.objects.values("source").annotate(rinses=Count("batch", distinct=True))
    newest = MeterLog.objects.order_by("-last_at")[0].last_at
    running = []
    for batch in Batch.objects.filter(state=BatchState.RINSING, rinse_standing__logs__gt=0):
        standing = batch.rinse_standing
        said = standing.forecast
        running.append(
            {
                "vessel": batch.vessel.code,
                "age_s": (newest - standing.newest_at).total_seconds(),
                "p50_bv": said["p50_bv"],
                "p_never": said["p_never"],
                "rinsed_bv": said["rinsed_bv"],
                "causes": [cause["code"] for cause in said["causes"]],
                "earlier": len(history_of(batch)),
                "forecasts": ForecastMade.objects.filter(batch=batch).count(),
            }
        )
    return {
        "feeds": {
            feed.code: [feed.account.is_device, feed.instrument.calibration_due_on is not None]
            for feed in MeterFeed.objects.select_related("account", "instrument")
        },
        "rinses_of_source": {row["source"]: row["rinses"] for row in of_source},
        "running": running,
    }


def _decided() -> dict[str, Any]:
    from django.utils import timezone

    from regenplant.batches.models import Batch, MeterLog
    from regenplant.core.process.acceptance import Outcome
    from regenplant.core.process.lifecycle import BatchState
    from regenplant.quality.models import (
        Downgrade,
        QcMeasurement,
        RetainedSample,
        ReworkProposal,
        RinseContinuation,
    )
    from regenplant.quality.specification import judgement
    from regenplant.quality.trends import trends

    waiting = [
        batch
        for batch in Batch.objects.filter(state=BatchState.AWAITING_QC)
        if MeterLog.objects.filter(batch=batch).exists()
    ]
    proposals = list(ReworkProposal.objects.select_related("decision__batch"))
    now = timezone.now()
    found = trends(now - timedelta(days=60), now, UTC)
    return {
        "gone_on": RinseContinuation.objects.count(),
        "successors": [
            list(Batch.objects.filter(parent=one.decision.batch).values_list("state", flat=True))
            for one in proposals
        ],
        "downgrades": [[one.from_class, one.to_class, one.orders.count()] for one in Downgrade.objects.all()],
        "waiting_at_qc": [judgement(batch).verdict.outcome is Outcome.PASS for batch in waiting],
        "samples_kept": RetainedSample.objects.filter(discard__isnull=True).count(),
        "samples_gone": RetainedSample.objects.filter(discard__isnull=False).count(),
        "tank_tests": QcMeasurement.objects.filter(tank__isnull=False).count(),
        "drifting": [one.line for one in found.drifting],
        "alerts": [alert.line for alert in found.alerts],
        "followed": sum(one.limits is not None for one in found.series),
    }


def _instruments() -> dict[str, Any]:
    from django.utils import timezone

    from regenplant.plant.calibrations import due_of
    from regenplant.plant.days import plant_day
    from regenplant.plant.models import Calibration, Instrument
    from regenplant.quality.instrument_impact import impact_of

    outside = [row for row in Calibration.objects.select_related("instrument") if row.found_within is False]
    newest = max(outside, key=lambda row: row.done_at)
    impact = impact_of(newest.instrument, newest)
    today = plant_day(timezone.now())
    return {
        "overdue": [
            one.code for one in Instrument.objects.all() if due_of(one, today, 14).value == "overdue"
        ],
        "found_outside": [newest.instrument.code, newest.left_within],
        "impact": [
            [one.nearness, one.holds_no_longer, one.released_at is not None] for one in impact.results
        ],
    }


def _papers() -> dict[str, Any]:
    from regenplant.documents.certificate.standing import content_of, standing_of
    from regenplant.documents.models import Certificate

    issued = list(Certificate.objects.all())
    standing = [standing_of(one) for one in issued]
    return {
        "certificates": sorted({one.scope for one in issued}),
        "certificate_states": sorted({str(one.state) for one in standing}),
        "prints": sum(len(one.prints) for one in standing),
        "grades": sorted(
            {name for one in issued for name in re.findall(r"ASTM D1193 type \w+", one.content)}
        ),
        "untouched": all(one.is_untouched for one in standing) and all(content_of(one) for one in issued),
    }


def _unloadings() -> dict[str, Any]:
    """Deliveries through the lock, and the one that was stopped at the wrong connection."""
    from regenplant.chemicals.models import Place, Unloading
    from regenplant.chemicals.weighing import open_weighings

    stopped = Unloading.objects.filter(state="stopped")
    unlocked = Unloading.objects.filter(state="unlocked")
    return {
        "unloading": {
            "coded": sorted(Place.objects.exclude(connection_code="").values_list("code", flat=True)),
            "unlocked": unlocked.count(),
            "weighed": unlocked.filter(weigh_tickets__isnull=False).distinct().count(),
            "differing": len(open_weighings()),
            "by_two": all(row.confirmed_by_id != row.opened_by_id for row in unlocked),
            "stopped": [[row.place.code, row.alarm, row.answered_by_id is not None] for row in stopped],
        }
    }


def _chemical_safety() -> dict[str, Any]:
    """Where tanks stand, a spill that is closed and one that is open, a revised data sheet, the plant's own threshold."""
    from regenplant.chemicals.locations import all_meetings, chemicals_by_location
    from regenplant.chemicals.models import DataSheet, Spill, ThresholdFigure
    from regenplant.safety.selectors import refused_visits

    return {
        "safety": {
            "nowhere": [line.place.code for line in chemicals_by_location() if line.area is None],
            "meetings": len(all_meetings()),
            "spills": sorted(Spill.objects.values_list("state", flat=True)),
            "booked": all(spill.figures.get().movement is not None for spill in Spill.objects.all()),
            "replaced_sheets": DataSheet.objects.filter(is_in_force=False).count(),
            "own_thresholds": ThresholdFigure.objects.count(),
            "refused_here": [_letters(row) for row in refused_visits() if not hasattr(row, "refused_away")],
            "refused_gone": [_letters(row) for row in refused_visits() if hasattr(row, "refused_away")],
            "calls": _desk_calls(),
        }
    }


def _sewer() -> dict[str, Any]:
    """Two waste tanks, what was treated with which pH before and after, what went, and what the meter said against the books."""
    from regenplant.plant.models import WasteTank
    from regenplant.waste.discharges import discharges, is_proof, readings_of
    from regenplant.waste.models import DischargeReport, Excursion, WasteMovement

    treated = []
    for row in WasteMovement.objects.filter(kind="treatment").select_related("movement"):
        read = WasteMovement.objects.filter(tank=row.tank, ph__isnull=False)
        before, after = read.filter(number__lt=row.number).last(), read.filter(number__gt=row.number).first()
        assert row.movement is not None
        treated.append([row.movement.chemical, before.ph if before else None, after.ph if after else None])
    closed = [readings_of(one) for one in discharges().filter(state="closed")]
    return {
        "waste": {
            "receives": list(WasteTank.objects.filter(receives=True).values_list("code", flat=True)),
            "capacity_m3": sum(tank.capacity_m3 for tank in WasteTank.objects.all()),
            "drained_into": sorted(
                set(WasteMovement.objects.filter(kind="drain").values_list("tank__code", flat=True))
            ),
            "treated": treated,
            "discharged_from": sorted(
                set(discharges().filter(state="closed").values_list("tank__code", flat=True))
            ),
            "last_readings": [[row.ph for row in rows if is_proof(row)][-2:] for rows in closed],
            "outside": sum(bool(row.fault) for rows in closed for row in rows),
            "excursions": sorted(one.closed_at is None for one in Excursion.objects.all()),
            "reports": [row.content == row.signature.content for row in DischargeReport.objects.all()],
        }
    }


def _letters(visit: Any) -> list[Any]:
    """How often its letter was printed, and whether the letter says that metals never go to the waste tank."""
    from regenplant.documents.models import IssuedPaper
    from regenplant.documents.refusal_letter import letter_of

    prints = IssuedPaper.objects.filter(kind="refusal_letter", subject_key=visit.number).count()
    return [prints, any("Metals never enter the waste tank" in words for words in letter_of(visit).findings)]


def _desk_calls() -> list[str]:
    """The first words of what the safety desk calls for."""
    from django.utils import timezone

    from regenplant.web.presenters.safety_calls import board_of, elsewhere_calls

    now = timezone.now()
    return sorted({call.title.split()[0] for call in elsewhere_calls(board_of(now), now, "si")})


def _use() -> dict[str, Any]:
    from django.db.models import Sum
    from django.utils import timezone

    from regenplant.chemicals.models import Movement
    from regenplant.plant.selectors import plant_day
    from regenplant.use.models import MeasureLevel, UseReport, UseRow
    from regenplant.use.selectors.reports import content_of_report, not_read
    from regenplant.use.selectors.watched import use_beyond, watched_in

    reports = [(row, content_of_report(row)) for row in UseReport.objects.select_related("signature")]
    into = Movement.objects.filter(to_place__kind="batch").aggregate(grams=Sum("grams_100"))["grams"]
    back = Movement.objects.filter(from_place__kind="batch").aggregate(grams=Sum("grams_100"))["grams"]
    now = timezone.now()
    last = plant_day(now)
    first = last - timedelta(days=29)
    beyond = use_beyond(first, last)
    return {
        "use_outside": beyond.outside,
        "use_groups_beyond": sorted({by.value for by, _ in beyond.groups}),
        "watched_beyond": {one.watched.value: len(one.beyond) for one in watched_in(first, last, now, {})},
        "levels_set": list(MeasureLevel.objects.values_list("measure", flat=True)),
        "use_reports": [len(content.totals) for _, content in reports],
        "use_reports_hold": all(row.content == row.signature.content for row, _ in reports),
        "use_not_read": not_read(),
        "use_grams": UseRow.objects.aggregate(grams=Sum("used_grams"))["grams"],
        "ledger_grams": into - (back or 0),
        "use_cost": UseRow.objects.aggregate(cost=Sum("cost_milli"))["cost"],
    }


def _stock() -> dict[str, Any]:
    """Counts of the chemical tanks: one booked by another person, one replaced, one that waits."""
    from django.utils import timezone

    from regenplant.chemicals import counts
    from regenplant.chemicals.expected import expected
    from regenplant.chemicals.models import Movement, StockCount, TankGeometry
    from regenplant.plant.selectors import plant_day

    today = plant_day(timezone.now())
    booked = Movement.objects.filter(to_place__kind="unexplained")
    return {
        "shapes": TankGeometry.objects.count(),
        "counts": StockCount.objects.count(),
        "expected": [[row.place.code, row.due_on < today] for row in expected()],
        "counts_replaced": StockCount.objects.filter(replaces__isnull=False).count(),
        "counts_booked": [[move.from_place.code, move.reason.partition(":")[0]] for move in booked],
        "counts_waiting": [one.count.place.code for one in counts.open_differences()],
    }


def _resin_store() -> dict[str, Any]:
    """Resin in the store, a mixture that knows its origins, a bed that was topped up, and what was kept of it."""
    from regenplant.batches.models import BatchTopUp
    from regenplant.resins.bodies import raw_parts, stored_by_lot
    from regenplant.resins.models import LotMovement, ResinLot

    topped = BatchTopUp.objects.select_related("batch__lot", "lot").first()
    lot = topped.batch.lot if topped else None
    return {
        "resin": {
            "stored": len(stored_by_lot(ResinLot.objects.values_list("pk", flat=True))),
            "kinds": sorted(set(LotMovement.objects.values_list("kind", flat=True))),
            "waiting": ResinLot.objects.filter(needs_conditioning=True).count(),
            "topped_with": topped.lot.code if topped else "",
            "in_the_lot": sorted(part.origin for part in raw_parts(lot)) if lot else [],
        }
    }


def _ageing() -> dict[str, Any]:
    """What is believed of the lots in use, what is advised, and what their cycles lost."""
    from django.utils import timezone

    from regenplant.quality.ageing import ageing_of_many, lots_in_use
    from regenplant.quality.models import LotLook, ResinSample
    from regenplant.resins.models import LotCapacity

    found = ageing_of_many(list(lots_in_use()), timezone.now())
    rates = {one.lot.code: one.losses for one in found if one.losses is not None and one.losses.count >= 2}
    advised = {
        one.lot.code: sorted({advice.step.value for side in one.sides for advice in side.advice})
        for one in found
    }
    leaking = [
        one for one in found if one.lot.resin_type.code == "SOFT-NA" and one.lot.segregation_class == "B"
    ]
    anion = [one for one in found if one.set is not None]
    return {
        "ageing": {
            "samples": ResinSample.objects.count(),
            "looks": LotLook.objects.count(),
            "factors_set": LotCapacity.objects.count(),
            "factors_signed": LotCapacity.objects.filter(signature__isnull=False).count(),
            "set_within_band": all(one.proposed.low <= one.set.factor <= one.proposed.high for one in anion if one.set),
            "confirmed": sorted({s.foulant.code for one in found for side in one.sides for s in side.suspects if s.is_confirmed}),
            "steps": sorted({step for steps in advised.values() for step in steps}),
            "reasons": all(advice.reason.endswith(".") for one in found for side in one.sides for advice in side.advice),
            "rates": len(rates),
            "usual": sum(rate.mean_frac <= 0.03 for rate in rates.values()),
            "leaking": [[one.losses.mean_frac if one.losses else None, "top_up" in advised[one.lot.code]] for one in leaking],
        }
    }  # fmt: skip


def _planned() -> dict[str, Any]:
    from regenplant.batches.models import StepRun
    from regenplant.planning.kept import notes_from
    from regenplant.planning.models import DayPlan
    from regenplant.planning.selectors import (
        accepted_plan,
        planned_for_expected,
        problem_of,
        waiting_batches,
    )
    from regenplant.tanks.selectors import expected_tanks
    from tests.core.scheduling.laid_rules import over_by_what_waited

    accepted = accepted_plan()
    problem = problem_of(accepted) if accepted else None
    rushed = notes_from(accepted.notes).rush if accepted else {}
    begins = (
        {one.id: min(part.start_min for part in one.stages) for one in problem.running if one.stages}
        if problem
        else {}
    )
    ran = {
        (batch, str(step))
        for batch, step in StepRun.objects.filter(started_at__isnull=False).values_list(
            "batch__number", "number"
        )
    }
    begun = {
        (one.id, part.name)
        for one in (problem.running if problem else ())
        for part in one.stages
        if part.start_min == begins[one.id] and (one.id, part.name.split(" ", 1)[0]) in ran
    }
    return {
        "under way in the plan": len(problem.running) if problem else 0,
        "over a limit because of the plan": over_by_what_waited(problem, problem.running, begun)
        if problem
        else [],
        "accepted plan": accepted.number if accepted else "",
        "planned batches": len(waiting_batches()),
        "what-if copies": DayPlan.objects.exclude(name="").count(),
        "tanks on their way": expected_tanks().count(),
        "of them planned": len(planned_for_expected(row.pk for row in expected_tanks())),
        "of them rushed by their customer": sum(
            tank.id in rushed and tank.priority == max(problem.priority_weight)
            for tank in (problem.tanks if problem else ())
            if problem and tank.id in {row.tank.serial for row in expected_tanks()}
        ),
    }


def _pages() -> dict[str, Any]:
    """Pages that a newcomer opens, and how they answer a supervisor."""
    from django.test import Client
    from django.urls import reverse

    from regenplant.batches.models import Batch, MeterLog
    from regenplant.core.process.lifecycle import BatchState
    from regenplant.people.models import Person

    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(Person.objects.get(username="osk"))
    metered = Batch.objects.filter(pk__in=MeterLog.objects.values("batch")).order_by("-planned_at")
    rinsing = metered.filter(state=BatchState.RINSING)[0]
    waiting = metered.filter(state=BatchState.AWAITING_QC)[0]
    addresses = {
        "rinse": reverse("rinse", args=[rinsing.number]),
        "decision": reverse("qc-decision", args=[waiting.number]),
        "certificates": reverse("certificates"),
        "tank": reverse("chemicals-tank", args=["T-ACID"]),
        "balance": reverse("chemicals-balance"),
        "ahead": reverse("chemicals-ahead"),
        "trends": reverse("trends"),
        "waste": reverse("waste"),
        "waste tank": reverse("waste-tank", args=["N2"]),
        "discharges": reverse("waste-discharges"),
        "feeds": reverse("setup-meter-feeds"),
        "products": reverse("setup-products"),
        "instrument": reverse("setup-instrument", args=["CELL-2"]),
        "resin lot": reverse("setup-lot", args=["CAT-H-MIX-1"]),
        "resin ageing": reverse("resin-ageing"),
        "resin visits": reverse("setup-lot-visits", args=["CAT-H-NEW-1"]),
        "lots of a customer": reverse("customers-lots", args=["GLASSWING"]),
        "day plan": reverse("day-plan"),
        "coming two weeks": reverse("day-plan-coming"),
        "plan of the day": reverse("day-plan-one", args=["DP-101"]),
        "plans compared": f"{reverse('day-plan-compare')}?first=DP-101&second=DP-102",
        "resin trace": reverse("setup-lot-trace", args=["CAT-H-NEW-1"]),
    }
    return {"pages": {name: client.get(address).status_code for name, address in addresses.items()}}


def _verified() -> dict[str, Any]:
    out = StringIO()
    call_command("verify_records", stdout=out, stderr=out)
    return {"verified": out.getvalue()}


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "regenplant.settings")
    django.setup()
    json.dump(shown(), sys.stdout)

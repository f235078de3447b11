"""Whether a batch, a tank or a vessel is ready now, as sentences. Nothing is changed here."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Q, QuerySet

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.preview import Wanted, preview, visits_for
from regenplant.chemicals.selectors import stock_data
from regenplant.core.process.lifecycle import IN_VESSEL_STATES, BatchState, VisitState
from regenplant.core.process.strength_change import StrengthChange, strength_changes
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.plant.limits import limits_in_force
from regenplant.plant.models import Vessel
from regenplant.plant.site import determination_stop
from regenplant.tanks.models import TankVisit


def occupants(vessel: Vessel | None = None) -> QuerySet[Batch]:
    """Batches whose resin is in a vessel or on its way there.

    A vessel is a batch's own from its freezing on, as vessel or as anion vessel. A failed or aborted batch keeps the vessel until a rework child takes the resin over or it is scrapped; an unstarted
    batch that was aborted let its tanks go. One that failed after its tanks were filled has no resin in a vessel.
    """
    states = [state.value for state in (*IN_VESSEL_STATES, BatchState.ABORTED)]
    found = Batch.objects.filter(state__in=states, tank_links__is_current=True, is_in_tanks=False).distinct()
    return found.filter(Q(vessel=vessel) | Q(anion_vessel=vessel)) if vessel else found


def occupied_vessels() -> set[int]:
    """Keys of the vessels that a batch has, its anion vessel included. One query."""
    pairs = occupants().values_list("vessel_id", "anion_vessel_id")
    return {pk for pair in pairs for pk in pair if pk is not None}


def resin_here_m3(batch: Batch) -> float:
    """Resin of a batch that a rework can take, in the form it was loaded in [m^3]: all of it while it stands in the vessel;
    the share of the tanks that are still here once it was filled into tanks."""
    if not batch.is_in_tanks:
        return batch.resin_volume_m3
    links = list(batch.tank_links.filter(is_filled=True).select_related("visit"))
    filled_m3 = sum(link.filled_m3 or 0.0 for link in links)
    here_m3 = sum(link.filled_m3 or 0.0 for link in links if link.is_current)
    return batch.resin_volume_m3 * here_m3 / filled_m3 if filled_m3 else 0.0


def unfit(visit: TankVisit, batch: Batch | None, now: datetime) -> str:
    """Why this tank cannot go into ``batch`` (None: a new one) now; "" if it can."""
    serial = visit.tank.serial
    if visit.state != VisitState.ACCEPTED:
        why = f" Held: {visit.reason.rstrip('.')}." if visit.reason and visit.state == VisitState.HELD else ""
        return f"{serial} is {visit.state}; only accepted tanks go into a batch.{why}"
    own = SegregationClass(visit.segregation_class)
    if own is SegregationClass.METAL_BEARING:
        stop = determination_stop(now)
        if stop:
            return f"{serial} is metal-bearing: {stop}"
    elif not own.may_be_regenerated:
        return f"{serial} is class {visit.segregation_class}; this class is not regenerated without a written disposition."
    others = visit.batch_links.filter(is_current=True).select_related("batch")
    other = (others.exclude(batch=batch) if batch else others).first()
    if other is not None:
        return f"{serial} is already in batch {other.batch.number}. Choose other tanks."
    return ""


def live_blockers(batch: Batch, now: datetime) -> tuple[str, ...]:
    """What blocks the start of a frozen batch now: the plant may have changed since it was frozen."""
    visits = visits_for(list(batch.tank_links.filter(is_current=True).values_list("visit_id", flat=True)))
    found = (
        [] if batch.parent_id else [sentence for visit in visits if (sentence := unfit(visit, batch, now))]
    )
    frozen = plan_of(batch).request
    wanted = Wanted(
        visits=visits,
        vessel=batch.vessel,
        recipe_version=batch.recipe_version,
        anion_vessel=batch.anion_vessel,
        resin_volume_m3=batch.resin_volume_m3,
        eluted_equivalents=frozen.eluted_equivalents,
        throughput_m3=frozen.throughput_m3,
        batch_id=batch.pk,
    )
    plan = preview(wanted, now)
    changed = strength_changes(
        plan_of(batch), plan.request.stock, plan.request.limits.strength_change_limit_frac
    )
    if changed:
        found.extend((*(one.sentence for one in changed), _plan_again(batch)))
    return (*found, *(check.sentence for check in plan.blockers))


def changed_strengths(batch: Batch, now: datetime) -> tuple[StrengthChange, ...]:
    """Chemicals of its frozen plan that are drawn at another strength now."""
    return strength_changes(plan_of(batch), stock_data(now), limits_in_force(now).strength_change_limit_frac)


def not_as_planned(batch: Batch, now: datetime) -> str:
    """Why a batch that is planned and not started yet must be planned again, as sentences; "" when it need not."""
    if batch.state != BatchState.READY:
        return ""
    changed = changed_strengths(batch, now)
    return " ".join((*(one.sentence for one in changed), _plan_again(batch))) if changed else ""


def _plan_again(batch: Batch) -> str:
    back = "to the batch it reworks" if batch.parent_id else "to the waiting list"
    return (
        f"Plan it again: a supervisor aborts {batch.number}, its tanks go back {back}, and the new plan takes the strength "
        "that stands in the tank."
    )

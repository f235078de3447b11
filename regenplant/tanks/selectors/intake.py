"""The dock: who stands between the truck and the verdict, and what stands against acceptance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.core.process import intake
from regenplant.core.process.intake import InspectionData
from regenplant.core.process.lifecycle import VISIT, Offer, VisitAction, VisitSnapshot, VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.plant.site import determination_stop
from regenplant.tanks.models import IntakeInspection, TankVisit
from regenplant.tanks.selectors._base import DOCK_STATES, place_words, whole_visits
from regenplant.tanks.selectors.codes import normal_code


@dataclass(frozen=True, slots=True)
class DockTank:
    """A tank between the truck and the verdict."""

    visit: TankVisit
    inspection: IntakeInspection | None
    waited: timedelta
    stops: tuple[str, ...]
    """What stands against acceptance, as sentences."""

    @property
    def place(self) -> str:
        return place_words(self.visit.bay)

    @property
    def is_held(self) -> bool:
        return self.visit.state == VisitState.HELD.value


def dock(now: datetime) -> list[DockTank]:
    """Tanks received or held, held first, then oldest first. Two queries."""
    visits = (
        whole_visits()
        .filter(state__in=DOCK_STATES)
        .prefetch_related("inspections")
        .order_by("state", "received_at", "id")
    )
    return [_dock_tank(visit, now) for visit in visits]


def _dock_tank(visit: TankVisit, now: datetime) -> DockTank:
    inspection = next(iter(visit.inspections.all()), None)
    seen = tuple(inspection.findings_that_stop) if inspection else ()
    return DockTank(visit, inspection, now - visit.received_at, seen + findings_against(visit))


def findings_against(visit: TankVisit) -> tuple[str, ...]:
    """What the declared service, the customer's words and the tank's dedication hold against acceptance."""
    found = intake.service_findings(visit.customer.declared_service, visit.customer_words)
    dedicated = visit.tank.dedicated_to
    if dedicated is not None and dedicated.pk != visit.customer_id:
        found += (f"It is dedicated to {dedicated.name} and came from {visit.customer.name}.",)
    return found


def remarks_on(inspection: IntakeInspection, gross_m3: float) -> tuple[str, ...]:
    """What the look-over says that must be known and does not stop; ``gross_m3`` is the tank's cylinder [m^3]."""
    return intake.remarks(inspection_data(inspection), gross_m3)


def inspection_data(row: IntakeInspection) -> InspectionData:
    """A stored look-over as the data its rules read."""
    return InspectionData(
        shell=intake.ShellCondition(row.shell),
        head_and_fittings=intake.FittingCondition(row.head_and_fittings),
        odour=intake.Odour(row.odour),
        water_colour=intake.WaterColour(row.water_colour),
        oxidizer_strip=intake.OxidizerStrip(row.oxidizer_strip),
        first_drain_ph=row.first_drain_ph,
        first_drain_ph_as_typed=row.first_drain_ph_as_typed,
        weight_kg=row.weight_kg,
        weight_as_typed=row.weight_as_typed,
        foreign_material=row.foreign_material,
        note=row.note,
    )


# --- one visit at intake ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class IntakePage:
    """One visit with its look-overs, and what may be decided about it now."""

    visit: TankVisit
    looks: tuple[IntakeInspection, ...]
    """Newest first."""
    stops: tuple[str, ...]
    remarks: tuple[str, ...]
    last_here: TankVisit | None
    """The round trip before this one."""
    at_dock: int
    """Tanks received or held, this one included if it is."""
    classes: tuple[SegregationClass, ...]
    offers: tuple[Offer[VisitAction], ...]
    """Accept, hold, refuse as far as the lifecycle knows them from here, each with its blockers."""

    @property
    def look(self) -> IntakeInspection | None:
        return self.looks[0] if self.looks else None

    @property
    def is_at_dock(self) -> bool:
        return self.visit.state in DOCK_STATES


def intake_page(number: str, now: datetime, *, may_dispose: bool = False) -> IntakePage | None:
    """One visit by its number in any spelling; None if there is none. Five queries.

    ``may_dispose`` says that the person may write a disposition, so that what the declared service forbids is no blocker.
    """
    visit = (
        whole_visits()
        .prefetch_related("inspections__inspected_by")
        .filter(number__iexact=normal_code(number))
        .first()
    )
    if visit is None:
        return None
    looks = tuple(visit.inspections.all())
    own = SegregationClass(visit.tank.segregation_class)
    takes_metal = own is SegregationClass.METAL_BEARING and not determination_stop(now)
    classes = intake.classes_on_offer(own, has_disposition=may_dispose, takes_metal=takes_metal)
    snapshot = judged(visit, classes[0] if classes else own, now=now, has_disposition=may_dispose)
    gross_m3 = visit.tank.size.gross_m3
    earlier = visit.tank.visits.filter(received_at__lt=visit.received_at).exclude(pk=visit.pk)
    return IntakePage(
        visit=visit,
        looks=looks,
        stops=(tuple(looks[0].findings_that_stop) if looks else ()) + findings_against(visit),
        remarks=remarks_on(looks[0], gross_m3) if looks else (),
        last_here=earlier.first(),
        at_dock=TankVisit.objects.filter(state__in=DOCK_STATES).count(),
        classes=classes,
        offers=VISIT.offers(VisitState(visit.state), snapshot),
    )


def judged(
    visit: TankVisit, wanted: SegregationClass | None, *, now: datetime, has_disposition: bool = False
) -> VisitSnapshot:
    """What the lifecycle looks at when a visit is to be accepted to a class (None: none chosen)."""
    stop = ""
    if wanted is SegregationClass.METAL_BEARING:
        stop = intake.metal_stop(determination_stop(now), has_disposition=has_disposition)
    inspection = next(iter(visit.inspections.all()), None)
    seen = tuple(inspection.findings_that_stop) if inspection else ()
    return VisitSnapshot(
        is_inspected=inspection is not None,
        findings_that_stop=seen + (() if has_disposition else findings_against(visit)),
        is_class_known=wanted is not None,
        class_may_be_regenerated=wanted is not None
        and (not stop if wanted is SegregationClass.METAL_BEARING else wanted.may_be_regenerated),
        class_stop=stop,
    )

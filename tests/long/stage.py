"""What a long run acts on, made in the plant's own database through the services. Called in a child of the launcher."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.management import call_command

from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.authority import Role
from regenplant.plant.models import WasteTank
from regenplant.tanks import services as tank_services
from tests import factories
from tests.long.audit_pages import addresses, agrees
from tests.use.many import Spread, build

CROWD = (
    Role.SUPERVISOR, Role.OPERATOR, Role.SUPERVISOR, Role.SUPERVISOR, Role.OPERATOR, Role.QC_TECHNICIAN, Role.SUPERVISOR, Role.SAFETY_LEAD,
)  # fmt: skip
"""Most may do most of it; some may not, and are told so."""


def set_up(users: int) -> dict[str, Any]:
    """A small plant with a few things that everybody wants, and its people; what the acts need to know of it.

    A batch at its fast rinse, one that can be held, one ready to be started, tanks at the dock, a vessel, a waste tank, a
    chemical tank, deliveries to be taken back.
    """
    call_command("migrate", verbosity=0)
    plant = factories.plant_today()
    flowing = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, flowing, StepKind.FAST_RINSE)
    spec = next(
        entry for entry in factories.plan_of(flowing).step(step.number).entries if entry.key == "flow"
    )
    assert spec.low is not None and spec.high is not None
    held = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, held, StepKind.BACKWASH)
    ready = factories.frozen_batch(plant, "sba_1")
    factories.write_required(plant, ready.steps.order_by("number")[0], is_before=True)
    dock = [factories.received_tank(plant, "sac_h") for _ in range(6)]
    for visit in dock:
        tank_services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
    crowd = [factories.person(CROWD[index % len(CROWD)], at=plant.now) for index in range(users)]
    assert plant.size is not None and plant.customer is not None
    return {
        "password": factories.PASSWORD,
        "people": {name: person.username for name, person in plant.people.items()},
        "crowd": [person.username for person in crowd],
        "supervisor": plant.people["supervisor"].pk,
        "batch": flowing.number,
        "step": step.number,
        "flow_m3_per_h": [spec.low * 3600, spec.high * 3600],
        "held_batch": held.number,
        "ready_batch": ready.number,
        "visits": [visit.number for visit in dock],
        "vessel": "C1",
        "waste": WasteTank.objects.get().code,
        "tank": "B-HCL",
        "place": Place.objects.get(code="B-HCL").pk,
        "deliveries": list(
            Movement.objects.filter(reference__startswith="delivery")
            .exclude(chemical="hcl")
            .values_list("number", flat=True)
        ),
        "size": plant.size.pk,
        "resin_type": plant.types["sac_na"].pk,
        "customer": plant.customer.pk,
    }


def many_batches(batches: int) -> dict[str, Any]:
    """So many batches of the audit of use, ten thousand a year up to today's habits; who signs in, and which pages are asked for."""
    call_command("migrate", verbosity=0)
    supervisor = factories.person(Role.SUPERVISOR)
    spread = Spread(batches, date(2005, 1, 1), 27.4)
    rows = build(spread)
    agrees(spread)
    return {
        "rows": rows,
        "username": supervisor.username,
        "password": factories.PASSWORD,
        "pages": addresses(),
    }

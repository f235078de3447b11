"""The weigh ticket of a delivery: agrees, differs and is answered by another person, is written anew, and moves nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from regenplant.audit.verifying.registry import Look
from regenplant.chemicals import services
from regenplant.chemicals.models import Movement, Place, WeighTicket
from regenplant.chemicals.services import Papers
from regenplant.chemicals.verification import check_weigh_tickets
from regenplant.chemicals.weighing import open_weighings
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from tests import factories
from tests.chemicals.weighed import NET_KG, ticket, unlocked
from tests.factories import SmallPlant
from tests.web.pages import form_data, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-01")]
SHORT_KG = 1190.0
"""4.8 % under 1249.4 kg."""


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.plant_today()


def test_a_ticket_that_agrees_calls_nobody_and_moves_nothing(plant: SmallPlant) -> None:
    row = unlocked(plant)
    moved = Movement.objects.count()
    found = ticket(plant, row)
    assert not found.is_beyond and not open_weighings() and Movement.objects.count() == moved
    with pytest.raises(RecordRefused, match="nothing to answer"):
        services.answer_weigh_ticket(
            by=plant.by("supervisor"), unloading_id=row.pk, seen_position=1, answer="All is well here."
        )
    assert list(check_weigh_tickets(Look())) == []


def test_a_difference_is_answered_by_another_person_once(plant: SmallPlant) -> None:
    row = unlocked(plant)
    found = ticket(plant, row, SHORT_KG)
    assert found.is_beyond and [one.pk for one in open_weighings()] == [found.pk]
    answer = {
        "unloading_id": row.pk,
        "seen_position": 1,
        "answer": "The hose held sixty kilograms; drained now.",
    }
    with pytest.raises(NotAllowed):
        services.answer_weigh_ticket(by=plant.by("operator 2"), **answer)
    services.answer_weigh_ticket(by=plant.by("supervisor"), **answer)
    assert not open_weighings()
    with pytest.raises(RecordRefused, match="answered already"):
        services.answer_weigh_ticket(by=plant.by("supervisor"), **answer)
    with pytest.raises(IntegrityError), transaction.atomic():
        WeighTicket.objects.update(answered_by=found.weighed_by)


def test_who_wrote_it_does_not_answer_it(plant: SmallPlant) -> None:
    row = unlocked(plant)
    services.write_weigh_ticket(
        by=plant.by("supervisor"), unloading_id=row.pk, paper_number="W-8", net_kg=SHORT_KG, net_as_typed="1190 kg",
        volume_m3=1.078, volume_as_typed="1.078 m3",
    )  # fmt: skip
    with pytest.raises(NotAllowed, match="Another person looks") as refused:
        services.answer_weigh_ticket(
            by=plant.by("supervisor"), unloading_id=row.pk, seen_position=1, answer="It was nothing at all."
        )
    assert refused.value.code == "own_work"


def test_a_wrong_ticket_is_followed_by_the_next_with_a_reason(plant: SmallPlant) -> None:
    row = unlocked(plant)
    ticket(plant, row, SHORT_KG)
    with pytest.raises(StaleRecord):
        ticket(plant, row)
    with pytest.raises(RecordRefused, match="Why it is written anew"):
        ticket(plant, row, seen_position=1)
    found = ticket(plant, row, seen_position=1, why_anew="Read the gross for the net mass.")
    assert found.position == 2 and not open_weighings()
    with pytest.raises(StaleRecord):
        services.answer_weigh_ticket(
            by=plant.by("supervisor"), unloading_id=row.pk, seen_position=1, answer="The hose held the rest."
        )


def test_no_ticket_before_the_lock_is_open_and_none_beyond_reason(plant: SmallPlant) -> None:
    row = unlocked(plant)
    papers = Papers("4711 / 3", "hcl", "UN1789", "A-119", "S-91", 0.32, 100_000, row.place_id)
    locked = services.open_unloading(by=plant.by(), papers=papers).result
    with pytest.raises(RecordRefused, match="after the lock was opened"):
        ticket(plant, locked)
    for change, field in (({"net_kg": 0.5}, "net"), ({"net_kg": NET_KG, "volume_m3": 100.0}, "volume")):
        with pytest.raises(OutOfRange) as refused:
            ticket(plant, row, **change)
        assert refused.value.field == field
    assert not WeighTicket.objects.exists()


def test_the_tolerance_is_the_plants_and_has_bounds(plant: SmallPlant) -> None:
    row = unlocked(plant)
    place = Place.objects.get(pk=row.place_id)
    settings: dict[str, Any] = {
        "place_id": place.pk, "connection_code": place.connection_code, "un_number": place.un_number, "ullage_margin_m3": 0.1,
    }  # fmt: skip
    for share in (0.001, 0.2):
        with pytest.raises(OutOfRange):
            services.set_fill_connection(by=plant.by("supervisor"), weigh_tolerance_frac=share, **settings)
    services.set_fill_connection(by=plant.by("supervisor"), weigh_tolerance_frac=0.05, **settings)
    found = ticket(plant, row, SHORT_KG)
    assert found.tolerance_frac == 0.05 and found.is_beyond is False


def test_the_record_gives_away_a_ticket_that_was_made_to_agree(plant: SmallPlant) -> None:
    ticket(plant, unlocked(plant), SHORT_KG)
    with transaction.atomic():
        from regenplant.audit import locks

        locks.remove()
        WeighTicket.objects.update(is_beyond=False)
        (found,) = check_weigh_tickets(Look())
        assert "does not follow from its figures" in found.sentence
        transaction.set_rollback(True)


# --- pages ------------------------------------------------------------------------------------------------------------
def test_a_difference_calls_on_the_page_and_the_desk_until_it_is_answered(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    row = unlocked(plant)
    page, weigh = (
        reverse(name, args=[row.number]) for name in ("chemicals-unloading", "chemicals-unloading-weigh")
    )
    assert "No weigh ticket is written down." in text_of(as_("operator").get(page))
    sent = {"paper_number": "W-7", "net": "1190 kg", "volume": "1.078 m3", "seen_position": "0"}
    bad = as_("operator").post(weigh, {**sent, "net": "a lot"})
    assert bad.status_code == 422 and "1.078 m3" in bad.content.decode()
    assert as_("qc").post(weigh, sent).status_code == 403
    assert as_("operator").post(weigh, sent).status_code == 302
    shown = text_of(as_("supervisor").get(page))
    assert "4.8 % under it" in shown.replace("\u00a0", " ") and "Draw nothing from this tank" in shown
    assert "Weigh ticket W-7" in text_of(as_("safety").get("/safety/"))
    stale = as_("operator").post(weigh, sent)
    assert stale.status_code == 409
    answer = reverse("chemicals-unloading-weigh-answer", args=[row.number])
    form = as_("supervisor").get(answer).context["form"]
    data = {**form_data(form), "answer": "Sixty kilograms stood in the hose; drained."}
    assert as_("operator").post(answer, data).status_code == 403
    assert as_("supervisor").post(answer, data).status_code == 302
    assert "Weigh ticket W-7" not in text_of(as_("safety").get("/safety/"))
    assert "stood in the hose" in text_of(as_("operator").get(page))


def test_a_tank_that_filled_up_meanwhile_stops_the_delivery_at_the_signature(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    """Room when it was opened, none when it is signed: stopped, kept as a near miss, and nothing is received."""
    place = Place.objects.get(code="B-HCL")
    services.set_fill_connection(
        by=plant.by("supervisor"), place_id=place.pk, connection_code="FILL-B-HCL", un_number="UN1789", ullage_margin_m3=0.1
    )  # fmt: skip
    papers = Papers("4711 / 2", "hcl", "UN1789", "A-118", "S-90", 0.32, 400_000, place.pk)
    row = services.open_unloading(by=plant.by(), papers=papers).result
    moved = Movement.objects.count()
    Place.objects.filter(pk=place.pk).update(capacity_m3=0.2)
    page = as_("operator").post(reverse("chemicals-unloading-unlock", args=[row.number]), {}, follow=True)
    row.refresh_from_db()
    assert row.state == "stopped" and "Do not unload more" in row.alarm
    assert "Connect nothing" in text_of(page) and Movement.objects.count() == moved
    assert row.number in text_of(as_("safety").get(reverse("safety-near-misses")))

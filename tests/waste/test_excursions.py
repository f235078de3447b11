"""Excursions: written down by anybody at work, followed up, closed by another person with a signature."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, transaction

from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.people.signing import holds
from regenplant.waste import services
from regenplant.waste.models import Excursion
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
WORDS = "the rinse drain showed pH 4.2 for two minutes"
CAUSE, TOLD = "the valve to the waste tank was late", "the town’s office by telephone, same day"


@pytest.fixture
def plant() -> SmallPlant:
    return factories.small_plant()


def reported(plant: SmallPlant, who: str = "operator") -> Excursion:
    return services.report_excursion(by=plant.by(who), words=WORDS).result


def close(plant: SmallPlant, row: Excursion, who: str = "safety", **change: str) -> Excursion:
    return services.close_excursion(
        by=plant.by(who), excursion_id=row.pk, permit=factories.permit(plant, who, services.CLOSED_MEANING),
        **{"cause": CAUSE, "told": TOLD, **change},
    ).result  # fmt: skip


def test_it_is_written_followed_up_and_closed_by_another_person(plant: SmallPlant) -> None:
    row = reported(plant)
    services.follow_up(by=plant.by("supervisor"), excursion_id=row.pk, words="valve marked and tried")
    row = close(plant, row)
    assert (row.cause, row.told, row.closed_by) == (CAUSE, TOLD, plant.people["safety"])
    assert holds(row.signature) and "valve marked and tried" in row.signature.content
    with pytest.raises(StaleRecord, match="closed already"):
        services.follow_up(by=plant.by(), excursion_id=row.pk, words="one more thing")
    with pytest.raises(DatabaseError), transaction.atomic():
        Excursion.objects.filter(pk=row.pk).update(cause="nothing at all")


def test_who_wrote_it_does_not_close_it_and_an_operator_neither(plant: SmallPlant) -> None:
    row = reported(plant, "safety")
    with pytest.raises(NotAllowed, match="another person closes it"):
        close(plant, row)
    with pytest.raises(NotAllowed, match=r"excursion\.close"):
        close(plant, row, "operator")
    assert close(plant, row, "supervisor").closed_at is not None


@pytest.mark.parametrize(("change", "field"), [({"cause": "valve"}, "cause"), ({"told": " "}, "told")])
def test_it_is_not_closed_without_words(plant: SmallPlant, change: dict[str, str], field: str) -> None:
    row = reported(plant)
    with pytest.raises(RecordRefused) as refused:
        close(plant, row, **change)
    row.refresh_from_db()
    assert refused.value.field == field and row.closed_at is None


def test_what_happened_is_said_in_words(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused) as refused:
        services.report_excursion(by=plant.by(), words="pH low")
    assert refused.value.field == "words" and not Excursion.objects.exists()

"""The plant's own reporting thresholds beside those of the program, which ``tests/core`` holds against their sources."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import DatabaseError, transaction

from regenplant.audit.by import By
from regenplant.chemicals import services
from regenplant.chemicals.models import ThresholdFigure
from regenplant.chemicals.reporting import threshold, thresholds
from regenplant.core.errors import DomainError, NotAllowed
from regenplant.core.process.thresholds import (
    REFERENCE,
    ThresholdKind,
    reference_for,
)
from regenplant.core.process.vocabulary import Chemical
from regenplant.people.models import Person

Acts = Callable[..., By]


def test_every_reference_figure_stands_once_and_says_where_it_comes_from() -> None:
    keys = [(row.chemical, row.kind) for row in REFERENCE]
    assert len(keys) == len(set(keys))
    assert all(row.citation and not row.is_own for row in REFERENCE)
    assert reference_for(Chemical.SODIUM_CHLORIDE, ThresholdKind.RELEASE) is None


# --- the plant's own ------------------------------------------------------------------------------------------------
def write(by: By, **more: object) -> ThresholdFigure:
    values = {
        "chemical": "h2so4", "kind": "release", "limit_kg": 200.0, "value_as_typed": "200 kg",
        "paper": "State letter of 2026-02-01, confirmed by A. Invented", **more,
    }  # fmt: skip
    return services.write_threshold(by=by, **values).result  # type: ignore[no-any-return]


@pytest.mark.django_db
def test_the_plants_own_figure_holds_until_it_is_taken_back(safety_lead: Person, by: Acts) -> None:
    acid, release = Chemical.SULFURIC_ACID, ThresholdKind.RELEASE
    assert threshold(acid, release) == reference_for(acid, release)
    write(by(safety_lead))
    own = threshold(acid, release)
    assert own is not None and own.limit_kg == 200.0 and own.is_own and "State letter" in own.citation
    write(by(safety_lead), limit_kg=150.0, value_as_typed="150 kg")
    assert thresholds()[acid, release].limit_kg == 150.0
    write(by(safety_lead), limit_kg=None, value_as_typed="")
    assert threshold(acid, release) == reference_for(acid, release)
    assert ThresholdFigure.objects.count() == 3


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"chemical": "gold"}, "chemical"),
        ({"kind": "mood"}, "kind"),
        ({"counted": "beads"}, "counted"),
        ({"limit_kg": 0.0}, "limit_kg"),
        ({"limit_kg": 2e6}, "limit_kg"),
        ({"limit_kg": float("nan")}, "limit_kg"),
        ({"limit_kg": None}, "limit_kg"),
        ({"paper": "a letter"}, "paper"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    safety_lead: Person, by: Acts, more: dict[str, object], field: str
) -> None:
    with pytest.raises(DomainError) as refusal:
        write(by(safety_lead), **more)
    assert refusal.value.field == field
    assert not ThresholdFigure.objects.exists()


@pytest.mark.django_db
def test_only_who_may_writes_a_threshold_and_nobody_changes_one(
    safety_lead: Person, operator: Person, by: Acts
) -> None:
    with pytest.raises(NotAllowed):
        write(by(operator))
    row = write(by(safety_lead))
    with pytest.raises(DatabaseError), transaction.atomic():
        ThresholdFigure.objects.filter(pk=row.pk).update(limit_grams=1)

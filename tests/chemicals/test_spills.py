"""Spills (EV-05): the mass as 100 %, what it is held against, the ledger, and that the program never decides."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.chemicals import services
from regenplant.chemicals.handed_on import spill_section
from regenplant.chemicals.models import ChemicalLot, Movement, Place, Spill, SpillFigure, SpillNote
from regenplant.chemicals.quantities import Basis
from regenplant.chemicals.selectors import balance_grams
from regenplant.chemicals.services import Amount
from regenplant.chemicals.spills import newest_figure
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Person
from tests.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("EV-05")]
Acts = Callable[..., By]
GALLONS_80 = 80 * 3.785411784e-3
"""80 US gallons [m³]: 231 cubic inches each, by definition."""
POUND = 0.45359237


def amount(quantity: float, basis: Basis = Basis.PURE_MASS, **more: Any) -> Amount:
    values = {"strength_frac": 0.32, "value_as_typed": f"{quantity:g} kg", **more}
    return Amount(basis, quantity, **values)


def spilled(by: By, how_much: Amount, **more: Any) -> Spill:
    values = {
        "chemical": "hcl", "location": "at the fill connection", "reached": "contained",
        "what_happened": "the hose slipped off", "happened_at": by.at, **more,
    }  # fmt: skip
    return services.record_spill(by=by, amount=how_much, **values).result  # type: ignore[no-any-return]


# --- the mass and what it is held against ---------------------------------------------------------------------------
def test_80_gallons_of_93_percent_sulfuric_acid_are_over_the_reportable_quantity(
    operator: Person, by: Acts
) -> None:
    """By hand: 302.8 L · 1.828 kg/L (ICT, 93 %, 20 °C) · 0.93 = 514.8 kg = 1 135 lb, over 1 000 lb."""
    acid = Amount(Basis.PRODUCT_VOLUME, GALLONS_80, 0.93, "80", "gal")
    spill = spilled(by(operator), acid, chemical="h2so4")
    figure = newest_figure(spill)
    assert figure.grams_100 / 1000 / POUND == pytest.approx(1135.0, rel=2e-3)
    assert figure.product_grams / 1000 == pytest.approx(302.83 * 1.828, rel=2e-3)
    assert figure.limit_grams == 453_592 and figure.is_reached
    assert "40 CFR 302.4" in figure.limit_words
    assert spill.state == Spill.State.OPEN  # it says so, and leaves the rest to a person
    (act,) = [line for line in story([("spill", spill.number)]) if line.event == "spill.recorded"]
    assert "the reportable quantity is reached" in act.sentence


def test_just_under_and_exactly_at_the_limit(operator: Person, by: Acts, clock: Clock) -> None:
    limit_kg = 5000 * POUND
    under = spilled(by(operator), amount(limit_kg - 1.0))
    assert not newest_figure(under).is_reached
    clock.forward(hours=30)
    at = spilled(by(operator), amount(round(limit_kg, 3)))
    assert newest_figure(at).is_reached


def test_spills_of_one_chemical_within_a_day_are_summed(operator: Person, by: Acts, clock: Clock) -> None:
    spilled(by(operator), amount(1500.0))
    spilled(by(operator), amount(9000.0), chemical="nacl")  # another one does not count
    clock.forward(hours=23)
    second = newest_figure(spilled(by(operator), amount(1000.0)))
    assert second.day_grams == 2_500_000 and second.is_reached and second.grams_100 == 1_000_000
    clock.forward(hours=2)
    assert newest_figure(spilled(by(operator), amount(10.0))).day_grams == 1_010_000


def test_the_plants_own_figure_is_what_it_is_held_against(
    operator: Person, safety_lead: Person, by: Acts
) -> None:
    services.write_threshold(
        by=by(safety_lead), chemical="hcl", kind="release", limit_kg=100.0, counted="product", value_as_typed="100 kg",
        paper="letter of the state, 2026-01-10",
    )  # fmt: skip
    figure = newest_figure(spilled(by(operator), amount(40.0)))
    assert figure.day_grams == 125_000 and figure.is_reached and "letter of the state" in figure.limit_words


def test_a_chemical_without_a_figure_says_that_none_is_known(operator: Person, by: Acts) -> None:
    figure = newest_figure(spilled(by(operator), amount(900.0), chemical="nacl"))
    assert figure.limit_grams is None and figure.limit_words == "" and not figure.is_reached


# --- the ledger -----------------------------------------------------------------------------------------------------
def test_a_spill_out_of_a_tank_leaves_the_ledger_balanced(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    spill = spilled(by(operator), amount(120.0), place_id=tank.pk)
    movement = newest_figure(spill).movement
    assert movement is not None and movement.to_place.kind == Place.Kind.SPILLED
    assert (movement.grams_100, movement.reference, movement.lot) == (120_000, spill.number, in_use)
    assert balance_grams("hcl", tank) == 2_880_000


def test_a_better_figure_takes_the_first_one_back(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts, clock: Clock
) -> None:
    spill = spilled(by(operator), amount(120.0), place_id=tank.pk)
    clock.forward(hours=2)
    services.measure_spill_anew(
        by=by(operator),
        spill_id=spill.pk,
        amount=amount(80.0),
        reason="pumped up and weighed",
        version=spill.version,
    )
    spill.refresh_from_db()
    assert (
        balance_grams("hcl", tank) == 2_920_000
        and Movement.objects.filter(reference=spill.number).count() == 3
    )
    assert [figure.grams_100 for figure in spill.figures.order_by("position")] == [120_000, 80_000]
    assert spill.version == 2 and newest_figure(spill).reason == "pumped up and weighed"
    assert list(chain.verify()) == []


def test_a_spill_is_kept_also_where_the_books_hold_less(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    spill = spilled(by(operator), amount(3500.0), place_id=tank.pk)
    assert newest_figure(spill).movement is None and balance_grams("hcl", tank) == 3_000_000


def test_a_movement_that_a_supervisor_took_back_is_not_taken_back_twice(
    in_use: ChemicalLot, tank: Place, operator: Person, supervisor: Person, by: Acts
) -> None:
    spill = spilled(by(operator), amount(120.0), place_id=tank.pk)
    movement = newest_figure(spill).movement
    assert movement is not None
    services.correct_movement(
        by=by(supervisor), movement_id=movement.pk, category="other", reason="it was another tank"
    )
    services.measure_spill_anew(
        by=by(operator), spill_id=spill.pk, amount=amount(80.0), reason="pumped up and weighed"
    )
    assert balance_grams("hcl", tank) == 2_920_000


# --- following it up ------------------------------------------------------------------------------------------------
def note(by: By, spill: Spill, kind: str = "decided", **more: Any) -> SpillNote:
    values = {"words": "Reported by telephone at 14:20", "happened_at": by.at, **more}
    return services.note_spill(by=by, spill_id=spill.pk, kind=kind, **values).result  # type: ignore[no-any-return]


def test_a_spill_over_the_limit_is_closed_once_somebody_decided_about_reporting_it(
    operator: Person, safety_lead: Person, by: Acts
) -> None:
    spill = spilled(by(operator), amount(3000.0))
    note(by(operator), spill, "done", words="Bund pumped out into totes")
    with pytest.raises(RecordRefused, match="nobody has written what was decided") as refusal:
        services.close_spill(by=by(safety_lead), spill_id=spill.pk, words="cleaned up, hose replaced")
    assert refusal.value.code == "not_decided"
    note(by(safety_lead), spill)
    closed = services.close_spill(
        by=by(safety_lead), spill_id=spill.pk, words="cleaned up, hose replaced"
    ).result
    assert (closed.state, closed.closed_by) == (Spill.State.CLOSED, safety_lead)
    with pytest.raises(StaleRecord, match="is closed"):
        note(by(operator), spill)
    with pytest.raises(StaleRecord):
        services.measure_spill_anew(
            by=by(operator), spill_id=spill.pk, amount=amount(1.0), reason="after all it was less"
        )


def test_who_looked_at_an_old_page_is_told(operator: Person, by: Acts) -> None:
    spill = spilled(by(operator), amount(1.0))
    note(by(operator), spill, version=1)
    with pytest.raises(StaleRecord, match="version 2"):
        note(by(operator), spill, version=1)
    assert SpillNote.objects.count() == 1


def test_an_operator_writes_a_spill_down_and_does_not_close_it(
    operator: Person, planner: Person, by: Acts
) -> None:
    spill = spilled(by(operator), amount(1.0))
    with pytest.raises(NotAllowed):
        services.close_spill(by=by(operator), spill_id=spill.pk, words="all is well again")
    with pytest.raises(NotAllowed):
        spilled(by(planner), amount(1.0))


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"chemical": "gold"}, "chemical"),
        ({"location": "x"}, "location"),
        ({"reached": "the moon"}, "reached"),
        ({"what_happened": "oops"}, "what_happened"),
        ({"happened_at": "later"}, "happened_at"),
        ({"place_id": -1}, "place"),
        ({"how_much": amount(0.0)}, "quantity_volume"),
        ({"how_much": amount(3e6)}, "quantity_volume"),
        ({"how_much": amount(1.0, strength_frac=1.2)}, "strength_frac"),
        ({"how_much": amount(1.0, temperature_kelvin=20.0)}, "temperature_kelvin"),
        ({"how_much": amount(1.0, value_as_typed="")}, "quantity_volume"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_half_written(
    tank: Place, operator: Person, by: Acts, clock: Clock, more: dict[str, Any], field: str
) -> None:
    values = dict(more)
    if values.get("happened_at"):
        values["happened_at"] = clock.now + timedelta(minutes=1)
    with pytest.raises(DomainError) as refusal:
        spilled(by(operator), values.pop("how_much", amount(1.0)), **values)
    assert refusal.value.field == field
    assert not Spill.objects.exists() and not SpillFigure.objects.exists() and not Movement.objects.exists()


def test_what_was_written_is_frozen(operator: Person, by: Acts) -> None:
    spill = spilled(by(operator), amount(1.0))
    for change in (
        lambda: SpillFigure.objects.update(grams_100=2),
        lambda: Spill.objects.filter(pk=spill.pk).update(location="elsewhere"),
        lambda: SpillFigure.objects.all().delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_a_coming_shift_is_told_of_an_open_spill(
    operator: Person, safety_lead: Person, by: Acts, clock: Clock
) -> None:
    now: datetime = clock.now
    assert spill_section(now).lines == ()
    spill = spilled(by(operator), amount(3000.0))
    (line,) = spill_section(now).lines
    assert line.key == spill.number and line.is_hazard and "reportable quantity is reached" in line.words
    note(by(safety_lead), spill)
    services.close_spill(by=by(safety_lead), spill_id=spill.pk, words="cleaned up, hose replaced")
    assert spill_section(now).lines == ()

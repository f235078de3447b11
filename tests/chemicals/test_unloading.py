"""The lock on a delivery (CS-01): what does not agree stops it for good and stays on record as a near miss."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.verifying.registry import Look
from regenplant.chemicals import services
from regenplant.chemicals.models import ChemicalLot, Movement, Place, Unloading
from regenplant.chemicals.services import UNLOCK_MEANING, Papers
from regenplant.chemicals.verification import check_unloadings
from regenplant.core.errors import (
    DomainError,
    NotAllowed,
    RecordRefused,
    SignatureRefused,
    StaleRecord,
)
from regenplant.people.models import Person
from regenplant.people.signing import SignaturePermit

Acts = Callable[..., By]
pytestmark = pytest.mark.requirement("CS-01")

DENSITY_32 = 1159.0
"""Hydrochloric acid of 32 % by weight at 20 °C, kg/m³: hydrochloric acid property table, read (as in test_lots)."""
DENSITY_36 = 1179.0


def connected(by: By, place: Place, code: str, un_number: str, **more: Any) -> Place:
    return services.set_fill_connection(
        by=by, place_id=place.pk, connection_code=code, un_number=un_number, ullage_margin_m3=0.6, **more
    ).result


@pytest.fixture
def acid(tank: Place, supervisor: Person, by: Acts) -> Place:
    return connected(by(supervisor), tank, "FILL-ACID", "1789")


@pytest.fixture
def bleach(supervisor: Person, by: Acts) -> Place:
    place = services.add_place(
        by=by(supervisor),
        code="T-NAOCL",
        name="Bleach tank",
        kind="bulk_tank",
        chemical="naocl",
        capacity_m3=2.0,
    ).result
    return connected(by(supervisor), place, "FILL-BLEACH", "UN1791")


@pytest.fixture
def papers(acid: Place) -> Papers:
    return Papers("4711 / 2", "hcl", "UN 1789", "A-118", "S-90", 0.32, 400_000, acid.pk)


@pytest.fixture
def opened(papers: Papers, operator: Person, by: Acts) -> Unloading:
    return services.open_unloading(by=by(operator), papers=papers).result


def sample(by: By, row: Unloading, density: float = DENSITY_32) -> Unloading:
    return services.check_sample(
        by=by, unloading_id=row.pk, density_kg_per_m3=density, temperature_kelvin=293.15, value_as_typed=f"{density:g}",
        unit_as_typed="kg/m3",
    ).result  # fmt: skip


def permit(by: By, meaning: str = UNLOCK_MEANING) -> SignaturePermit:
    return SignaturePermit(by.user.pk, meaning, by.at)


def nothing_received() -> bool:
    return not ChemicalLot.objects.exists() and not Movement.objects.exists()


# --- the whole way ----------------------------------------------------------------------------------------------------
def test_after_every_check_the_signed_lock_opens_and_the_lot_stands_in_the_tank(
    opened: Unloading, acid: Place, operator: Person, second_operator: Person, by: Acts
) -> None:
    sample(by(operator), opened)
    services.confirm_connection(by=by(second_operator), unloading_id=opened.pk, scanned="fill-acid")
    assert nothing_received()
    row = services.unlock(by=by(operator), unloading_id=opened.pk, permit=permit(by(operator))).result
    movement = Movement.objects.get(lot=row.lot)
    assert (row.state, movement.to_place, movement.grams_100) == ("unlocked", acid, 400_000)
    assert row.sample_strength_frac == pytest.approx(0.32, abs=0.003)
    assert '"connection":"FILL-ACID"' in row.signature.content and row.signature.meaning == UNLOCK_MEANING
    assert list(chain.verify()) == [] and list(check_unloadings(Look())) == []
    Unloading.objects.filter(pk=row.pk).update(sample_strength_frac=0.33)
    (found,) = check_unloadings(Look())
    assert found.sentence == f"Delivery {row.number} is not as it was signed to be unlocked."


@pytest.mark.parametrize("done", [(), ("sample",), ("scan",)])
def test_the_lock_stays_shut_while_a_check_is_missing(
    opened: Unloading, operator: Person, second_operator: Person, by: Acts, done: tuple[str, ...]
) -> None:
    if "sample" in done:
        sample(by(operator), opened)
    if "scan" in done:
        services.confirm_connection(by=by(second_operator), unloading_id=opened.pk, scanned="FILL-ACID")
    with pytest.raises(RecordRefused, match="stays locked") as refused:
        services.unlock(by=by(operator), unloading_id=opened.pk, permit=permit(by(operator)))
    assert ("sample" in str(refused.value)) == ("sample" not in done)
    assert ("scan" in str(refused.value)) == ("scan" not in done)
    assert nothing_received()


def test_no_delivery_goes_round_the_lock(acid: Place, opened: Unloading, operator: Person, by: Acts) -> None:
    """Through the service that receives as well, with the number of a delivery that nobody has signed."""
    arguments = {
        "code": "A-118",
        "chemical": "hcl",
        "certificate_strength_frac": 0.32,
        "place_id": acid.pk,
        "grams_100": 400_000,
    }
    for unloading_id in (None, opened.pk):
        with pytest.raises(RecordRefused, match="is locked") as refused:
            services.receive_delivery(by=by(operator), unloading_id=unloading_id, **arguments)
        assert refused.value.code == "locked"
    assert nothing_received()


# --- what stops it ----------------------------------------------------------------------------------------------------
def test_the_bleach_connection_scanned_for_an_acid_order_stops_everything(
    opened: Unloading, bleach: Place, operator: Person, second_operator: Person, by: Acts
) -> None:
    sample(by(operator), opened)
    row = services.confirm_connection(
        by=by(second_operator), unloading_id=opened.pk, scanned="FILL-BLEACH"
    ).result
    assert row.state == "stopped" and row.confirmed_by is None
    assert "T-NAOCL, for sodium hypochlorite" in row.alarm
    told = [line.sentence for line in story([("unloading", row.number)])]
    assert any(line.startswith(f"Near miss: delivery {row.number}") for line in told)
    for act in (
        lambda: services.confirm_connection(by=by(second_operator), unloading_id=row.pk, scanned="FILL-ACID"),
        lambda: services.unlock(by=by(operator), unloading_id=row.pk, permit=permit(by(operator))),
    ):
        with pytest.raises(RecordRefused, match=r"Stop\. Connect nothing"):
            act()
    assert nothing_received()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"chemical": "naoh"}, "papers name caustic|papers name sodium hydroxide"),
        ({"un_number": "UN1791"}, "The papers say UN1791; at the fill connection of T-HCL stands UN1789"),
        ({"un_number": "1824"}, "UN1824"),
    ],
)
def test_papers_that_name_something_else_stop_it(
    papers: Papers, operator: Person, by: Acts, change: dict[str, Any], words: str
) -> None:
    row = services.open_unloading(by=by(operator), papers=replace(papers, **change)).result
    row.refresh_from_db()
    assert row.state == "stopped"
    assert re.search(words, row.alarm)


def test_goods_without_a_un_number_come_through_the_lock_too(
    supervisor: Person, operator: Person, by: Acts
) -> None:
    """Brine is no dangerous good in transport: "none" is said at the connection and on the papers; a number on them stops it."""
    brine = services.add_place(
        by=by(supervisor), code="T-NACL", name="Brine", kind="bulk_tank", chemical="nacl", capacity_m3=9.0
    ).result
    brine = connected(by(supervisor), brine, "FILL-BRINE", "None")
    assert brine.un_number == "none"
    papers = Papers("4711 / 3", "nacl", "none", "A-119", "S-91", 0.26, 400_000, brine.pk)
    assert services.open_unloading(by=by(operator), papers=papers).result.state == "open"
    other = replace(papers, lot_code="A-120", un_number="UN1789")
    stopped = services.open_unloading(by=by(operator), papers=other).result
    stopped.refresh_from_db()
    assert "The papers say UN1789; at the fill connection of T-NACL stands no UN number." in stopped.alarm


@pytest.mark.parametrize(
    ("density", "state"), [(DENSITY_32, "open"), (DENSITY_36, "stopped"), (1149.0, "stopped")]
)
def test_a_sample_outside_the_tolerance_stops_it(
    opened: Unloading, operator: Person, by: Acts, supervisor: Person, acid: Place, density: float, state: str
) -> None:
    """32 % on the certificate: 36 % (1179 kg/m³) and 30 % (1149 kg/m³) lie further off than 1.5 points."""
    Place.objects.filter(pk=acid.pk).update(receipt_tolerance_frac=0.015)
    row = sample(by(operator), opened, density)
    assert row.state == state
    assert ("the certificate says" in row.alarm) == (state == "stopped")


def test_a_sample_is_read_once(opened: Unloading, operator: Person, by: Acts) -> None:
    sample(by(operator), opened)
    with pytest.raises(StaleRecord, match="sampled already"):
        sample(by(operator), opened)


# --- room -------------------------------------------------------------------------------------------------------------
def test_the_room_that_stays_free_is_not_filled(papers: Papers, operator: Person, by: Acts) -> None:
    """12 m³ less 0.6 m³ margin: 11.4 m³ of 32 % acid hold 11.4 · 1159 · 0.32 = 4 228 kg as 100 %: hand calculation."""
    full = services.open_unloading(by=by(operator), papers=replace(papers, grams_100=4_260_000)).result
    full.refresh_from_db()
    assert (
        full.state == "stopped"
        and "11\u202f400\xa0L" in full.alarm
        and "with the room that stays free" in full.alarm
    )
    told = [line.sentence for line in story([("unloading", full.number)])]
    assert any(line.startswith(f"Near miss: delivery {full.number}") for line in told)
    with pytest.raises(RecordRefused, match="never unlocked"):
        sample(by(operator), full)
    assert nothing_received()
    assert (
        services.open_unloading(by=by(operator), papers=replace(papers, grams_100=4_190_000)).result.state
        == "open"
    )


# --- people -----------------------------------------------------------------------------------------------------------
def test_the_second_person_is_not_the_first(opened: Unloading, operator: Person, by: Acts) -> None:
    with pytest.raises(NotAllowed, match="A second person"):
        services.confirm_connection(by=by(operator), unloading_id=opened.pk, scanned="FILL-ACID")
    with pytest.raises(IntegrityError), transaction.atomic():
        Unloading.objects.filter(pk=opened.pk).update(confirmed_by=operator)


def test_who_opened_it_signs_it(
    opened: Unloading, operator: Person, second_operator: Person, by: Acts
) -> None:
    sample(by(operator), opened)
    services.confirm_connection(by=by(second_operator), unloading_id=opened.pk, scanned="FILL-ACID")
    with pytest.raises(NotAllowed, match="opened"):
        services.unlock(by=by(second_operator), unloading_id=opened.pk, permit=permit(by(second_operator)))
    with pytest.raises(SignatureRefused):
        services.unlock(by=by(operator), unloading_id=opened.pk, permit=permit(by(operator), "seen"))
    assert nothing_received()


@pytest.mark.parametrize("who", ["planner", "outsider", "qc_technician"])
def test_who_may_not_receive_opens_nothing(
    request: pytest.FixtureRequest, papers: Papers, by: Acts, who: str
) -> None:
    with pytest.raises(NotAllowed):
        services.open_unloading(by=by(request.getfixturevalue(who)), papers=papers)


def test_anybody_may_stop_and_a_supervisor_answers_once(
    opened: Unloading, outsider: Person, supervisor: Person, operator: Person, by: Acts
) -> None:
    services.stop_unloading(by=by(outsider), unloading_id=opened.pk, alarm="The hose label is torn off.")
    with pytest.raises(NotAllowed):
        services.answer_stop(by=by(operator), unloading_id=opened.pk, answer="It was nothing.")
    row = services.answer_stop(
        by=by(supervisor), unloading_id=opened.pk, answer="Sent back; the haulier brings a new hose."
    ).result
    assert (row.state, row.answered_by) == ("stopped", supervisor)
    with pytest.raises(StaleRecord):
        services.answer_stop(by=by(supervisor), unloading_id=opened.pk, answer="Once more, for good measure.")


# --- papers and connection --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"order_line": " "}, "order_line"),
        ({"un_number": ""}, "un_number"),
        ({"supplier_lot": ""}, "supplier_lot"),
        ({"lot_code": ""}, "code"),
        ({"certificate_strength_frac": 0.0}, "certificate_strength_frac"),
        ({"grams_100": 0}, "quantity"),
        ({"data_sheet_id": 99}, "data_sheet"),
        ({"place_id": 0}, "place"),
    ],
)
def test_what_is_missing_on_the_papers_is_refused(
    papers: Papers, operator: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.open_unloading(by=by(operator), papers=replace(papers, **change))
    assert refused.value.field == field and not Unloading.objects.exists()


def test_two_connections_never_bear_the_same_code(
    acid: Place, bleach: Place, supervisor: Person, by: Acts
) -> None:
    with pytest.raises(RecordRefused, match="is the fill connection of T-HCL"):
        connected(by(supervisor), bleach, "fill-acid", "UN1791")
    with pytest.raises(IntegrityError), transaction.atomic():
        Place.objects.filter(pk=bleach.pk).update(connection_code="FILL-ACID")


# --- tanks without a code ---------------------------------------------------------------------------------------------
def test_a_tank_without_a_code_takes_nothing_by_hose_and_says_where_to_set_one(
    tank: Place, papers: Papers, operator: Person, supervisor: Person, by: Acts
) -> None:
    """Neither through the lock, which cannot be scanned open, nor round it."""
    bare = services.add_place(
        by=by(supervisor), code="T-NEW", name="New acid tank", kind="bulk_tank", chemical="hcl"
    ).result
    arguments = {
        "code": "A-118", "chemical": "hcl", "certificate_strength_frac": 0.32, "place_id": bare.pk, "grams_100": 400_000,
    }  # fmt: skip
    for act in (
        lambda: services.open_unloading(by=by(operator), papers=replace(papers, place_id=bare.pk)),
        lambda: services.receive_delivery(by=by(operator), **arguments),
    ):
        with pytest.raises(
            RecordRefused, match="under Chemicals, Tanks, T-NEW, “Fill connection”"
        ) as refused:
            act()
        assert (refused.value.code, refused.value.field) == ("no_connection", "place")
    assert nothing_received() and not Unloading.objects.exists()
    connected(by(supervisor), bare, "FILL-NEW", "UN1789")
    row = services.open_unloading(by=by(operator), papers=replace(papers, place_id=bare.pk)).result
    assert row.state == "open"


def test_a_lock_whose_tank_lost_its_code_stays_shut(
    opened: Unloading, acid: Place, operator: Person, second_operator: Person, by: Acts
) -> None:
    sample(by(operator), opened)
    services.confirm_connection(by=by(second_operator), unloading_id=opened.pk, scanned="FILL-ACID")
    Place.objects.filter(pk=acid.pk).update(connection_code="", un_number="")
    with pytest.raises(RecordRefused, match="the lock stays shut") as refused:
        services.unlock(by=by(operator), unloading_id=opened.pk, permit=permit(by(operator)))
    assert refused.value.code == "no_connection" and nothing_received()


def test_closed_packages_are_received_without_a_lock_but_never_into_a_locked_tank(
    acid: Place, supervisor: Person, operator: Person, by: Acts
) -> None:
    bare = services.add_place(
        by=by(supervisor), code="T-BAGS", name="Acid from totes", kind="bulk_tank", chemical="hcl"
    ).result
    arguments = {
        "code": "A-118", "chemical": "hcl", "certificate_strength_frac": 0.32, "grams_100": 400_000, "is_packaged": True,
    }  # fmt: skip
    with pytest.raises(RecordRefused, match="is locked"):
        services.receive_delivery(by=by(operator), place_id=acid.pk, **arguments)
    lot = services.receive_delivery(by=by(operator), place_id=bare.pk, **arguments).result
    assert Movement.objects.get().lot == lot

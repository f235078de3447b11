"""Both ways between lots and round trips: every filling with resin of a lot, every lot of a tank and of a customer."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from regenplant.batches.models import Batch
from regenplant.people.models import Person
from regenplant.quality.lot_trace import holding_of, trace_of_lot
from regenplant.quality.lot_visits import lots_of_customer, lots_of_tank, visits_with
from regenplant.quality.lots_behind import Behind, behind, gone_into, lots_of
from regenplant.resins.models import LotParent, ResinLot
from regenplant.tanks.models import TankVisit
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.plant_today()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return factories.filled_batch(plant, "sac_h")


@pytest.fixture
def lot(batch: Batch) -> ResinLot:
    assert batch.lot is not None
    return batch.lot


@pytest.fixture
def client(plant: SmallPlant, client_of: Callable[[Person], Client]) -> Client:
    return client_of(plant.people["planner"])


def visit_of(batch: Batch) -> TankVisit:
    link = batch.tank_links.filter(is_filled=True).select_related("visit__tank", "visit__customer").first()
    assert link is not None
    return link.visit


@pytest.mark.requirement("RS-03")
def test_a_lot_leads_to_every_filling_and_back(batch: Batch, lot: ResinLot) -> None:
    """What the trace counts is listed, each filling once, with the batch that made the lot."""
    rows = list(visits_with(holding_of(lot)))
    filled = set(batch.tank_links.filter(is_filled=True).values_list("visit", flat=True))
    assert {row.pk for row in rows} == filled and len(rows) == len(filled) == trace_of_lot(lot).visit_count
    assert {row.batch_number for row in rows} == {batch.number}
    for row in rows:
        (found,) = lots_of_tank(row.tank)
        assert (found, found.fillings, found.tank_count, found.batch_number) == (lot, 1, 1, batch.number)
        assert found.first_at == found.last_at == row.refilled_at


def test_resin_is_followed_through_younger_lots_with_its_share(batch: Batch, lot: ResinLot) -> None:
    """By hand: a lot that is 30 % of the one filled is 30 % of what the tanks hold; one that is half of that lot is 15 %."""
    older, oldest = (
        ResinLot.objects.create(
            code=code, resin_type=lot.resin_type, segregation_class=lot.segregation_class, volume_m3=0.2, volume_form="Na",
            made_at=lot.made_at, origin="delivered new",
        )
        for code in ("OLD-1", "OLD-2")
    )  # fmt: skip
    LotParent.objects.create(child=lot, parent=older, fraction=0.3)
    LotParent.objects.create(child=older, parent=oldest, fraction=0.5)
    holding = holding_of(oldest)
    assert holding[lot.pk] == (pytest.approx(0.15), 2)
    assert visits_with(holding).count() == trace_of_lot(oldest).visit_count > 0


@pytest.mark.requirement("RS-03")
def test_a_customer_leads_to_the_lots_of_its_round_trips(batch: Batch, lot: ResinLot) -> None:
    customer = visit_of(batch).customer
    own = TankVisit.objects.filter(customer=customer, refilled_lot=lot)
    (found,) = lots_of_customer(customer)
    assert (found, found.fillings) == (lot, own.count())
    assert found.tank_count == own.values("tank").distinct().count()


def _older(lot: ResinLot, code: str) -> ResinLot:
    return ResinLot.objects.create(
        code=code, resin_type=lot.resin_type, segregation_class=lot.segregation_class, volume_m3=0.2, volume_form="Na",
        made_at=lot.made_at, origin="delivered new",
    )  # fmt: skip


@pytest.mark.requirement("RS-03")
def test_a_customer_leads_to_every_older_lot_by_volume(batch: Batch, lot: ResinLot) -> None:
    """By hand: one tank was filled anew with the older lot, the others with the younger, which is 30 % of it; both came from the oldest."""
    customer, older, oldest = visit_of(batch).customer, _older(lot, "OLD-1"), _older(lot, "OLD-2")
    LotParent.objects.create(child=lot, parent=older, fraction=0.3)
    LotParent.objects.create(child=older, parent=oldest, fraction=0.5)
    LotParent.objects.create(child=lot, parent=oldest, fraction=0.2)
    visits = list(TankVisit.objects.filter(customer=customer, refilled_lot=lot).order_by("pk"))
    TankVisit.objects.filter(pk=visits[0].pk).update(refilled_lot=older)
    whole = sum(visit.refilled_volume_m3 or 0.0 for visit in visits)
    first = (visits[0].refilled_volume_m3 or 0.0) / whole
    found = behind(customer)
    assert set(found) == {lot.pk, older.pk, oldest.pk}
    assert found[lot.pk].share_frac == pytest.approx(1 - first)
    of_older = first + 0.3 * (1 - first)
    assert found[older.pk] == Behind(0, pytest.approx(of_older)), "filled with it as well"
    assert found[oldest.pk] == Behind(1, pytest.approx(0.5 * of_older + 0.2 * (1 - first)))
    rows = {row.code: row for row in lots_of(found, customer)}
    assert (rows["OLD-1"].fillings, rows["OLD-2"].fillings, rows["OLD-2"].last_at) == (1, 0, None)


@pytest.mark.requirement("RS-03")
def test_the_resin_of_a_customer_is_followed_into_younger_lots(batch: Batch, lot: ResinLot) -> None:
    younger = _older(lot, "YOUNG-1")
    LotParent.objects.create(child=younger, parent=lot, fraction=0.4)
    visit = visit_of(batch)
    for of in (visit.customer, visit.tank):
        assert gone_into(of) == {lot.pk: Behind(0, None), younger.pk: Behind(1, None)}
    batch.tank_links.update(is_current=False)
    assert set(gone_into(visit.customer)) == {lot.pk, younger.pk}, "also once its tanks have left"


def test_a_shell_that_is_only_filled_from_a_batch_put_nothing_into_it(
    batch: Batch, lot: ResinLot, plant: SmallPlant
) -> None:
    """Its own resin went into the batch before, and was scrapped there."""
    visit = visit_of(batch)
    other = factories.filled_batch(plant, "sac_h")
    other.tank_links.create(visit=visit, resin_volume_m3=0.1, position=9, is_current=False)
    assert set(gone_into(visit.tank)) == {lot.pk}


def test_the_older_lots_and_the_younger_ones_are_pages_and_files(
    batch: Batch, lot: ResinLot, client: Client
) -> None:
    older = _older(lot, "OLD-1")
    LotParent.objects.create(child=lot, parent=older, fraction=0.25)
    customer = visit_of(batch).customer
    url = reverse("customers-lots", args=[customer.code])
    assert "OLD-1" not in text_of(client.get(url)) and "way=up" in client.get(url).content.decode()
    assert "OLD-1" in text_of(client.get(url, {"way": "up"}))
    answer = client.get(url, {"way": "up", "_export": "csv"})
    lines = {line["Lot"]: line for line in csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))}
    assert float(lines["OLD-1"]["Of all resin, %"]) == 25.0 and lines["OLD-1"]["Steps away"] == "1"
    book = load_workbook(io.BytesIO(client.get(url, {"way": "up", "_export": "xlsx"}).content)).active
    assert book is not None and {row[0] for row in book.iter_rows(min_row=2, values_only=True)} == set(lines)
    down = text_of(client.get(url, {"way": "down"}))
    assert lot.code in down and "OLD-1" not in down and "Of all resin" not in down


def test_the_way_both_ways_takes_few_questions(batch: Batch, lot: ResinLot) -> None:
    with CaptureQueriesContext(connection) as seen:
        found = behind(visit_of(batch).customer)
        gone_into(visit_of(batch).customer)
    assert found and sum("RECURSIVE" in query["sql"] for query in seen) == 2 and len(seen) <= 6


def test_the_pages_list_them_and_give_them_as_a_file(batch: Batch, lot: ResinLot, client: Client) -> None:
    visit = visit_of(batch)
    trace = client.get(reverse("setup-lot-trace", args=[lot.code]))
    url = reverse("setup-lot-visits", args=[lot.code])
    assert url in trace.content.decode()
    page = text_of(client.get(url))
    assert (
        visit.tank.serial in page and visit.customer.name in page and batch.number in page and "100.0" in page
    )
    answer = client.get(url, {"_export": "csv"})
    lines = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(lines) == trace_of_lot(lot).visit_count
    (own,) = [line for line in lines if line["Tank"] == visit.tank.serial]
    assert (own["Batch"], own["Lot"], float(own["Of it, %"])) == (batch.number, lot.code, 100.0)
    for name, key in (("tanks", visit.tank.serial), ("customers", visit.customer.code)):
        back = client.get(reverse(f"{name}-lots", args=[key]))
        assert (
            lot.code in text_of(back) and reverse("setup-lot-trace", args=[lot.code]) in back.content.decode()
        )


@pytest.mark.parametrize("name", ["setup-lot-visits", "tanks-lots", "customers-lots"])
def test_what_is_not_known_is_not_found(plant: SmallPlant, client: Client, name: str) -> None:
    assert client.get(reverse(name, args=["NONE"])).status_code == 404


def test_a_lot_nobody_was_filled_with_says_so(plant: SmallPlant, client: Client) -> None:
    lot = ResinLot.objects.create(
        code="STILL-1", resin_type=plant.types["sac_h"], segregation_class="D", volume_m3=0.2, volume_form="Na",
        made_at=factories.START, origin="delivered new",
    )  # fmt: skip
    assert "No tank was filled with its resin." in text_of(
        client.get(reverse("setup-lot-visits", args=[lot.code]))
    )


def test_a_trace_follows_the_line_once_each_way(lot: ResinLot) -> None:
    """The recursion is the dear part among many lots: everything else is told the lots it found."""
    with CaptureQueriesContext(connection) as seen:
        trace_of_lot(lot)
    assert sum("RECURSIVE" in query["sql"] for query in seen) == 2 and len(seen) <= 14

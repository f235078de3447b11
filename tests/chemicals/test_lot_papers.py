"""What the papers of a lot say: its data sheet, named later where nobody named it, and the supplier's expiry date."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from regenplant.audit.selectors import story
from regenplant.audit.verifying import registry
from regenplant.batches import services as batch_services
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot, Place, Unloading
from regenplant.chemicals.services import UNLOCK_MEANING, Papers
from regenplant.core.errors import NotAllowed, PlanRefused, RecordRefused, TransitionRefused
from regenplant.documents.chemical_label import draw_chemical_label, label_content
from regenplant.documents.issue import Issue
from regenplant.documents.page import LABEL
from regenplant.documents.services import print_chemical_label
from regenplant.people.signing import SignaturePermit
from tests import factories, families
from tests.documents.reading import whole_text
from tests.documents.test_chemical_label import SHEET
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db

ISSUE = Issue(1, "2026-03-02 08:00+00:00", "Operator 1", 7, "0" * 64, 1)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def lot_of(code: str = "LOT-HCL") -> ChemicalLot:
    return ChemicalLot.objects.select_related("data_sheet").prefetch_related("checks").get(code=code)


def sheet(plant: SmallPlant, **changed: object) -> int:
    return int(services.add_data_sheet(by=plant.by("safety"), sheet=replace(SHEET, **changed)).result.pk)


# --- the data sheet -------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-07")
def test_a_lot_received_without_a_sheet_gets_its_label_once_the_sheet_is_named(plant: SmallPlant) -> None:
    lot = lot_of()
    with pytest.raises(RecordRefused, match="name it on the page of lot LOT-HCL"):
        print_chemical_label(by=plant.by(), lot_code=lot.code)
    services.name_data_sheet(by=plant.by("supervisor"), lot_id=lot.pk, data_sheet_id=sheet(plant))
    assert "H314" in whole_text(print_chemical_label(by=plant.by(), lot_code=lot.code).result.content)
    (line,) = [
        one for one in story([("chemical_lot", str(lot.pk))]) if one.event == "chemical.data_sheet_named"
    ]
    assert "LOT-HCL: its data sheet is Moonbase Acids (invented), 2026-01-05, 32 %" in line.sentence
    assert [finding.sentence for finding in registry.findings()] == []


def test_only_a_sheet_of_this_chemical_in_force_is_named_and_another_one_takes_a_reason(
    plant: SmallPlant,
) -> None:
    lot, by = lot_of(), plant.by("supervisor")
    caustic = sheet(plant, chemical="naoh", un_number="UN1824")
    with pytest.raises(RecordRefused, match="not one of this chemical"):
        services.name_data_sheet(by=by, lot_id=lot.pk, data_sheet_id=caustic)
    first = sheet(plant)
    second = sheet(plant, supplier="Crater Acids (invented)")
    with pytest.raises(NotAllowed):
        services.name_data_sheet(by=plant.by(), lot_id=lot.pk, data_sheet_id=first)
    services.name_data_sheet(by=by, lot_id=lot.pk, data_sheet_id=first)
    with pytest.raises(RecordRefused, match="named for lot LOT-HCL already"):
        services.name_data_sheet(by=by, lot_id=lot.pk, data_sheet_id=first)
    with pytest.raises(RecordRefused, match="at least 10"):
        services.name_data_sheet(by=by, lot_id=lot.pk, data_sheet_id=second)
    services.name_data_sheet(
        by=by, lot_id=lot.pk, data_sheet_id=second, reason="the papers name the other supplier"
    )
    assert lot_of().data_sheet_id == second
    services.withdraw_data_sheet(by=by, data_sheet_id=first, reason="not bought there any more")
    with pytest.raises(RecordRefused, match="no longer in force"):
        services.name_data_sheet(by=by, lot_id=lot.pk, data_sheet_id=first, reason="back to the first one")


def test_the_page_of_a_lot_offers_it_and_the_label_follows(plant: SmallPlant, client_of) -> None:  # type: ignore[no-untyped-def]
    page = reverse("chemicals-lot", args=["LOT-HCL"])
    naming = reverse("chemicals-lot-sheet", args=["LOT-HCL"])
    supervisor, operator = client_of(plant.people["supervisor"]), client_of(plant.people["operator"])
    assert "Name its data sheet" in text_of(supervisor.get(page)) and "Print its label" not in text_of(
        supervisor.get(page)
    )
    assert "A supervisor or the safety lead names it" in text_of(operator.get(page))
    pk = sheet(plant)
    assert operator.post(naming, {"data_sheet": pk}).status_code == 403
    assert supervisor.post(naming, {"data_sheet": ""}).status_code == 422
    assert supervisor.post(naming, {"data_sheet": pk}).status_code == 302
    assert "Print its label" in text_of(supervisor.get(page)) and "Why another one" in text_of(
        supervisor.get(naming)
    )


# --- until when -------------------------------------------------------------------------------------------------------------
def received(plant: SmallPlant, expires_on: date | None, code: str = "A-900") -> ChemicalLot:
    return services.receive_delivery(
        by=plant.by(), code=code, chemical="hcl", certificate_strength_frac=0.32, grams_100=1000,
        place_id=Place.objects.get(code="B-HCL").pk, is_packaged=True, expires_on=expires_on,
    ).result  # fmt: skip


def set_expiry(plant: SmallPlant, day: date | None, code: str = "LOT-HCL") -> None:
    services.correct_expiry(
        by=plant.by("supervisor"),
        lot_id=lot_of(code).pk,
        expires_on=day,
        reason="copied from the certificate",
    )


def test_an_expired_delivery_is_not_taken_in(plant: SmallPlant) -> None:
    today = plant.now.date()
    with pytest.raises(RecordRefused, match=f"expired on {today - timedelta(days=1)}") as refused:
        received(plant, today - timedelta(days=1))
    assert refused.value.field == "expires_on"
    assert received(plant, today).expires_on == today
    assert received(plant, None, "A-901").expires_on is None


def test_the_date_on_the_papers_comes_through_the_lock_to_the_lot(plant: SmallPlant) -> None:
    place = Place.objects.get(code="B-HCL")
    services.set_fill_connection(
        by=plant.by("supervisor"), place_id=place.pk, connection_code="FILL-HCL", un_number="UN1789", ullage_margin_m3=0.1,
    )  # fmt: skip
    day = plant.now.date() + timedelta(days=200)
    papers = Papers("4711 / 2", "hcl", "UN1789", "A-77", "S-90", 0.32, 100_000, place.pk, expires_on=day)
    with pytest.raises(RecordRefused, match="expired on"):
        services.open_unloading(by=plant.by(), papers=replace(papers, expires_on=date(2020, 1, 1)))
    row = services.open_unloading(by=plant.by(), papers=papers).result
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        Unloading.objects.filter(pk=row.pk).update(expires_on=None)
    services.check_sample(
        by=plant.by(), unloading_id=row.pk, density_kg_per_m3=1159.0, temperature_kelvin=293.15,
        value_as_typed="1159", unit_as_typed="kg/m3",
    )  # fmt: skip
    services.confirm_connection(by=plant.by("operator 2"), unloading_id=row.pk, scanned="FILL-HCL")
    by = plant.by()
    permit = SignaturePermit(by.user.pk, UNLOCK_MEANING, by.at)
    signed = services.unlock(by=by, unloading_id=row.pk, permit=permit).result
    assert signed.lot.expires_on == day
    assert str(day) in Unloading.objects.get(pk=row.pk).signature.content


def test_an_expired_lot_stops_plan_and_start_until_its_last_day_is_extended(plant: SmallPlant) -> None:
    today = plant.now.date()
    planned = factories.frozen_batch(plant, "sac_h")
    set_expiry(plant, today)
    assert selectors.stock_data(plant.now)["hcl"].days_to_expiry == 0
    set_expiry(plant, today - timedelta(days=3))
    with pytest.raises(
        TransitionRefused, match=f"LOT-HCL expired on {today - timedelta(days=3)} by the supplier"
    ):
        families.start_next(plant, planned.steps.order_by("number")[0])
    with pytest.raises(PlanRefused, match="put another lot in use"):
        factories.frozen_in(plant, "sac_h", factories.another_vessel(plant, "C9", "sac_h").code)
    (line,) = [one for one in selectors.stock_board(plant.now) if one.chemical.value == "hcl"]
    assert "so no batch starts with it" in line.problem
    set_expiry(plant, None)
    batch_services.start_batch(by=plant.by(), batch_id=planned.pk)
    planned.refresh_from_db()
    assert planned.state == "running"


def test_an_expired_lot_is_not_put_in_use(plant: SmallPlant) -> None:
    lot = received(plant, plant.now.date())
    services.check_strength(
        by=plant.by("qc"), lot_id=lot.pk, temperature_kelvin=293.15, value_as_typed="1159", unit_as_typed="kg/m3",
        density_kg_per_m3=1159.0,
    )  # fmt: skip
    plant.forward(days=1)
    with pytest.raises(RecordRefused, match=r"expired on .* by its supplier"):
        services.put_lot_in_use(by=plant.by("qc"), lot_id=lot.pk)


def test_of_a_blend_the_first_date_counts(plant: SmallPlant) -> None:
    set_expiry(plant, plant.now.date() + timedelta(days=90))
    plant.forward(minutes=5)
    received(plant, plant.now.date() + timedelta(days=20))
    assert selectors.stock_data(plant.now)["hcl"].days_to_expiry == 20


def test_an_expiry_is_written_anew_by_a_supervisor_with_a_reason(plant: SmallPlant, client_of) -> None:  # type: ignore[no-untyped-def]
    day = plant.now.date() + timedelta(days=90)
    with pytest.raises(NotAllowed):
        services.correct_expiry(
            by=plant.by(), lot_id=lot_of().pk, expires_on=day, reason="copied from the sheet"
        )
    with pytest.raises(RecordRefused, match="at least 10"):
        services.correct_expiry(by=plant.by("supervisor"), lot_id=lot_of().pk, expires_on=day, reason="typo")
    address = reverse("chemicals-lot-expiry", args=["LOT-HCL"])
    supervisor = client_of(plant.people["supervisor"])
    sent = {"expires_on": str(day), "reason": "copied from the certificate"}
    assert supervisor.post(address, sent).status_code == 302
    assert lot_of().expires_on == day
    assert str(day) in text_of(supervisor.get(reverse("chemicals-lot", args=["LOT-HCL"])))
    again = supervisor.post(address, sent)
    assert again.status_code == 422 and "That is what stands there" in text_of(again)


# --- on the label -----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-07")
def test_the_label_says_until_when_its_strength_holds_and_when_it_expires(plant: SmallPlant) -> None:
    lot = lot_of()
    services.name_data_sheet(by=plant.by("supervisor"), lot_id=lot.pk, data_sheet_id=sheet(plant))
    day = plant.now.date() + timedelta(days=90)
    set_expiry(plant, day)
    content = label_content(lot_of())
    checked = selectors.newest_check(lot_of())
    assert checked is not None
    last = checked.checked_at.date() + timedelta(days=7)  # the plant's interval as it stands
    assert (content.check_again_by, content.check_every_days, content.expires_on) == (str(last), 7, str(day))
    text = " ".join(whole_text(draw_chemical_label(content, ISSUE, LABEL, "metric")).split())
    assert (
        f"by {last}" in text
        and "every 7 days" in text
        and str(day) in text
        and "not used after that day" in text
    )
    unchecked = replace(content, check_again_by="", checked_strength_frac=None, expires_on="")
    text = " ".join(whole_text(draw_chemical_label(unchecked, ISSUE, LABEL, "metric")).split())
    assert "before the first use" in text and "no date given" in text


def test_the_day_on_the_label_is_the_last_on_which_a_plan_takes_the_check(plant: SmallPlant) -> None:
    check = selectors.newest_check(lot_of())
    last = selectors.check_again_on(check)
    assert check is not None and last is not None and selectors.check_again_on(None) is None
    end_of_it = datetime(last.year, last.month, last.day, 23, 59, tzinfo=check.checked_at.tzinfo)
    most = selectors.stock_data(plant.now)["hcl"].max_check_age_days
    assert selectors.check_age_days(check, end_of_it) <= most  # type: ignore[operator]
    assert selectors.check_age_days(check, end_of_it + timedelta(days=1, minutes=1)) > most  # type: ignore[operator]


def test_a_label_of_an_older_program_is_printed_again_as_it_was(plant: SmallPlant) -> None:
    lot = lot_of()
    services.name_data_sheet(by=plant.by("supervisor"), lot_id=lot.pk, data_sheet_id=sheet(plant))
    older = replace(label_content(lot_of()), check_again_by="", check_every_days=0, expires_on="")
    text = whole_text(draw_chemical_label(older, ISSUE, LABEL, "metric"))
    assert "Check strength again" not in text and "Expires" not in text

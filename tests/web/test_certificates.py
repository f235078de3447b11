"""Certificates of quality through HTTP: issuing, what the code leads to, withdrawing, and for whom."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.documents.models import Certificate, IssuedPaper
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import REOPEN_MEANING
from tests import factories, families
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(20))


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    return families.to_release(plant, factories.frozen_batch(plant, "sba_1"))


@pytest.fixture
def as_qc(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["qc"])


def visits_of(batch: Batch) -> list[str]:
    return [str(pk) for pk in batch.tank_links.order_by("position").values_list("visit_id", flat=True)]


def issued(client: Client, batch: Batch, **more: str) -> Certificate:
    sent = {"tanks": visits_of(batch), "in_place_of": "", **more}
    assert client.post(reverse("certificates-new"), sent).status_code == 302
    return Certificate.objects.latest("pk")


def test_from_the_batch_to_the_certificate_and_by_its_code_back(as_qc: Client, released: Batch) -> None:
    batch = as_qc.get(reverse("batches-detail", args=[released.number])).content.decode()
    assert f"{reverse('certificates-new')}?batch={released.number}" in batch
    page = as_qc.get(reverse("certificates-new"), {"batch": released.number}).content.decode()
    assert page.count(" checked") >= len(visits_of(released))
    certificate = issued(as_qc, released)
    found = as_qc.get(reverse("scan"), {"code": certificate.number.lower()})
    assert (found.status_code, found["Location"]) == (302, reverse("certificate", args=[certificate.number]))
    shown = text_of(as_qc.get(found["Location"]))
    assert "It holds: the record it rests on stands as it did when it was issued." in shown
    assert "Nothing is printed of it yet." in shown
    assert certificate.number in text_of(as_qc.get(reverse("certificates")))


def test_a_print_is_counted_and_listed_and_void_once_it_is_withdrawn(as_qc: Client, released: Batch) -> None:
    certificate = issued(as_qc, released)
    pdf = as_qc.get(reverse("paper-certificate", args=[certificate.number]))
    assert pdf["Content-Type"] == "application/pdf" and pdf.content.startswith(b"%PDF")
    here, away = (
        reverse("certificate", args=[certificate.number]),
        reverse("certificate-withdraw", args=[certificate.number]),
    )
    sha256 = IssuedPaper.objects.get(kind="certificate").sha256
    assert sha256 in text_of(as_qc.get(here))
    refused = as_qc.post(away, {"category": "other", "reason": "no"})
    assert refused.status_code == 422 and "at least 10 characters" in text_of(refused)
    as_qc.post(away, {"category": "other", "reason": "sent to another site by mistake"})
    page = text_of(as_qc.get(here))
    assert "It is withdrawn and every print of it is void. Reason: sent to another site by mistake" in page
    assert "Print it: it holds no more" in page and "Void" in page and sha256 in page
    again = as_qc.get(reverse("paper-certificate", args=[certificate.number]))
    assert again.status_code == 400 and "is withdrawn and is not printed any more" in text_of(again)
    assert IssuedPaper.objects.filter(kind="certificate").count() == 1


def test_a_batch_opened_for_correction_afterwards_marks_it_replaced(
    as_qc: Client, plant: SmallPlant, released: Batch
) -> None:
    certificate = issued(as_qc, released)
    quality_services.reopen_record(
        by=plant.by("supervisor"),
        batch_id=released.pk,
        category="slip",
        reason="the silica was read off the wrong scale",
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )
    page = text_of(as_qc.get(reverse("certificate", args=[certificate.number])))
    assert f"The record of {released.number} was opened again for correction after it was certified." in page
    assert "Replaced" in page and "Print it: it holds no more" in page
    again = as_qc.post(reverse("certificates-new"), {"tanks": visits_of(released)[:1]})
    assert again.status_code == 422 and "Record open for correction" in text_of(again)


def test_the_digest_typed_from_the_paper_is_compared(as_qc: Client, released: Batch) -> None:
    certificate = issued(as_qc, released)
    here = reverse("certificate", args=[certificate.number])
    head = f"{certificate.digest[:4].upper()} {certificate.digest[4:8]}"
    assert "is that of CQ-10001" in text_of(as_qc.get(here, {"digest": head}))
    other = "0000 0000" if not certificate.digest.startswith("0000") else "1111 1111"
    assert "This is not the digest of CQ-10001" in text_of(as_qc.get(here, {"digest": other}))
    for short in ("12", "zzzz zzzz", "<script>"):
        assert "Type at least the first two groups" in text_of(as_qc.get(here, {"digest": short}))


def test_what_cannot_be_certified_is_said_and_the_choice_stands(
    as_qc: Client, plant: SmallPlant, released: Batch
) -> None:
    nothing = as_qc.post(reverse("certificates-new"), {"tanks": []})
    assert nothing.status_code == 422 and "Tick at least one tank." in text_of(nothing)
    foreign = as_qc.post(reverse("certificates-new"), {"tanks": ["987654"]})
    assert foreign.status_code == 422
    unknown = as_qc.post(
        reverse("certificates-new"), {"tanks": visits_of(released)[:1], "in_place_of": "CQ-77777"}
    )
    assert unknown.status_code == 422 and "no certificate CQ-77777" in text_of(unknown)
    assert not Certificate.objects.exists()


def test_who_may_and_who_reads_only(client_of, plant: SmallPlant, released: Batch) -> None:  # type: ignore[no-untyped-def]
    sent = {"tanks": visits_of(released)}
    for who, status in (("operator", 403), ("planner", 403), ("safety", 403), ("supervisor", 302)):
        assert client_of(plant.people[who]).post(reverse("certificates-new"), sent).status_code == status, who
    number = Certificate.objects.get().number
    operator = client_of(plant.people["operator"])
    assert "It holds" in text_of(operator.get(reverse("certificate", args=[number])))
    assert operator.post(reverse("certificate-withdraw", args=[number]), {}).status_code == 403


def test_an_unknown_one_is_no_page_and_nobody_reads_one_signed_out(
    as_qc: Client, client: Client, released: Batch
) -> None:
    for number in ("CQ-99999", "x", "CQ-\x00", "9" * 200):
        assert as_qc.get(reverse("certificate", args=[number])).status_code == 404
    assert client.get(reverse("certificate", args=["CQ-10001"])).status_code == 302


def test_the_tanks_of_one_customer_are_found_among_all(as_qc: Client, released: Batch) -> None:
    whole = as_qc.get(reverse("certificates-new"))
    customers = whole.context["customers"]
    assert sum(one["count"] for one in customers) == len(visits_of(released))
    assert not any(one["is_current"] for one in customers)
    narrowed = as_qc.get(reverse("certificates-new") + customers[0]["url"])
    offered = [pk for pk, _ in narrowed.context["form"].fields["tanks"].choices]
    of_it = released.tank_links.filter(visit__customer__name=customers[0]["label"])
    assert sorted(offered) == sorted(str(link.visit_id) for link in of_it)
    assert [one["label"] for one in narrowed.context["customers"] if one["is_current"]] == [
        customers[0]["label"]
    ]
    assert as_qc.get(reverse("certificates-new"), {"batch": released.number}).context["customers"] == []
    for odd in ("NOBODY", "x" * 300, "a\x00b"):
        assert as_qc.get(reverse("certificates-new"), {"customer": odd}).status_code == 200


def test_in_place_of_another_is_kept_while_the_customer_is_chosen(as_qc: Client, released: Batch) -> None:
    page = as_qc.get(reverse("certificates-new"), {"in_place_of": "CQ-10001"})
    assert all(one["url"].endswith("&in_place_of=CQ-10001") for one in page.context["customers"])
    followed = as_qc.get(reverse("certificates-new") + page.context["customers"][0]["url"])
    assert followed.context["form"]["in_place_of"].value() == "CQ-10001"


def test_a_long_list_says_what_is_wrong_above_itself(as_qc: Client, released: Batch) -> None:
    page = text_of(as_qc.post(reverse("certificates-new"), {"tanks": []}))
    assert page.count("Tick at least one tank.") == 1
    assert page.index("Tick at least one tank.") < page.index(", batch ")


def test_a_certificate_leads_back_to_all_of_them(as_qc: Client, released: Batch) -> None:
    certificate = issued(as_qc, released)
    page = as_qc.get(reverse("certificate", args=[certificate.number])).content.decode()
    assert f'<a class="btn" href="{reverse("certificates")}">All certificates</a>' in page


def test_the_listing_names_a_few_tanks_and_counts_the_others(as_qc: Client, released: Batch) -> None:
    issued(as_qc, released)
    row = as_qc.get(reverse("certificates")).context["rows"][0]
    named = [serial for serial in released.tank_links.values_list("visit__tank__serial", flat=True) if serial in row.tanks]  # fmt: skip
    others = len(visits_of(released)) - len(named)
    assert len(named) == min(4, len(visits_of(released)))
    assert row.tanks.endswith(f" and {others} more") == bool(others)

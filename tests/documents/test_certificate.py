"""The certificate of quality: what it says, for what it is issued, what makes it void, and its paper read back by tools of others."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from regenplant.audit.selectors import story
from regenplant.audit.verifying import registry
from regenplant.batches.models import Batch, BatchTank
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.documents.certificate.content import CertificateContent, DrawnPoint, JudgedBy, Measured
from regenplant.documents.certificate.gathering import calibration_words
from regenplant.documents.certificate.paper import draw_certificate
from regenplant.documents.certificate.standing import CertificateState, content_of, standing_of
from regenplant.documents.issue import Issue
from regenplant.documents.models import Certificate, IssuedPaper
from regenplant.documents.page import A4, LETTER, PageSize
from regenplant.documents.services import issue_certificate, issue_paper, withdraw_certificate
from regenplant.plant.selectors import plant_day
from regenplant.plant.services import CalibrationEvidence, PointAsTyped, record_calibration
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import REOPEN_MEANING
from tests import factories, families
from tests.documents import certificate_example
from tests.documents.reading import Code, codes_by_page, overprinted, page_texts, whole_text
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
ISSUE = Issue(1, "2026-03-11 14:05-06:00", "QC technician 1", 7, "ab" * 32, 1)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    """An anion batch, read by an uncompensated cell: its rinse ends below 10 µS/cm."""
    return families.to_release(plant, factories.frozen_batch(plant, "sba_1"))


def visits_of(batch: Batch) -> list[int]:
    return list(batch.tank_links.order_by("position").values_list("visit_id", flat=True))


def issued(plant: SmallPlant, batch: Batch, *, count: int = 1, who: str = "qc", **more: str) -> Certificate:
    found: Certificate = issue_certificate(
        by=plant.by(who), visit_ids=visits_of(batch)[:count], **more
    ).result
    return found


def printed(plant: SmallPlant, certificate: Certificate, **more: str) -> bytes:
    content: bytes = issue_paper(
        by=plant.by("qc"), kind="certificate", key=certificate.number, **more
    ).result.content
    return content


# --- what it says -----------------------------------------------------------------------------------------------------
def test_it_says_what_was_measured_by_which_method_and_instrument(plant: SmallPlant, released: Batch) -> None:
    content = content_of(issued(plant, released))
    batch = content.batches[0]
    end = batch.measured[0]
    row = released.readings.filter(instrument_was_valid=True).latest("occurred_at")
    assert end.value == pytest.approx(1.0 / row.conductivity_25_siemens_per_m)
    assert end.basis == "not compensated by the meter, brought to 25 °C as water with a trace of caustic"
    assert end.instrument == row.instrument.code
    assert end.low == pytest.approx(1.0 / 1e-3)  # 10 µS/cm
    names = {one.name for one in batch.measured}
    assert {limit["name"] for limit in json.loads(released.specification_version.content)["limits"] if limit["measurement"] != "conductivity"} <= names  # fmt: skip
    assert all(one.method for one in batch.measured)
    assert (
        batch.rinse is not None
        and batch.rinse.held_readings >= 3
        and batch.rinse.count == len(batch.rinse.points)
    )


def test_of_several_customers_specifications_all_are_named(plant: SmallPlant) -> None:
    own = factories.customers_own_specification(plant, "sac_h", "Q-H-X", hold_time_s=1000.0)
    batch = families.to_release(plant, factories.frozen_batch(plant, "sac_h"))
    (one,) = content_of(issued(plant, batch)).batches
    usual = plant.specification["sac_h"]
    assert one.strictest_of == (
        JudgedBy("Q-H version 1", usual.digest), JudgedBy("Q-H-X version 1", own.digest),
    )  # fmt: skip


def test_its_tanks_are_those_chosen_in_their_order(plant: SmallPlant, released: Batch) -> None:
    links = list(BatchTank.objects.filter(batch=released).select_related("visit__tank").order_by("position"))
    content = content_of(issued(plant, released, count=2))
    assert [tank.serial for tank in content.tanks] == [link.visit.tank.serial for link in links[:2]]
    assert (content.scope, content.number) == ("delivery", "CQ-10001")
    assert content.customer == links[0].visit.customer.name


def test_the_days_of_a_calibration_are_those_of_the_day_it_measured(plant: SmallPlant) -> None:
    cell = plant.instruments["CELL"]
    assert cell.calibrated_on and cell.calibration_due_on
    words = calibration_words(cell, plant.now, was_valid=True)
    days = f"calibrated {cell.calibrated_on.isoformat()}, due {cell.calibration_due_on.isoformat()}"
    assert words == f"in calibration on that day: {days}"
    before = plant.now - timedelta(days=4000)  # no calibration of then is on record
    assert calibration_words(cell, before, was_valid=True) == "in calibration on that day"
    assert calibration_words(cell, plant.now, was_valid=False) == "out of calibration on that day"


def test_a_cell_found_outside_its_tolerance_afterwards_is_said(plant: SmallPlant) -> None:
    read_at, cell = plant.now, plant.instruments["CELL"]
    plant.now += timedelta(days=3)
    day = plant_day(plant.now)
    record_calibration(
        by=plant.by("qc"),
        instrument_id=cell.pk,
        calibrated_on=day,
        evidence=CalibrationEvidence(
            reference_kind="solution",
            reference="84 µS/cm at 25 °C",
            certificate="INV-1",
            reference_expires_on=day + timedelta(days=90),
            points=(PointAsTyped("84 µS/cm", "76 µS/cm", "84.2 µS/cm", "2 %"),),
        ),
    )
    words = calibration_words(cell, read_at, was_valid=True)
    assert words.startswith("in calibration on that day")
    assert words.endswith(f"; found outside its tolerance at the calibration of {day.isoformat()}")


# --- for what it is issued --------------------------------------------------------------------------------------------
def test_nothing_is_certified_before_the_release(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    with pytest.raises(RecordRefused, match=r"is not released: batch B-\d+ is filled"):
        issued(plant, batch)
    running = factories.frozen_batch(plant, "sba_1")
    with pytest.raises(RecordRefused, match="not filled from a batch"):
        issued(plant, running)
    assert not Certificate.objects.exists()


def test_no_tank_too_many_and_one_that_is_not_known_are_refused(plant: SmallPlant, released: Batch) -> None:
    for visits, words in (
        ([], "0 tanks are chosen"),
        (list(range(61)), "61 tanks"),
        ([987654], "not filled"),
    ):
        with pytest.raises(RecordRefused, match=words):
            issue_certificate(by=plant.by("qc"), visit_ids=visits)


def test_only_qc_and_supervisors_issue_and_withdraw(plant: SmallPlant, released: Batch) -> None:
    for who in ("operator", "planner", "safety"):
        with pytest.raises(NotAllowed):
            issued(plant, released, who=who)
    certificate = issued(plant, released, who="supervisor")
    with pytest.raises(NotAllowed):
        withdraw_certificate(
            by=plant.by("operator"),
            number=certificate.number,
            category="other",
            reason="sent to another site",
        )


# --- what makes it void -----------------------------------------------------------------------------------------------
def test_it_holds_until_the_record_is_opened_again(plant: SmallPlant, released: Batch) -> None:
    certificate = issued(plant, released)
    assert standing_of(certificate).is_valid
    reopen(plant, released)
    standing = standing_of(certificate)
    assert standing.state is CertificateState.REPLACED
    assert "opened again for correction" in standing.reasons[0]
    with pytest.raises(RecordRefused, match=r"CQ-10001 is replaced and is not printed any more"):
        printed(plant, certificate)
    with pytest.raises(RecordRefused, match="Record open for correction"):
        issued(plant, released)


def reopen(plant: SmallPlant, batch: Batch) -> None:
    quality_services.reopen_record(
        by=plant.by("supervisor"),
        batch_id=batch.pk,
        category="slip",
        reason="the silica was read off the wrong scale",
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )


def test_a_withdrawn_one_says_why_and_its_prints_are_void(plant: SmallPlant, released: Batch) -> None:
    certificate = issued(plant, released)
    printed(plant, certificate)
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        withdraw_certificate(by=plant.by("qc"), number=certificate.number, category="other", reason="no")
    withdraw_certificate(
        by=plant.by("qc"),
        number=certificate.number,
        category="other",
        reason="sent to another site by mistake",
    )
    certificate = Certificate.objects.get()
    standing = standing_of(certificate)
    assert (standing.state, standing.reasons) == (
        CertificateState.WITHDRAWN,
        ("sent to another site by mistake",),
    )
    assert len(standing.prints) == 1 and not standing.is_valid
    with pytest.raises(RecordRefused, match="is withdrawn and is not printed any more"):
        printed(plant, certificate)
    with pytest.raises(RecordRefused, match="withdrawn already"):
        withdraw_certificate(
            by=plant.by("qc"),
            number=certificate.number,
            category="other",
            reason="sent to another site again",
        )


def test_one_issued_in_its_place_replaces_it_once(plant: SmallPlant, released: Batch) -> None:
    first = issued(plant, released)
    second = issued(plant, released, count=2, in_place_of=first.number.lower())
    assert standing_of(Certificate.objects.get(number=first.number)).reasons == (
        f"{second.number} was issued in its place.",
    )
    assert f"Issued in place of {first.number}, which is void." in whole_text(printed(plant, second))
    with pytest.raises(RecordRefused, match=f"replaced already, by {second.number}"):
        issued(plant, released, in_place_of=first.number)
    with pytest.raises(RecordRefused, match="no certificate CQ-99999"):
        issued(plant, released, in_place_of="CQ-99999")


# --- kept for good ----------------------------------------------------------------------------------------------------
def test_what_was_issued_stands_in_the_log_and_cannot_be_changed(plant: SmallPlant, released: Batch) -> None:
    certificate = issued(plant, released)
    assert certificate.digest == hashlib.sha256(certificate.content.encode()).hexdigest()
    serial = content_of(certificate).tanks[0].serial
    for subject in (("certificate", certificate.number), ("tank", serial), ("batch", released.number)):
        assert any(line.event == "certificate.issued" for line in story([subject])), subject
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE documents_certificate SET customer_code = 'X'")
    assert [found.sentence for found in registry.findings()] == []


# --- the paper --------------------------------------------------------------------------------------------------------
def test_the_paper_says_it_in_words_and_bears_digest_and_code(plant: SmallPlant, released: Batch) -> None:
    certificate = issued(plant, released)
    pdf = printed(plant, certificate)
    text = whole_text(pdf)
    head = " ".join(certificate.digest[i : i + 4] for i in range(0, 32, 4))
    for words in (
        "Certificate of quality", certificate.number, f"Digest {head}", "Resistivity at 25 °C, end of the rinse",
        "not compensated by the meter, brought to 25 °C as water with a trace of caustic", "limit ≤ 10 µS/cm",
        "minutes since the rinse began", "Released ", "A value that is not named was not measured for this certificate.",
    ):  # fmt: skip
        assert words in text, words
    assert any(code == Code("QR Code", certificate.number) for code in codes_by_page(pdf)[0])
    assert overprinted(pdf) == []
    row = IssuedPaper.objects.get(kind="certificate", subject_key=certificate.number)
    assert row.sha256 == hashlib.sha256(pdf).hexdigest()


def test_no_grade_stands_on_it_that_nobody_claimed(plant: SmallPlant, released: Batch) -> None:
    text = whole_text(printed(plant, issued(plant, released)))
    assert "Meets " not in text


GOLDEN = (
    "Certificate of quality CQ-10417 For one tank of Glasswing Optics, Hall 2, released by Alder Quay.",
    "Issued 2026-03-11 14:05-06:00 by J. Fenn.",
    "Tank Round trip Size, in Resin Filled Batch",
    "T-20400 V-30400 14 x 47",
    "Batch B-10409",
    "Resistivity at 25 °C, end of the rinse",
    "compensated by the meter for neutral salt",
    "12.50 MΩ·cm 0.0800 µS/cm as read: 12.5 MΩ·cm at 25 °C at least 10 MΩ·cm",
    "CELL-3, in calibration on that day: calibrated 2026-01-05, due 2026-07-05",
    "molybdate blue KIT-S, in calibration on that day",
    "at most 0.05 mg/L",
    "Rinse-down: 12.4 BV, limit held 16 min by 5 readings in a row (asked for 15 min). Batch B-10409.",
    "Meets Grade 1 (invented): every test of it was done.",
    "Released 2026-03-11 13:55-06:00 by J. Fenn, signature efef efef efef efef.",
    "Judged against: Q-MB-10 version 4, digest abab abab abab abab.",
    "Certificate CQ-10417 · digest cdcd cdcd cdcd cdcd cdcd cdcd cdcd cdcd",
)
"""Read off the page by another program, cell by cell."""


@pytest.mark.parametrize("size", [A4, LETTER])
def test_golden_text(size: PageSize) -> None:
    pdf = draw_certificate(certificate_example.content(), "cd" * 32, ISSUE, size, "metric")
    text = whole_text(pdf)
    assert [words for words in GOLDEN if words not in text] == []
    assert overprinted(pdf) == []
    assert pdf == draw_certificate(certificate_example.content(), "cd" * 32, ISSUE, size, "metric")


def test_all_specifications_that_applied_are_named_once() -> None:
    """Two batches, one of them of several customers: each specification stands once, and of which batch the strictest counted."""
    plain = certificate_example.content()
    both = (JudgedBy("Q-MB-10 version 4", "ab" * 32), JudgedBy("MB-GLASSWING version 1", "ef" * 32))
    mixed = replace(plain.batches[0], number="B-10410", strictest_of=both)
    pdf = draw_certificate(replace(plain, batches=(*plain.batches, mixed)), "cd" * 32, ISSUE, A4, "metric")
    text = whole_text(pdf)
    assert (
        "Judged against: Q-MB-10 version 4, digest abab abab abab abab; MB-GLASSWING version 1, digest efef efef efef efef. "
        "Of B-10410 the strictest of each limit counted."
    ) in text
    assert overprinted(pdf) == []
    assert '"strictest_of"' not in canonical_text(plain)  # a certificate of before keeps its digest


@pytest.mark.parametrize("tanks", range(1, 13))
def test_what_it_rests_on_is_never_torn(tanks: int) -> None:
    pages = page_texts(draw_certificate(certificate_example.content(tanks), "cd" * 32, ISSUE, A4, "metric"))
    of_it = [text for text in pages if "What it rests on" in text]
    assert len(of_it) == 1 and "It holds for the resin as it left the plant." in of_it[0]


def test_a_delivery_of_many_tanks_and_batches_fits_its_pages(plant: SmallPlant) -> None:
    pdf = draw_certificate(certificate_example.content(24), "cd" * 32, ISSUE, A4, "metric")
    texts = page_texts(pdf)
    assert len(texts) >= 2 and all(
        f"Page {n} of {len(texts)}" in text for n, text in enumerate(texts, start=1)
    )
    assert overprinted(pdf) == []


def test_the_content_is_the_same_after_being_kept(plant: SmallPlant) -> None:
    content = certificate_example.content(2)
    again: CertificateContent = from_plain(CertificateContent, json.loads(canonical_text(content)))
    assert again == content
    assert isinstance(again.batches[0].measured[0], Measured)
    assert again.batches[0].rinse is not None and isinstance(again.batches[0].rinse.points[0], DrawnPoint)

"""The supervisor's review through HTTP: what is open, deciding a deviation, the state of the record."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from regenplant.audit import chain, locks
from regenplant.batches import services as batch_services
from regenplant.batches.models import Deviation
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import issue_paper
from regenplant.people.models import Signature
from regenplant.quality import services as quality_services
from regenplant.quality.selectors import review_count
from regenplant.quality.signed_content import FAIL_MEANING, REOPEN_MEANING
from regenplant.web.presenters.words import counted
from tests import factories, families
from tests.factories import SmallPlant
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def deviation(plant: SmallPlant) -> Deviation:
    batch = factories.frozen_batch(plant, "sac_h")
    return batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="the drain valve stuck for 3 min", severity="major"
    ).result


@pytest.fixture
def as_who(plant: SmallPlant, client_of):  # type: ignore[no-untyped-def]
    return lambda who: client_of(plant.people[who])


# --- the board ----------------------------------------------------------------------------------------------------------
def test_when_nothing_is_open_the_review_says_so(as_who) -> None:
    page = text_of(as_who("supervisor").get(reverse("review")))
    assert "Nothing is open. Nothing waits for a decision." in page
    assert "No deviation is open, no batch failed, none is held." in page


def test_what_was_unusual_comes_first_with_the_way_to_decide(
    as_who, plant: SmallPlant, deviation: Deviation
) -> None:
    failed = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, failed, StepKind.SAMPLE, finish=True)
    quality_services.decide_batch(
        by=plant.by("qc"),
        batch_id=failed.pk,
        verdict="fail",
        reason="hardness kit shows breakthrough",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )
    held = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, held, StepKind.BACKWASH)
    batch_services.hold_batch(by=plant.by(), batch_id=held.pk, reason="the pump sounds wrong")
    page = text_of(as_who("supervisor").get(reverse("review")))
    assert "One deviation is open, one batch failed or aborted, one batch is held." in page
    assert "the drain valve stuck for 3 min" in page
    assert reverse("deviations-detail", args=[deviation.number]) in page
    assert "hardness kit shows breakthrough" in page and "the pump sounds wrong" in page
    for name in ("batches-rework", "batches-scrap"):
        assert f'href="{reverse(name, args=[failed.number])}"' in page
    seen_by_qc = text_of(as_who("qc").get(reverse("review")))
    assert f'href="{reverse("batches-rework", args=[failed.number])}"' not in seen_by_qc
    assert "This takes a supervisor." in seen_by_qc


def test_the_tab_counts_every_line_that_waits_on_the_page(
    as_who, plant: SmallPlant, deviation: Deviation, django_assert_num_queries
) -> None:
    """Failed, held, filled (reviewed or not), open for correction, and the deviation: each once, and no more."""
    failed = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, failed, StepKind.SAMPLE, finish=True)
    quality_services.decide_batch(
        by=plant.by("qc"),
        batch_id=failed.pk,
        verdict="fail",
        reason="hardness kit shows breakthrough",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )
    failed.refresh_from_db()
    quality_services.reopen_record(
        by=plant.by("supervisor"),
        batch_id=failed.pk,
        category="slip",
        reason="the hardness was read on the wrong scale",
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
        version=failed.version,
    )
    held = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, held, StepKind.BACKWASH)
    batch_services.hold_batch(by=plant.by(), batch_id=held.pk, reason="the pump sounds wrong")
    factories.filled_batch(plant, "sba_2")
    response = as_who("supervisor").get(reverse("review"))
    board = response.context["board"]
    shown = (
        board.open_deviations, board.failed, board.held, board.amended, board.to_review, board.to_release,
    )  # fmt: skip
    assert [len(section) for section in shown] == [1, 1, 1, 1, 1, 0]
    assert "5 wait" in text_of(response).split('id="index"')[1]
    with django_assert_num_queries(1):
        assert review_count() == 5


def test_a_released_batch_waits_no_more_and_a_tab_without_work_says_nothing(
    as_who, plant: SmallPlant
) -> None:
    families.to_release(plant, factories.frozen_batch(plant, "sac_na"))
    response = as_who("supervisor").get(reverse("review"))
    assert review_count() == 0
    (tab,) = [tab for tab in response.context["index_tabs"] if tab.label == "Review"]
    assert tab.note == ""


@pytest.mark.requirement("ER-07")
def test_refused_signatures_are_an_alert(as_who, plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_na")
    as_who("qc 2").post(
        reverse("qc-release", args=[batch.number]),
        {"version": batch.version, "username": plant.people["qc 2"].username, "password": "not the password"},
    )
    page = text_of(as_who("supervisor").get(reverse("review")))
    assert "1 signature refused in the last seven days." in page and "QC technician 2" in page


# --- the state of the record --------------------------------------------------------------------------------------------
def test_the_record_is_looked_at_on_request_and_holds(as_who, plant: SmallPlant) -> None:
    factories.filled_batch(plant, "sac_na")
    client, there = as_who("supervisor"), reverse("review-chain")
    number, head = chain.head()
    page = text_of(client.get(there))
    assert f"{number} acts stand in the chain" in page and head in page
    assert "All records hold" not in page
    page = text_of(client.post(there, {"head": ""}))
    signatures = counted(
        Signature.objects.count(), "signature"
    )  # those under recipes and specifications with it
    assert "All records hold:" in page and f"{signatures} and one batch plan are as they were written" in page
    assert f"Chain of acts: {number} acts" in page and "Rows as acts left them:" in page
    assert "compliant" not in page.lower()


def test_a_look_is_written_down_and_the_page_says_who_looked_last(as_who, plant: SmallPlant) -> None:
    client, there = as_who("supervisor"), reverse("review-chain")
    assert "Nobody has looked at the whole record yet." in text_of(client.get(there))
    number, _ = chain.head()
    text_of(client.post(there, {"head": ""}))
    assert chain.head()[0] == number + 1
    page = text_of(client.get(there))
    who = plant.people["supervisor"].full_name
    assert f"by {who}, up to event {number}: {number} acts and" in page and "all records held." in page


def test_papers_with_their_heads_are_listed_and_a_head_that_fell_is_named(as_who, plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    issue_paper(by=plant.by(), kind="batch_sheet", key=batch.number)
    client, there = as_who("supervisor"), reverse("review-chain")
    paper = IssuedPaper.objects.get()
    short = f"{paper.chain_head[:4]} {paper.chain_head[4:8]}"
    page = text_of(client.get(there))
    assert f"Batch sheet {batch.number}, issue 1" in page and f"{short}</span> stands<" in page
    locks.remove()
    IssuedPaper.objects.update(chain_head="0" * 64)
    locks.install()
    assert "0000 0000</span> stands no longer" in text_of(client.get(there))
    page = text_of(client.post(there, {"head": ""}))
    assert f"The batch sheet of {batch.number}, issue 1, was printed with the head 0000 0000 of event" in page


def test_a_printed_head_is_found_again_or_missed(as_who, plant: SmallPlant) -> None:
    client, there = as_who("supervisor"), reverse("review-chain")
    number, head = chain.head()
    page = text_of(client.post(there, {"head": f"{head[:4]} {head[4:12]}"}))
    assert f"is that of event {number}; everything before it still stands." in page
    page = text_of(client.post(there, {"head": "0" * 12}))
    assert "it was cut or rewritten" in page
    assert "is no chain head" in text_of(client.post(there, {"head": "xyz"}), 422)


def test_a_record_altered_behind_the_programs_back_is_named(as_who, plant: SmallPlant) -> None:
    """ER-02: the locks are taken off and put back, as somebody who owns the database could do."""
    batch = factories.filled_batch(plant, "sac_na")
    locks.remove()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE batches_batch SET plan_text = plan_text || ' ' WHERE id = %s", [batch.pk])
        cursor.execute("UPDATE people_signature SET content = content || ' '")
    page = text_of(as_who("supervisor").post(reverse("review-chain"), {"head": ""}))
    assert f"The frozen plan of batch {batch.number} no longer fits its digest." in page
    assert "no longer fits what was signed." in page and "are missing in the database." in page
    assert "records do not hold. Call the administrator" in page
    locks.install()


def test_the_review_is_for_people_who_are_signed_in(client: Client, deviation: Deviation) -> None:
    for name, args in (("review", []), ("review-chain", []), ("deviations-detail", [deviation.number])):
        assert client.get(reverse(name, args=args)).status_code == 302

"""Issuing papers from the record: content, count, hash, rights, and the pages that hand them out."""

import hashlib
import json

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from regenplant.audit.selectors import events_about, story
from regenplant.batches.frozen import plan_of
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.selectors import batch_sheet_content, issues_of, tank_tag_content
from regenplant.documents.services import issue_paper
from regenplant.documents.tank_tag import TagState
from regenplant.plant import services as plant_services
from regenplant.plant.services.profile import ProfileSettings
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import RELEASE_MEANING
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Tank, TankVisit
from tests import factories
from tests.documents.reading import Code, codes_by_page, page_texts, whole_text

ISSUE = Issue(1, "2026-03-02 08:00+00:00", "Operator 1", 7, "0" * 64, 1)


@pytest.fixture
def plant(db):
    return factories.small_plant()


@pytest.fixture
def batch(plant):
    return factories.frozen_batch(plant, "sac_h")


def serials_of(batch) -> list[str]:
    return list(batch.tank_links.order_by("position").values_list("visit__tank__serial", flat=True))


# --- content from records ---------------------------------------------------------------------------------------
def test_the_sheet_says_what_the_batch_was_frozen_with(plant, batch):
    content = batch_sheet_content(batch.number, ISSUE)
    assert content.plan == plan_of(batch)
    assert content.plan_digest == batch.plan_digest
    assert [tank.serial for tank in content.tanks] == serials_of(batch)
    assert sum(tank.resin_volume_m3 for tank in content.tanks) == pytest.approx(batch.resin_volume_m3)
    assert (content.vessel, content.segregation_class) == ("C1 Vessel C1", "D")
    assert content.recipe_digest == batch.recipe_version.digest
    assert content.specification.code == "Q-H"
    assert content.planned_by == batch.planned_by.full_name
    assert content.state == "Ready: no step is started."
    assert content.checked_at["hcl"] == "2026-03-02 08:00+00:00"


def test_it_says_where_a_running_batch_stands_and_prints_none_of_what_was_written(plant, batch):
    step = factories.run_to(plant, batch, StepKind.BACKWASH)
    content = batch_sheet_content(batch.number, ISSUE)
    assert content.state.startswith(f"Running, step {step.number}, {step.name}.")
    assert "in the record, not on this sheet" in content.state


def test_an_unknown_batch_is_refused_in_a_sentence(db):
    with pytest.raises(RecordRefused, match="no batch B-99999"):
        batch_sheet_content("B-99999", ISSUE)


def test_emergency_places_of_the_plant_stand_on_the_sheet(plant, batch):
    settings = ProfileSettings(
        name="Alder Quay", shower_places="by C1\nby the skids", spill_text="Stop the source.", call_text="555"
    )
    plant_services.save_profile(by=plant.by("supervisor"), profile=settings)
    content = batch_sheet_content(batch.number, ISSUE)
    assert content.plant == "Alder Quay"
    assert content.emergency == (
        "Shower and eyewash: by C1 by the skids",
        "Spill: Stop the source.",
        "Call: 555",
    )


# --- issuing ----------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-24")
def test_an_issue_is_counted_hashed_and_recorded(plant, batch):
    first = issue_paper(by=plant.by(), kind="batch_sheet", key=batch.number).result
    second = issue_paper(
        by=plant.by("supervisor"), kind="batch_sheet", key=batch.number.lower(), size="letter", system="us"
    ).result
    assert (first.issue_number, second.issue_number) == (1, 2)
    for document in (first, second):
        row = IssuedPaper.objects.get(issue_number=document.issue_number)
        assert row.sha256 == document.sha256 == hashlib.sha256(document.content).hexdigest()
        assert f"Issue {document.issue_number}, printed " in page_texts(document.content)[-1]
    assert [row.page_size for row in issues_of("batch_sheet", batch.number)] == ["letter", "a4"]
    events = [e for e in events_about([("batch", batch.number)]) if e.event == "paper.issued"]
    facts = json.loads(events[-1].payload)["facts"]["facts"]
    assert facts["sha256"] == second.sha256
    sentence = story([("batch", batch.number)], newest_first=True, limit=1)[0].sentence
    assert sentence == f"Batch {batch.number}: batch sheet printed, issue 2, Letter, file {second.sha256[:8]}"


def test_issues_of_one_paper_do_not_count_for_another(plant, batch):
    issue_paper(by=plant.by(), kind="batch_sheet", key=batch.number)
    assert (
        issue_paper(by=plant.by(), kind="batch_tags", key=batch.number, size="label").result.issue_number == 1
    )


def test_the_printed_chain_head_is_the_one_before_the_printing(plant, batch):
    before = events_about([("batch", batch.number)]).order_by("-number").first()
    text = whole_text(issue_paper(by=plant.by(), kind="batch_sheet", key=batch.number).result.content)
    head = " ".join(before.digest[i : i + 4] for i in range(0, 16, 4))
    assert f"record {before.number}: {head}" in text


NOT_PRINTED = (
    ({"kind": "poster"}, OutOfRange, "There is no paper “poster”"),
    ({"size": "a3"}, OutOfRange, "Choose a4 or letter"),
    ({"size": "label"}, OutOfRange, "Choose a4 or letter"),
    ({"key": "B-1"}, RecordRefused, "There is no batch B-1 here"),
    ({"kind": "tank_tag", "key": "T-1", "size": "label"}, RecordRefused, "There is no tank T-1 here"),
)


def test_what_cannot_be_printed_is_refused_and_leaves_no_issue(plant, batch):
    for changes, refusal, words in NOT_PRINTED:
        wanted = {"kind": "batch_sheet", "key": batch.number, "size": "a4", **changes}
        with pytest.raises(refusal, match=words):
            issue_paper(by=plant.by(), **wanted)
    assert not IssuedPaper.objects.exists()


def test_a_person_without_the_right_prints_nothing(plant, batch):
    with pytest.raises(NotAllowed):
        issue_paper(by=plant.by("administrator"), kind="batch_sheet", key=batch.number)
    assert not IssuedPaper.objects.exists()


def test_an_issue_can_neither_be_changed_nor_taken_back(plant, batch):
    issue_paper(by=plant.by(), kind="batch_sheet", key=batch.number)
    for statement in (
        "UPDATE documents_issuedpaper SET issue_number = 9",
        "DELETE FROM documents_issuedpaper",
    ):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    assert IssuedPaper.objects.get().issue_number == 1


# --- tags -------------------------------------------------------------------------------------------------------
def test_a_tank_is_charged_on_its_tag_only_after_the_release(plant):
    batch = factories.filled_batch(plant, "sba_1")
    serial = serials_of(batch)[0]
    before = tank_tag_content(serial, ISSUE)
    assert before.state is TagState.NOT_RELEASED and before.readings == () and before.released_on == ""
    factories.reviewed(plant, batch)
    quality_services.release_batch(
        by=plant.by("qc 2"), batch_id=batch.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
    )
    after = tank_tag_content(serial, ISSUE)
    assert after.state is TagState.CHARGED
    assert after.batch_number == batch.number
    assert after.released_on == plant.now.date().isoformat()
    conductivity = next(reading for reading in after.readings if reading.kind == "conductivity")
    assert 0 < conductivity.value <= 10e-4 and "25 °C" in conductivity.basis
    assert {reading.name for reading in after.readings} >= {"Silica", "pH"}
    assert after.lot_code


def test_a_held_and_a_refused_tank_have_their_own_tags_with_the_reason(plant):
    held, refused = factories.received_tank(plant, "sac_h"), factories.received_tank(plant, "sac_h")
    tank_services.hold_tank(
        by=plant.by("safety"),
        visit_id=held.pk,
        reason="First drain pH 3.1, at least 4.",
        version=held.version,
    )
    tank_services.refuse_tank(
        by=plant.by("safety"), visit_id=refused.pk, reason="It met an oxidizer.", version=refused.version
    )
    for visit, state, words in ((held, TagState.HELD, "pH 3.1"), (refused, TagState.REFUSED, "oxidizer")):
        content = tank_tag_content(TankVisit.objects.get(pk=visit.pk).tank.serial, ISSUE)
        assert content.state is state and words in content.state_words


def test_tags_of_a_batch_are_one_for_each_tank_and_scan_back(plant, batch):
    content = issue_paper(by=plant.by(), kind="batch_tags", key=batch.number, size="a4").result.content
    read = set().union(*codes_by_page(content))
    assert read == {Code(kind, serial) for serial in serials_of(batch) for kind in ("QR Code", "Code 128")}
    assert "CHARGED" not in whole_text(content)


def test_a_tank_that_never_came_in_has_no_tag(plant):
    tank = tank_services.add_tank(
        by=plant.by("planner"),
        size_id=plant.size.pk,
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
    ).result
    with pytest.raises(RecordRefused, match="A tag is printed for a tank at the plant"):
        tank_tag_content(Tank.objects.get(pk=tank.pk).serial, ISSUE)


# --- pages ------------------------------------------------------------------------------------------------------
def test_the_sheet_opens_in_the_browser_and_its_codes_lead_back(plant, batch, client_of):
    response = client_of(plant.people["operator"]).get(
        reverse("paper-batch-sheet", args=[batch.number]), {"size": "letter"}
    )
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == f'inline; filename="{batch.number}-batch-sheet-1.pdf"'
    assert "no-store" in response["Cache-Control"]
    read = set().union(*codes_by_page(response.content))
    assert Code("QR Code", batch.number) in read
    assert {Code("Code 128", serial) for serial in serials_of(batch)} <= read


def test_tags_open_as_labels(plant, batch, client_of):
    client = client_of(plant.people["operator"])
    for name, key in (("paper-tank-tag", serials_of(batch)[0]), ("paper-batch-tags", batch.number)):
        response = client.get(reverse(name, args=[key]))
        assert response.status_code == 200 and response.content.startswith(b"%PDF-")


def test_a_person_with_us_units_gets_letter_and_us_units_first(plant, batch, client_of):
    plant.people["operator"].unit_system = "us"
    plant.people["operator"].save(update_fields=["unit_system"])
    response = client_of(plant.people["operator"]).get(reverse("paper-batch-sheet", args=[batch.number]))
    assert IssuedPaper.objects.get().page_size == "letter"
    assert "ft³ (" in page_texts(response.content)[0]


def test_a_paper_of_nothing_is_not_found(operator, client_of):
    client = client_of(operator)
    for path in (
        "batches/B-99999/sheet.pdf",
        "batches/B-99999/tags.pdf",
        "tanks/T-99999/tag.pdf",
        "tanks/%00/tag.pdf",
    ):
        assert client.get(f"/papers/{path}").status_code == 404, path


def test_a_size_that_does_not_exist_is_refused_with_the_ones_that_do(plant, batch, client_of):
    client = client_of(plant.people["operator"])
    for size in ("a3", "label", "A4'; DROP TABLE", "x" * 500):
        response = client.get(reverse("paper-batch-sheet", args=[batch.number]), {"size": size})
        assert response.status_code == 400
        assert b"Choose a4 or letter" in response.content


def test_who_may_not_print_is_told_so(plant, batch, client_of):
    response = client_of(plant.people["administrator"]).get(reverse("paper-batch-sheet", args=[batch.number]))
    assert response.status_code == 403
    assert not IssuedPaper.objects.exists()


def test_nobody_prints_without_signing_in(plant, batch, client):
    response = client.get(reverse("paper-batch-sheet", args=[batch.number]))
    assert response.status_code == 302 and "sign-in" in response["Location"]


def test_only_looking_up_prints_and_nothing_else_does(plant, batch, client_of):
    client = client_of(plant.people["operator"])
    for method in (client.post, client.head):
        assert method(reverse("paper-batch-sheet", args=[batch.number])).status_code == 405
    assert not IssuedPaper.objects.exists()

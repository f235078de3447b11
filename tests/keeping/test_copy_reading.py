"""A copy read again: what a person wrote stands there, from the copy alone; round trip equal; nothing is stored."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from regenplant.audit.selectors import chain_head, events_about
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.documents.selectors import copies_made, copy_with_digest
from regenplant.documents.services import copy_batch, issue_paper
from regenplant.keeping.reading import read_copy
from regenplant.people.models import Person
from tests import factories
from tests.keeping import scene
from tests.keeping.scene import RECORD, Opened

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-23")]
Clients = Callable[[Person], Client]


# --- round trip -------------------------------------------------------------------------------------------------------
def test_what_is_read_is_what_was_written(opened: Opened, copy_bytes: bytes) -> None:
    read = read_copy(copy_bytes)
    assert read.findings == () and read.holds_together
    assert read.digest == hashlib.sha256(opened.files[RECORD]).hexdigest()
    assert len(read.entries) == len(opened.rows("entries"))
    assert [line.digest for line in read.signatures] == sorted(
        (row["columns"]["digest"] for row in opened.rows("signatures")),
        key=lambda digest: [row["columns"]["digest"] for row in opened.rows("signatures")].index(digest),
    )
    assert [serial for serial, _, _ in read.tanks] == [
        row["columns"]["serial"] for row in opened.rows("tanks")
    ]


def test_record_alone_and_container_read_alike(opened: Opened, copy_bytes: bytes) -> None:
    alone, whole = read_copy(opened.files[RECORD]), read_copy(copy_bytes)
    assert alone.digest == whole.digest and alone.entries == whole.entries and alone.acts == whole.acts


def test_changed_values_say_what_stood_there_first(copy_bytes: bytes) -> None:
    read = read_copy(copy_bytes)
    for values in (read.entries, read.readings, read.measurements):
        remarks = [value.remark for value in values]
        assert sum(remark.startswith("replaced ") for remark in remarks) == 1
        assert sum(remark.startswith("changed; first ") for remark in remarks) == 1


def test_the_audit_trail_reads_as_sentences(copy_bytes: bytes) -> None:
    read = read_copy(copy_bytes)
    sentences = " ".join(line.sentence for line in read.acts)
    assert "B-10001 was planned" in sentences and "was released with 3 tanks" in sentences
    assert [line.number for line in read.acts] == sorted(line.number for line in read.acts)
    assert any(scene.WHY in line.reason for line in read.acts)


def test_an_act_whose_facts_do_not_fit_reads_as_its_name(opened: Opened) -> None:
    index = opened.index_of("entry.written")
    payload = opened.payload(index)
    payload["facts"] = {"before": [], "after": 3, "facts": None, "reason": ""}
    from regenplant.core.process.canonical import canonical_text

    opened.record["events"][index]["payload"] = canonical_text(payload)
    read = read_copy(opened.packed())
    assert any(line.sentence.endswith("entry.written") for line in read.acts) and read.findings


# --- the act ----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-32")
def test_copying_is_an_act_that_keeps_the_digests(plant: factories.SmallPlant, ready: Batch) -> None:
    made = scene.copied(plant, ready)
    (line,) = copies_made(ready.number)
    assert line.record_sha256 == made.record_sha256 and line.findings == made.findings == ()
    assert line.container_sha256 == hashlib.sha256(made.content).hexdigest()
    assert line.who == "Supervisor 1"
    assert line.listing == f"{line.container_sha256}  {made.file_name}\n{made.record_sha256}  {RECORD}\n"
    assert copy_with_digest(made.record_sha256) == line and copy_with_digest("0" * 64) is None
    newest = events_about([("batch", ready.number)]).order_by("-number")[0]
    assert newest.event == "batch.copied"


def test_a_copy_of_somebody_elses_print_is_refused(plant: factories.SmallPlant, ready: Batch) -> None:
    other = factories.frozen_batch(plant, "sac_na")
    printed = issue_paper(by=plant.by("supervisor"), kind="batch_record", key=other.number).result
    with pytest.raises(RecordRefused, match="no issued record of B-10001"):
        copy_batch(by=plant.by("supervisor"), batch_id=ready.pk, document=printed)
    with pytest.raises(RecordRefused, match="no such batch"):
        copy_batch(by=plant.by("supervisor"), batch_id=424242, document=printed)


def test_an_operator_makes_no_copy(plant: factories.SmallPlant, ready: Batch) -> None:
    printed = issue_paper(by=plant.by(), kind="batch_record", key=ready.number).result
    with pytest.raises(NotAllowed, match="may not do this"):
        copy_batch(by=plant.by(), batch_id=ready.pk, document=printed)


# --- the pages --------------------------------------------------------------------------------------------------------
def test_a_copy_is_made_handed_out_and_read_again(
    plant: factories.SmallPlant, batch: Batch, client_of: Clients
) -> None:
    client = client_of(plant.people["supervisor"])
    answer = client.post(reverse("batches-copy", args=[batch.number]))
    assert answer.status_code == 200 and answer["Content-Type"] == "application/zip"
    digest = hashlib.sha256(scene.opened(answer.content).files[RECORD]).hexdigest()
    page = client.get(reverse("batches-copy", args=[batch.number])).content.decode()
    assert digest in page
    (line,) = copies_made(batch.number)
    listing = client.get(reverse("batches-copy-digest", args=[batch.number, line.act]))
    assert digest in listing.content.decode() and "attachment" in listing["Content-Disposition"]
    shown = client.post(reverse("copies-read"), {"file": SimpleUploadedFile("copy.zip", answer.content)})
    text = shown.content.decode()
    assert shown.status_code == 200
    assert "not the record of this plant" in text and "Everything in the copy holds" in text
    assert f"This plant made it: act {line.act}" in text and scene.WHY.replace("'", "&#x27;") in text


def test_an_altered_copy_is_shown_with_what_does_not_hold(
    plant: factories.SmallPlant, opened: Opened, client_of: Clients
) -> None:
    opened.columns("deviations")["decision"] = "<script>alert(1)</script>"
    client = client_of(plant.people["operator"])
    sent = SimpleUploadedFile("copy.zip", opened.packed())
    text = client.post(reverse("copies-read"), {"file": sent}).content.decode()
    assert "do not hold" in text and "Do not rely on it" in text
    assert "<script>alert" not in text and "wrote down no copy with this digest" in text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"hello", "no JSON text"),
        (b"PK\x03\x04", "damaged"),
        (b"0" * 16_000_001, "at most 16 MB are read"),
    ],
    ids=["empty", "words", "damaged", "too large"],
)
def test_a_file_that_is_no_copy_comes_back_with_a_sentence(
    plant: factories.SmallPlant, client_of: Clients, content: bytes, words: str
) -> None:
    client = client_of(plant.people["operator"])
    answer = client.post(reverse("copies-read"), {"file": SimpleUploadedFile("x.zip", content)})
    assert answer.status_code == 422 and words in answer.content.decode()


def test_no_file_at_all_is_asked_for(plant: factories.SmallPlant, client_of: Clients) -> None:
    answer = client_of(plant.people["operator"]).post(reverse("copies-read"))
    assert answer.status_code == 422 and "Nothing is written here yet" in answer.content.decode()


def test_reading_a_copy_stores_nothing(
    plant: factories.SmallPlant, copy_bytes: bytes, client_of: Clients
) -> None:
    client = client_of(plant.people["operator"])
    client.get(reverse("copies-read"))
    ours = [m for m in apps.get_models() if m.__module__.startswith("regenplant.")]
    before = {model: model._default_manager.count() for model in ours}
    head = chain_head()
    client.post(reverse("copies-read"), {"file": SimpleUploadedFile("copy.zip", copy_bytes)})
    assert {model: model._default_manager.count() for model in ours} == before and chain_head() == head


def test_who_may_not_copy_sees_who_may(plant: factories.SmallPlant, ready: Batch, client_of: Clients) -> None:
    client = client_of(plant.people["operator"])
    page = client.get(reverse("batches-copy", args=[ready.number])).content.decode()
    assert "aria-disabled" in page and "supervisor" in page
    assert client.post(reverse("batches-copy", args=[ready.number])).status_code == 403
    assert copies_made(ready.number) == []


def test_the_batch_page_leads_to_copy_and_print(
    plant: factories.SmallPlant, ready: Batch, client_of: Clients
) -> None:
    page = client_of(plant.people["supervisor"]).get(reverse("batches-detail", args=[ready.number]))
    text = page.content.decode()
    assert reverse("batches-copy", args=[ready.number]) in text
    assert reverse("paper-batch-record", args=[ready.number]) in text


def test_the_page_on_verifying_hands_out_the_verifier(
    plant: factories.SmallPlant, client_of: Clients
) -> None:
    client = client_of(plant.people["operator"])
    text = client.get(reverse("copies-verifying")).content.decode()
    assert reverse("copies-verifier") in text and "compliant" not in text.lower()
    script = client.get(reverse("copies-verifier"))
    assert script["Content-Disposition"].endswith('"verify_copy.py"') and b"def verify(" in script.content


def test_a_digest_of_no_copy_is_no_page(
    plant: factories.SmallPlant, ready: Batch, client_of: Clients
) -> None:
    client = client_of(plant.people["supervisor"])
    assert client.get(reverse("batches-copy-digest", args=[ready.number, 1])).status_code == 404
    assert client.get(reverse("batches-copy", args=["B-4242"])).status_code == 404

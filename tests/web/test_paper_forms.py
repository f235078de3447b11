"""The pages of paper forms: issue, print, take up, enter through the usual pages, scan, sign, confirm."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.keeping.models import PaperForm
from regenplant.keeping.selectors import transcribed_acts
from regenplant.people.models import Person
from tests import factories

ClientOf = Callable[[Person], Client]
PNG = b"\x89PNG\r\n\x1a\n" + b"the picture of a form"


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today(hours=1.0)


@pytest.fixture
def batch(plant: factories.SmallPlant) -> Batch:
    return factories.frozen_batch(plant, "sac_h")


@pytest.fixture
def client(plant: factories.SmallPlant, client_of: ClientOf) -> Client:
    return client_of(plant.people["operator"])


def page_of(form: PaperForm, name: str = "form") -> str:
    return reverse(f"paper-forms-{name}", args=[form.number])


def issued(client: Client, **more: str) -> PaperForm:
    client.post(reverse("paper-forms-issue"), {"kind": "step_record", "count": "1", "batch": "", **more})
    return PaperForm.objects.order_by("-pk")[0]


def credentials(person: Person) -> dict[str, str]:
    return {"version": "", "username": person.username, "password": factories.PASSWORD}


def signing(client: Client, form: PaperForm, person: Person, **more: str) -> str:
    form.refresh_from_db()
    data = {**credentials(person), "version": str(form.version), **more}
    return client.post(page_of(form), data, follow=True).content.decode()


@pytest.mark.requirement("ER-30")
def test_a_form_goes_from_paper_into_the_record_by_two_people(
    plant: factories.SmallPlant, batch: Batch, client: Client, client_of: ClientOf
) -> None:
    form = issued(client, batch=batch.number)
    paper = client.get(reverse("paper-form", args=[form.number]))
    assert paper["Content-Type"] == "application/pdf" and paper.content.startswith(b"%PDF-")
    client.post(page_of(form, "take"), {"version": "2", "batch": batch.number})
    assert f"You transcribe paper form" in client.get("/floor/").content.decode()  # noqa: F541
    client.post(
        reverse("batches-deviation", args=[batch.number]),
        {"what": "The gauge stuck at 2 bar.", "severity": "minor", "version": str(batch.version)},
    )
    assert [line.event for line in transcribed_acts(form)] == ["deviation.opened"]
    client.post(page_of(form, "scan"), {"scan": SimpleUploadedFile("form.png", PNG)})
    scan = form.scans.get()
    shown = client.get(reverse("paper-forms-scan-file", args=[form.number, scan.pk]))
    assert shown.content == PNG and shown["Content-Type"] == "image/png"
    assert "is entered; another person confirms it next" in signing(client, form, plant.people["operator"])
    assert "You transcribe paper form" not in client.get("/floor/").content.decode()
    assert "another person confirms it" in client.get(page_of(form)).content.decode()
    assert "another person confirms" in signing(client, form, plant.people["operator"])
    second = client_of(plant.people["operator 2"])
    assert "is confirmed" in signing(second, form, plant.people["operator 2"])
    form.refresh_from_db()
    assert form.state == "confirmed" and form.confirmed_by == plant.people["operator 2"]


def test_a_pad_is_issued_printed_whole_and_found_by_its_code(client: Client) -> None:
    first = issued(client, kind="rinse_log", count="3")
    pad = PaperForm.objects.get(number=first.pad)
    paper = client.get(reverse("paper-form-pad", args=[pad.number]))
    assert paper.content.count(b"/Type /Page\n") == 3 or paper.content.startswith(b"%PDF-")
    assert set(PaperForm.objects.values_list("prints", flat=True)) == {1}
    assert client.get(f"/scan/?code={first.number}")["Location"] == page_of(first)
    assert first.number in client.get(reverse("paper-forms")).content.decode()


def test_a_wrong_file_or_batch_is_said_beside_its_field(batch: Batch, client: Client) -> None:
    answer = client.post(reverse("paper-forms-issue"), {"kind": "qc", "count": "1", "batch": "B-99999"})
    assert answer.status_code == 422 and "There is no batch B-99999" in answer.content.decode()
    form = issued(client, batch=batch.number)
    client.post(page_of(form, "take"), {"version": "1"})
    answer = client.post(page_of(form, "scan"), {"scan": SimpleUploadedFile("form.svg", b"<svg/>")})
    assert answer.status_code == 422 and "no PDF, PNG or JPEG" in answer.content.decode()


def test_stopping_ends_it_and_going_on_takes_it_up_again(batch: Batch, client: Client) -> None:
    form = issued(client, batch=batch.number)
    client.post(page_of(form, "take"), {"version": "1"})
    client.post(reverse("paper-forms-leave"))
    assert "You transcribe paper form" not in client.get("/floor/").content.decode()
    client.post(page_of(form, "go-on"))
    assert "You transcribe paper form" in client.get("/floor/").content.decode()


def test_a_difference_sends_it_back(
    plant: factories.SmallPlant, batch: Batch, client: Client, client_of: ClientOf
) -> None:
    form = issued(client, batch=batch.number)
    client.post(page_of(form, "take"), {"version": "1"})
    client.post(page_of(form, "scan"), {"scan": SimpleUploadedFile("form.png", PNG)})
    signing(client, form, plant.people["operator"], remarks="Nothing was written on it.")
    form.refresh_from_db()
    second = client_of(plant.people["supervisor"])
    second.post(page_of(form, "back"), {"version": str(form.version), "reason": "Line 3 reads 4.1, not 4.7."})
    assert "Line 3 reads 4.1, not 4.7." in client.get(page_of(form)).content.decode()


def test_a_lost_form_is_written_off_by_a_supervisor(
    plant: factories.SmallPlant, client: Client, client_of: ClientOf
) -> None:
    form = issued(client)
    data = {"version": "1", "state": "missing", "reason": "It blew into the waste pit."}
    assert client.post(page_of(form, "close"), data).status_code == 403
    client_of(plant.people["supervisor"]).post(page_of(form, "close"), data)
    form.refresh_from_db()
    assert form.state == "missing"
    assert client.post(page_of(form, "take"), {"version": str(form.version)}).status_code == 422
    assert "It blew into the waste pit." in client.get(reverse("paper-forms")).content.decode()

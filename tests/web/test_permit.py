"""The discharge permit through HTTP: copied from the paper by one, held against it and approved by another."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.plant.models import PermitVersion
from regenplant.plant.permit import permit_in_force
from tests.web.pages import errors_of, form_data, signing, text_of

pytestmark = pytest.mark.django_db
TYPED = {
    "number": "Demo sewer 7",
    "authority": "Town of Nowhere",
    "expires_on": "2035-06-30",
    "ph_low": "5.5",
    "chloride_kg_per_day": "550 lb",
    "reason": "Paper of 2026-01-12",
}


def test_a_permit_is_copied_by_one_and_approved_by_another(
    supervisor: Person, safety_lead: Person, operator: Person, client_of: Callable[[Person], Client]
) -> None:
    first, second = client_of(supervisor), client_of(safety_lead)
    page = text_of(first.get(reverse("setup-permit")))
    assert "No version is written yet" in page and "missing: number and last day." in page
    url = reverse("setup-permit-draft")
    sent = {**form_data(first.get(url).context["form"]), **TYPED}
    assert client_of(operator).post(url, sent).status_code == 403
    assert "Nothing below pH 5" in errors_of(first.post(url, sent | {"ph_low": "4.5"}))["ph_low"][0]
    assert not PermitVersion.objects.exists()
    assert first.post(url, sent).status_code == 302
    shown = text_of(second.get(reverse("setup-permit-version", args=[1])))
    assert "Window Lowest pH 6.00 5.50" in shown, shown[shown.find("Lowest") - 80 :][:600]
    assert second.post(reverse("setup-permit-approve", args=[1]), signing(safety_lead)).status_code == 302
    content = permit_in_force(timezone.now()).content
    assert content.budget_kg() == {"chloride": pytest.approx(249.476, abs=1e-3)}  # 550 lb of 0.45359237 kg
    assert "Version 1 holds" in text_of(client_of(operator).get(reverse("setup-permit")))
    assert "Discharge permit" in text_of(first.get(reverse("setup")))


def test_a_draft_is_sent_back_and_its_writer_approves_nothing(
    supervisor: Person, safety_lead: Person, client_of: Callable[[Person], Client]
) -> None:
    first = client_of(supervisor)
    url = reverse("setup-permit-draft")
    assert first.post(url, {**form_data(first.get(url).context["form"]), **TYPED}).status_code == 302
    assert first.post(reverse("setup-permit-approve", args=[1]), signing(supervisor)).status_code == 403
    why = {"reason": "The number is another one"}
    assert client_of(safety_lead).post(reverse("setup-permit-withdraw", args=[1]), why).status_code == 302
    assert PermitVersion.objects.get().state == "withdrawn"

"""The class table of drains through HTTP: made stricter by one, approved by another, in force for the page of the routes."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.people.models import Person
from regenplant.plant.models import DrainTableVersion
from tests.web.pages import form_data, signing, text_of

pytestmark = pytest.mark.django_db


@pytest.mark.requirement("EV-01")
def test_it_is_made_stricter_by_one_and_approved_by_another(
    supervisor: Person, safety_lead: Person, operator: Person, client_of: Callable[[Person], Client]
) -> None:
    first, second = client_of(supervisor), client_of(safety_lead)
    assert "this plant has written none of its own" in text_of(first.get(reverse("setup-drains")))
    url = reverse("setup-drains-draft")
    form = first.get(url).context["form"]
    assert form["d_brine"].value() == ["neutralization", "brine_sewer", "reclaim"]
    assert "e_water" not in form.fields, "suspect resin drains nowhere; nothing can be ticked for it"
    typed = {
        **form_data(form),
        "d_brine": ["neutralization", "reclaim"],
        "reason": "Letter of the sewer office",
    }
    assert client_of(operator).post(url, typed).status_code == 403
    wider = first.post(url, typed | {"d_regenerant": ["neutralization", "brine_sewer"]})
    assert wider.status_code == 422 and not DrainTableVersion.objects.exists()
    assert first.post(url, typed).status_code == 302
    assert first.post(reverse("setup-drains-approve", args=[1]), signing(supervisor)).status_code == 403
    shown = text_of(second.get(reverse("setup-drains-version", args=[1])))
    assert "brine to the sewer" in shown and "Letter of the sewer office" in shown
    assert second.post(reverse("setup-drains-approve", args=[1]), signing(safety_lead)).status_code == 302
    assert "Version 1 holds" in text_of(first.get(reverse("setup-drains")))
    routes = text_of(client_of(operator).get(reverse("waste-routes")))
    assert "The table is version 1 of this plant" in routes
    assert "What may drain where" in text_of(first.get(reverse("setup")))

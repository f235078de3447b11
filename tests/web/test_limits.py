"""The plant's limits through HTTP: drafted by one, looked at, approved by another."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.plant.limits import limits_in_force
from regenplant.plant.models import LimitsVersion
from tests import factories
from tests.web.pages import form_data, signing, text_of

pytestmark = pytest.mark.django_db


def test_a_draft_changes_one_figure_and_another_person_approves_it(
    supervisor: Person, operator: Person, client_of: Callable[[Person], Client]
) -> None:
    other = factories.person(Role.SUPERVISOR)
    first, second = client_of(supervisor), client_of(other)
    assert "none of them was confirmed by this plant" in text_of(first.get(reverse("setup-limits")))
    url = reverse("setup-limits-draft")
    sent = {
        **form_data(first.get(url).context["form"]),
        "caustic_strength_max_frac": "8 %",
        "reason": "Softer seals",
    }
    assert client_of(operator).post(url, sent).status_code == 403
    assert first.post(url, sent).status_code == 302
    version = LimitsVersion.objects.get()
    page = text_of(second.get(reverse("setup-limits-version", args=[1])))
    assert "Strongest caustic at the bed 10" in page and page.count("Strongest hydrochloric") == 1
    assert first.post(reverse("setup-limits-approve", args=[1]), {}).status_code == 403
    assert second.post(reverse("setup-limits-approve", args=[1]), {}).status_code == 422
    assert second.post(reverse("setup-limits-approve", args=[1]), signing(other)).status_code == 302
    version.refresh_from_db()
    assert version.state == "approved"
    assert limits_in_force(timezone.now()).caustic_strength_max_frac == pytest.approx(0.08)
    shown = text_of(first.get(reverse("setup-limits-version", args=[1])))
    assert f"Approved by {other.full_name}, supervisor" in shown
    assert "Meaning approval of the plant limits version 1" in shown
    assert "Version 1 holds" in text_of(client_of(operator).get(reverse("setup-limits")))


def test_a_draft_is_sent_back(supervisor: Person, client_of: Callable[[Person], Client]) -> None:
    client = client_of(supervisor)
    url = reverse("setup-limits-draft")
    sent = {
        **form_data(client.get(url).context["form"]),
        "velocity_ratio_warn": "1.6",
        "reason": "From own beds",
    }
    assert client.post(url, sent).status_code == 302
    other = client_of(factories.person(Role.SAFETY_LEAD))
    assert (
        other.post(
            reverse("setup-limits-withdraw", args=[1]), {"reason": "Not shown by any figures"}
        ).status_code
        == 302
    )
    assert LimitsVersion.objects.get().state == "withdrawn"

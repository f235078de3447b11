"""The acts tell every state a record ever had: before and after of each, played from the beginning."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.audit.models import AuditEvent
from regenplant.core.errors import DomainError
from regenplant.plant import services
from regenplant.plant.models import Vessel
from regenplant.plant.services.vessels import VesselSettings
from tests import factories

pytestmark = pytest.mark.django_db

PLAIN = VesselSettings(
    code="C9", name="Vessel C9", internal_diameter_m=0.7, straight_height_m=3.2, bed_volume_min_m3=0.2, bed_volume_max_m3=0.45,
    families=("sac_h",), segregation_classes=("D",),
)  # fmt: skip
CHANGES = st.fixed_dictionaries(
    {},
    optional={
        "name": st.sampled_from(("Vessel C9", "North vessel", "x", "Vessel 0")),
        "internal_diameter_m": st.sampled_from((0.7, 0.71, 0.05, 1.2)),
        "bed_volume_max_m3": st.sampled_from((0.45, 0.1, 0.6)),
        "families": st.sampled_from((("sac_h",), ("sac_h", "sac_na"), ())),
        "segregation_classes": st.sampled_from((("D",), ("C", "D"))),
    },
)


def state_of(vessel: Vessel) -> dict[str, Any]:
    names = asdict(PLAIN).keys() - {"code"}
    found = {name: getattr(Vessel.objects.get(pk=vessel.pk), name) for name in names}
    return json.loads(json.dumps(found))


@pytest.mark.requirement("ER-09")
@given(edits=st.lists(CHANGES, min_size=1, max_size=8))
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_any_sequence_of_edits_can_be_played_again_from_the_acts(edits: list[dict[str, Any]]) -> None:
    with transaction.atomic():
        by = factories.By(factories.person(factories.Role.SUPERVISOR), factories.START, "tests")
        vessel = services.save_vessel(by=by, vessel=PLAIN).result
        states, wanted = [state_of(vessel)], PLAIN
        for edit in edits:
            try:
                version = Vessel.objects.get(pk=vessel.pk).version
                services.save_vessel(by=by, vessel=replace(wanted, **edit), version=version)
            except DomainError:
                assert state_of(vessel) == states[-1]  # refused: nothing moved
                continue
            wanted = replace(wanted, **edit)
            states.append(state_of(vessel))
        acts = AuditEvent.objects.filter(event="vessel.saved", subject_label="C9").order_by("number")
        told = [json.loads(payload)["facts"] for payload in acts.values_list("payload", flat=True)]
        assert len(told) == len(states)
        played = [states[0]]
        for facts in told[1:]:
            assert {name: played[-1][name] for name in facts["before"]} == facts["before"]
            played.append(played[-1] | facts["after"])
        assert played == states
        back = [states[-1]]
        for facts in reversed(told[1:]):
            back.append(back[-1] | facts["before"])
        assert back[::-1] == states
        transaction.set_rollback(True)

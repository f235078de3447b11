"""What a signature covers: every figure with its unit, limits, versions, the tank list; one digit of it changed is found."""

from __future__ import annotations

import json
from typing import Any

import pytest

from regenplant.people.models import Signature
from regenplant.people.signing import holds
from regenplant.quality.models import QcDecision, Release
from tests import factories, families
from tests.factories import SmallPlant


@pytest.fixture
def released(plant: SmallPlant) -> Release:
    batch = factories.frozen_batch(plant, "sac_h")
    families.to_release(plant, batch)
    return Release.objects.get(batch=batch)


def numbers_in(value: Any) -> list[float]:
    """Every number of a content, wherever it stands."""
    if isinstance(value, dict):
        return [number for item in value.values() for number in numbers_in(item)]
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    return [value] if isinstance(value, (int, float)) and not isinstance(value, bool) else []


@pytest.mark.requirement("ER-02")
def test_a_decision_covers_units_limits_versions_readings_and_the_tank_list(released: Release) -> None:
    batch = released.batch
    decision = QcDecision.objects.get(batch=batch)
    content = json.loads(decision.signature.content)
    assert content["batch"] == batch.number and content["plan_digest"] == batch.plan_digest
    assert content["recipe"]["version"] == batch.recipe_version.number
    assert content["recipe"]["digest"] == batch.recipe_version.digest
    assert content["specification"]["version"] == batch.specification_version.number
    assert content["resin_volume"] == {
        "value": batch.resin_volume_m3, "unit": "m^3", "form": batch.resin_volume_form,
    }  # fmt: skip
    tanks = [link.visit.tank.serial for link in batch.tank_links.select_related("visit__tank")]
    assert [tank["serial"] for tank in content["tanks"]] == tanks and len(tanks) == 3
    limits = content["specification_content"]["limits"]
    assert limits and all(limit["kind"] and ("low" in limit or "high" in limit) for limit in limits)
    readings = [row.value_as_typed for row in batch.readings.all()]
    assert [reading["as_typed"].split(" ")[0] for reading in content["readings"]] == readings


@pytest.mark.requirement("ER-02")
def test_one_digit_of_any_number_changed_no_longer_fits_the_signature(released: Release) -> None:
    """On the copy in memory: the row itself is frozen."""
    for signature in (released.signature, QcDecision.objects.get(batch=released.batch).signature):
        assert holds(signature)
        digits = [index for index, letter in enumerate(signature.content) if letter.isdigit()]
        assert len(digits) > 100 and numbers_in(json.loads(signature.content))
        for index in digits[:: max(1, len(digits) // 40)]:
            altered = "1" if signature.content[index] == "0" else "0"
            content = signature.content[:index] + altered + signature.content[index + 1 :]
            if content != signature.content:
                assert not holds(Signature(**values_of(signature) | {"content": content})), index


@pytest.mark.requirement("ER-03")
def test_a_signature_says_which_version_of_which_record_it_is_about(released: Release) -> None:
    signature = released.signature
    for change in (
        {"record_key": "B-99999"}, {"record_kind": "qc_decision"}, {"record_version": signature.record_version + 1},
    ):  # fmt: skip
        assert not holds(Signature(**values_of(signature) | change)), change


def values_of(signature: Signature) -> dict[str, Any]:
    return {field.attname: getattr(signature, field.attname) for field in Signature._meta.concrete_fields}

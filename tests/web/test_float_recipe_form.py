"""A float separation put into a recipe by the form: its fields, its refusals, and the version that comes out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.people.models import Person
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import recipe_definition
from tests import factories, families
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db
ENDS = ("target", "low", "high")
POINTS = {
    "strength_frac": ("24 %", "22 %", "25 %"), "volume_bv": ("1.2 BV", "1.1 BV", "1.5 BV"),
    "flow_bv_per_h": ("2 BV/h", "1 BV/h", "3 BV/h"), "temperature_kelvin": ("18 degC", "10 degC", "40 degC"),
    "contact_time_s": ("60 min", "45 min", "120 min"),
}  # fmt: skip
DOWNWARD = {"flow_bv_per_h": ("2 BV/h", "1 BV/h", "3 BV/h"), "volume_bv": ("2 BV", "1.8 BV", "3 BV")}


@pytest.fixture
def plant(db: None) -> SmallPlant:
    found = factories.small_plant(now=factories.hours_ago(2))
    factories.approved_recipe(found, families.default_recipe("MB-APART-110"))
    return found


def _points(index: int, points: dict[str, tuple[str, str, str]]) -> dict[str, str]:
    return {
        f"s{index}_{key}_{end}": text
        for key, values in points.items()
        for end, text in zip(ENDS, values, strict=True)
    }


def test_a_float_separation_is_put_in_and_refused_until_it_is_displaced(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    client, url = client_of(plant.people["supervisor"]), reverse("setup-recipe-draft", args=["MB-APART-110"])

    offered: set[str] = set()

    def put_in(data: dict[str, Any], kind: str, after: int) -> dict[str, Any]:
        answer = client.post(url, data | {"act": "put_in", "put_in": kind, "put_in_after": str(after)})
        assert answer.status_code == 200
        offered.update(answer.context["form"].fields)
        return form_data(answer.context["form"])

    data = form_data(client.get(url).context["form"]) | {"reason": "The resins part badly in water"}
    data = put_in(data, "float", 6)
    assert {"s6_chemical", "s6_water", "s6_leg"} <= offered and "s6_is_safe_hold_after" not in offered
    data |= {
        "s6_name": "Float in brine",
        "s6_chemical": "nacl",
        "s6_water": "deionized",
        "s6_leg": "whole",
        **_points(6, POINTS),
    }
    refused = client.post(url, data)
    assert refused.status_code == 422
    assert "chemical never stays in the bed" in str(errors_of(refused)), errors_of(refused)
    for kind, at in (("displace", 7), ("rinse", 8)):
        data = put_in(data, kind, at) | {
            f"s{at}_name": f"{kind} downward", f"s{at}_water": "deionized", f"s{at}_leg": "whole", **_points(at, DOWNWARD)
        }  # fmt: skip
    assert client.post(url, data).status_code == 302
    version = RecipeVersion.objects.get(recipe__code="MB-APART-110", number=2)
    step = recipe_definition(version).steps[6]
    assert (step.kind.value, step.chemical, step.is_safe_hold_after) == ("float", "nacl", False)
    assert (step.settings["contact_time_s"].target, step.settings["volume_bv"].target) == (3600.0, 1.2)
    assert "Float in brine" in text_of(client.get(reverse("setup-recipe", args=["MB-APART-110"])))

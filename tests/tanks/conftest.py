"""A plant with people, types, a size and a customer, and tanks at the dock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from regenplant.tanks import services
from regenplant.tanks.models import Tank, TankVisit
from tests import factories
from tests.factories import SmallPlant


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.tank_plant()


@pytest.fixture
def make_tank(plant: SmallPlant) -> Callable[..., Tank]:
    """``make_tank(segregation_class="C")``: a registered tank that is away."""

    def make(*, family: str = "sac_h", segregation_class: str = "D", **given: Any) -> Tank:
        assert plant.size is not None and plant.customer is not None
        if segregation_class == "A":
            given.setdefault("dedicated_to_id", plant.customer.pk)
        return services.add_tank(
            by=plant.by("planner"),
            size_id=plant.size.pk,
            resin_type_id=plant.types[family].pk,
            segregation_class=segregation_class,
            **given,
        ).result

    return make


@pytest.fixture
def at_dock(plant: SmallPlant, make_tank: Callable[..., Tank]) -> Callable[..., TankVisit]:
    """``at_dock(words="slow")``: a received tank's visit; ``look=True`` also writes a look-over that stops nothing."""

    def make(
        *, tank: Tank | None = None, customer: Any = None, words: str = "", look: bool = False, **given: Any
    ) -> TankVisit:
        found = tank or make_tank(**given)
        visit = services.receive_tank(
            by=plant.by(),
            tank_id=found.pk,
            customer_id=(customer or plant.customer).pk,
            return_reason="exhausted",
            customer_words=words,
        ).result
        if look:
            services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
        return fresh(visit)

    return make


def fresh(visit: TankVisit) -> TankVisit:
    """The visit as it stands in the database."""
    return TankVisit.objects.select_related("tank", "customer").get(pk=visit.pk)


def seen(**changed: Any) -> Any:
    """A look-over that stops nothing, but for what is changed."""
    return replace(factories.SOUND_LOOK, **changed)

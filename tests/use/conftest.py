from __future__ import annotations

import pytest

from tests import factories


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))

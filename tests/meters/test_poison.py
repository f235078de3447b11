"""Messages made to end the listener: each is refused with its reason and takes no other with it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.utils import timezone

from regenplant.batches.models import Batch, MeterLog
from regenplant.web.api.listening import handing_on
from regenplant.web.api.listening.spool import opened
from tests.api.meters import Meter, falling, message, reading
from tests.factories import SmallPlant
from tests.meters.conftest import TOPIC

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "flaw",
    [
        '"value": 1e99999999999999999999',
        '"value": "1", "unit": "\\ud800"',
        '"value": "1", "unit": "\\u0000"',
        f'"value": {"9" * 5000}',
        '"value": "1", "temperature_c": 1e99999999999999999999',
        '"value": "1", "totalizer_l": 1e99999999999999999999',
        '"value": "1", "at": "9999-12-31T23:59:59-23:59"',
        '"value": "1", "\\ud800": 1',
        '"value": "0", "unit": "Mohm cm"',
        '"value": "1e-320", "unit": "Mohm cm"',
    ],
)
def test_a_poisoned_message_is_refused_alone(
    plant: SmallPlant, batch: Batch, meter: Meter, tmp_path: Path, flaw: str
) -> None:
    good = {key: json.dumps(value) for key, value in reading(plant.now).items() if f'"{key}"' not in flaw}
    body = ", ".join((*(f'"{key}": {value}' for key, value in good.items()), flaw))
    with opened(tmp_path) as own:
        own.put(TOPIC, f'{{"readings": [{{{body}}}]}}'.encode(), timezone.now())
        own.put(TOPIC, json.dumps(message(falling(plant.now, 5))).encode(), timezone.now())
        own.keep()
        counts = handing_on.hand_on(own)
        assert (counts.refused, counts.kept, own.count_waiting()) == (1, 5, 0)
        (told,) = own.refused()
        assert told.code and told.why
    assert MeterLog.objects.get().count == 5

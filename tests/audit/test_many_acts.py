"""Very many acts: the record still verifies in a minute, and a history still opens at once."""

from __future__ import annotations

import time

import pytest

from regenplant.audit.selectors import story
from tests.audit.many_acts import HOT, make_acts, measure

ALLOWED_S = 60.0
TIMES_AS_LONG = 5.0
HISTORY_S = 0.3


@pytest.mark.django_db(transaction=True)
def test_acts_written_in_bulk_hold_as_if_the_recorder_had_written_them() -> None:
    make_acts(3 * HOT)
    figures = measure()
    assert (figures.acts, figures.findings) == (3 * HOT, 0)


@pytest.mark.long
@pytest.mark.django_db(transaction=True)
def test_a_million_acts_verify_within_a_minute(capsys: pytest.CaptureFixture[str]) -> None:
    """Everything in a minute. All bytes read and every digest worked out again in five times what hashing the same bytes takes that lie
    in memory; that each of the thirteen columns beside them says the same as the act, in five times that."""
    make_acts(1_000_000)
    figures = measure()
    since = time.monotonic()
    assert len(story([("batch", "B-12000")])) > 100
    history_s = time.monotonic() - since
    with capsys.disabled():
        print(f"\n{figures}; a history {1000 * history_s:.0f} ms")
    assert figures.findings == 0
    assert figures.whole_s <= ALLOWED_S
    assert figures.reading_s <= TIMES_AS_LONG * figures.hashing_s
    assert figures.chain_s <= TIMES_AS_LONG * figures.reading_s
    assert history_s <= HISTORY_S

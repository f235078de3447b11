"""Two typings of a critical value that differed: nothing is kept of the value, but that it happened is written down."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.batches.services._subject import batch_subject

TYPED_DIFFERENTLY = "typed_differently"
"""Code of the refusal."""


@use_case("entry.typed_differently", permission="entry.record")
def note_mismatch(*, by: By, batch_id: int, sentence: str) -> Outcome:
    """Write down that a critical value was typed twice and differently. ``sentence`` is what the person was told.

    Called after the refused act, which left no trace itself: a reviewer sees where the keys were missed.
    """
    batch = Batch.objects.get(pk=batch_id)
    return Outcome(subject=batch_subject(batch), facts={"sentence": sentence})


say("entry.typed_differently", "{subject}: {sentence}")

"""Who is free to judge and to release a batch: nobody judges what they performed, nobody releases what they took part in."""

from __future__ import annotations

from regenplant.batches.models import Batch
from regenplant.people.models import Person
from regenplant.people.selectors import people_who_may
from regenplant.quality.selectors import participants


def who_may_judge(batch: Batch) -> list[Person]:
    """People with the right to judge who did not work on the bed."""
    worked = batch.steps.values_list("started_by_id", "finished_by_id")
    performers = {pk for pair in worked for pk in pair if pk is not None}
    return people_who_may("qc.judge", segregation_class=batch.segregation_class, except_pks=performers)


def who_may_release(batch: Batch) -> list[Person]:
    """People with the right to release who took no part."""
    return people_who_may(
        "batch.release", segregation_class=batch.segregation_class, except_pks=participants(batch)
    )

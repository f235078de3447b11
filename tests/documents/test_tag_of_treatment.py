"""What the tag of a released tank says was done to its resin: a cleaned or new resin was not only regenerated."""

from __future__ import annotations

import pytest

from regenplant.documents.issue import Issue
from regenplant.documents.selectors import batch_tag_contents
from tests import families

ISSUE = Issue(1, "2026-03-02 08:00+00:00", "Operator 1", 7, "0" * 64, 1)
WORDS = {
    "conditioning": "New resin, conditioned, passed by QC and released.",
    "sanitizing": "Sanitized and regenerated, passed by QC and released.",
    "organic cleaning": "Cleaned and regenerated, passed by QC and released.",
    "weak acid": "Regenerated, passed by QC and released.",
}


@pytest.mark.parametrize("way", WORDS)
def test_the_tag_names_what_was_done(db, way):
    plant = families.whole_plant()
    batch = families.to_release(plant, families.frozen(plant, way))
    tags = batch_tag_contents(batch.number, ISSUE)
    assert len(tags) == 3
    assert {tag.state_words for tag in tags} == {WORDS[way]}

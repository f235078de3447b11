"""The listing of near misses."""

from __future__ import annotations

import django_tables2 as tables
from django.utils import timezone

from regenplant.safety.models import NearMiss
from regenplant.web.presenters.safety import standing_words
from regenplant.web.tables.columns import (
    CodeColumn,
    HouseColumn,
    LocalTimeColumn,
    PersonColumn,
    SentenceColumn,
)
from regenplant.web.tables.export import FORMATS


class NearMissTable(tables.Table):
    caption = ""
    noun, nouns = "near miss", "near misses"
    exports = FORMATS

    number = CodeColumn(linkify=("safety-near-miss", [tables.A("number")]), verbose_name="Number")
    happened_at = LocalTimeColumn(verbose_name="Happened")
    kind = HouseColumn(verbose_name="Kind")
    spot = HouseColumn(verbose_name="Where", wide_only=True)
    what = SentenceColumn(verbose_name="What")
    about = HouseColumn(verbose_name="Code", visible=False)
    done_at_once = HouseColumn(verbose_name="Done at once", visible=False)
    reported_by = PersonColumn(accessor="reported_by__full_name", verbose_name="Reported by", wide_only=True)
    told_by = HouseColumn(verbose_name="Seen by", visible=False)
    cause = HouseColumn(verbose_name="Cause", visible=False)
    follow_up = HouseColumn(verbose_name="To be done", visible=False)
    closing_words = HouseColumn(verbose_name="What was done", visible=False)
    standing = HouseColumn(empty_values=(), orderable=False, verbose_name="Stands")

    class Meta:
        model = NearMiss
        fields = ()
        empty_text = "No near miss was reported yet. Whoever sees one reports it; no right is needed."

    def render_standing(self, record: NearMiss) -> str:
        return standing_words(record, timezone.localdate())

    def value_standing(self, record: NearMiss) -> str:
        return standing_words(record, timezone.localdate())

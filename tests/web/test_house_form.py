"""What every form shares: the reader's units, nothing rounded by looking, messages in the house's voice."""

from __future__ import annotations

from typing import Any

import pytest
from django.http import QueryDict
from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st

from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, moment_field, posted, words_field


class Sample(HouseForm):
    height = QuantityField("length", label="Height", required=False)
    name = words_field(5, label="Name", required=False)
    day = day_field(label="Day", required=False)
    at = moment_field(label="At", required=False)


def sent(initial: float | None = None, system: str = "metric", **data: str) -> Sample:
    given_ = QueryDict(mutable=True)
    given_.update(data)
    form = Sample(given_, initial={"height": initial}, system=system)
    form.is_valid()
    return form


@given(st.floats(0.001, 99.0), st.sampled_from(["metric", "us"]))
def test_what_is_shown_and_left_alone_keeps_its_stored_value(stored: float, system: str) -> None:
    shown = Sample(initial={"height": stored}, system=system)["height"].value()
    assert isinstance(shown, str)
    assert sent(stored, system, height=shown).quantity("height") == stored


def test_what_is_typed_anew_is_read_in_the_readers_units() -> None:
    assert sent(1.0, height="2").needed_quantity("height") == 2.0
    assert sent(1.0, "us", height="100").needed_quantity("height") == pytest.approx(2.54)
    assert sent(1.0, height="").quantity("height") is None


def test_asking_for_a_number_that_is_not_there_is_a_defect() -> None:
    with pytest.raises(KeyError):
        sent(height="").needed_quantity("height")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"name": "too long"}, "8 characters are written, at most 5."),
        ({"day": "11.3.2026"}, "This is no day. Write it as 2026-03-11."),
        ({"at": "noon"}, "This is no day and time. Write it as 2026-03-11 14:05."),
        ({"version": "x"}, "This is no whole number. Write for example 7."),
    ],
)
def test_messages_are_in_the_voice_of_the_house(data: dict[str, Any], words: str) -> None:
    (sentences,) = sent(**data).errors.values()
    assert list(sentences) == [words]


def test_an_empty_answer_is_an_answer() -> None:
    assert posted(RequestFactory().get("/")) is None
    assert posted(RequestFactory().post("/")) is not None

"""Logs of meters through HTTP: looked at first, taken in by a second press, named line by line where they cannot be read, set aside."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from regenplant.batches import points
from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.points import points_of
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality.to_sign import pass_digest
from regenplant.web.presenters.words import short_digest
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(8))


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    """An anion batch (limit 10 µS/cm) that has been in its fast rinse for a while."""
    return factories.rinsing_batch(plant)


@pytest.fixture
def as_operator(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["operator"])


def url(batch: Batch, name: str = "rinse-log", *more: object) -> str:
    return reverse(name, args=[batch.number, *more])


def csv(start: datetime, count: int = 60, *, every_s: float = 60.0, lines: tuple[str, ...] = ()) -> str:
    """A falling rinse, 406 to 6 µS/cm, with lines of your own under it."""
    rows = [
        f"{(start + timedelta(seconds=every_s * i)).isoformat()};{400 * 0.8**i + 6 + i * 1e-3:.3f};{25 + i % 3 / 10:.1f}"
        for i in range(count)
    ]
    return "\n".join(("time;conductivity (µS/cm);temperature (°C)", *rows, *lines))


def begun(batch: Batch) -> datetime:
    found = batch.steps.get(kind=StepKind.FAST_RINSE.value).started_at
    assert found is not None
    return found


def handed(
    plant: SmallPlant, text: str, *, pasted: bool = False, code: str = "CELL", **more: Any
) -> dict[str, Any]:
    cell = str(plant.instruments[code].pk)
    if pasted:
        return {"instrument": cell, "pasted": text, **more}
    return {"instrument": cell, "file": SimpleUploadedFile("rinse 7.csv", text.encode(), "text/csv"), **more}


def kept_in(page: str) -> str:
    found = re.search(r'<textarea name="kept"[^>]*>([^<]+)</textarea>', page)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("pasted", [False, True])
def test_a_log_is_looked_at_and_then_taken_in(
    plant: SmallPlant, rinsing: Batch, as_operator: Client, pasted: bool
) -> None:
    seen = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing)), pasted=pasted)))
    assert not MeterLog.objects.exists()
    assert "60 new of 60" in seen and "Take these readings in" in seen and "Count for the end point" in seen
    taken = as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)}, follow=True)
    row = MeterLog.objects.get()
    assert (row.count, row.source, row.name) == (
        60,
        "paste" if pasted else "file",
        "" if pasted else "rinse 7.csv",
    )
    page = text_of(taken)
    assert (
        "60 readings of" in page and "Logs of meters" in page and plant.people["operator"].full_name in page
    )
    assert row.received_text == csv(begun(rinsing)) and len(points_of(rinsing)) == 60


def test_what_is_handed_in_twice_is_said_and_refused(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    for _ in range(2):
        seen = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing), 40))))
        as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)})
        assert MeterLog.objects.count() == 1
        if "kept already" in seen:
            break
        more = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing), 60))))
        assert "20 new of 60" in more and "40 readings, left out: nothing counts twice" in more
        refused = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing), 40))), 422)
        assert "Nothing of it is new" in refused and "40 are kept already" in refused
        again = text_of(as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)}), 422)
        assert "Nothing of it is new" in again
        break


def test_other_readings_of_one_minute_are_not_called_kept_already(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    """Two readings a minute, written without seconds: the second of each minute is another reading, not the first again."""
    start = begun(rinsing).replace(second=0, microsecond=0) + timedelta(minutes=1)
    rows = [
        f"{(start + timedelta(minutes=i // 2)).isoformat(timespec='minutes')};{400 * 0.9**i + 6:.3f};25"
        for i in range(24)
    ]
    text = "\n".join(("time;conductivity (µS/cm);temperature (°C)", *rows, rows[0]))
    seen = text_of(as_operator.post(url(rinsing), handed(plant, text)))
    assert "12 new of 25" in seen
    assert "12 readings, left out: another figure stands for the same moment already." in seen
    assert "1 reading, left out: nothing counts twice" in seen
    as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)})
    refused = text_of(as_operator.post(url(rinsing), handed(plant, text)), 422)
    assert "13 are kept already and 12 show another figure for a moment that is kept already." in refused
    log = MeterLog.objects.get()
    assert "13 of a moment kept already" in text_of(as_operator.get(url(rinsing, "rinse-log-page", log.pk)))


def test_a_line_that_cannot_be_read_is_named_and_nothing_is_taken(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    text = csv(begun(rinsing), lines=("2026-03-01 14:00:00;OL;25",))
    page = text_of(as_operator.post(url(rinsing), handed(plant, text)), 422)
    assert "Line 62: “OL” in “conductivity (µS/cm)” is no number. Allowed is a number such as 8.42." in page
    assert "Nothing was taken in" in page and not MeterLog.objects.exists()


@pytest.mark.parametrize(
    "sent, words",
    [
        ({}, "Choose the logger’s file, or paste what it wrote"),
        ({"pasted": "nothing of use"}, "No heading is found; it begins “nothing of use”"),
        ({"pasted": "time (s);conductivity (uS/cm);temperature (C)\n1;9;25"}, "counts from a start"),
    ],
)
def test_what_is_no_log_is_refused_with_what_is_allowed(
    plant: SmallPlant, rinsing: Batch, as_operator: Client, sent: dict[str, str], words: str
) -> None:
    data = {"instrument": str(plant.instruments["CELL"].pk), **sent}
    assert words in text_of(as_operator.post(url(rinsing), data), 422)


def test_a_few_typed_lines_are_sent_to_the_hand_entry(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    seen = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing), 3), pasted=True)))
    refused = text_of(as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)}), 422)
    assert "3 readings; a log holds at least 10. Write fewer down by hand" in refused


def test_a_file_and_a_paste_at_once_are_refused(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    data = handed(plant, csv(begun(rinsing)), pasted=False)
    page = text_of(as_operator.post(url(rinsing), {**data, "pasted": "time"}), 422)
    assert "Hand in one of them" in page


def test_what_was_shown_cannot_be_altered_or_taken_into_another_batch(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    kept = kept_in(text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing))))))
    assert as_operator.post(url(rinsing), {"act": "take", "kept": f"x{kept}"}).status_code == 422
    other = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, other, StepKind.FAST_RINSE)
    assert as_operator.post(url(other), {"act": "take", "kept": kept}).status_code == 422
    assert not MeterLog.objects.exists()


def test_what_does_not_count_is_told_before_it_is_taken_in(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    start = begun(rinsing)
    odd = f"{(start + timedelta(minutes=70)).isoformat()};-0.3;25.0"
    page = text_of(as_operator.post(url(rinsing), handed(plant, csv(start, lines=(odd,)))))
    assert "shows −0.3 µS/cm; water is above zero" in page and "60 of 61" in page


@pytest.mark.requirement("ER-20")
def test_the_log_of_an_overdue_cell_says_so_before_it_is_taken_in(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    page = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing)), code="OLD-CELL")))
    assert "it was out of calibration" in page and "0 of 60" in page


def test_a_log_is_set_aside_with_a_reason_and_stays_readable(
    plant: SmallPlant, rinsing: Batch, as_operator: Client
) -> None:
    seen = text_of(as_operator.post(url(rinsing), handed(plant, csv(begun(rinsing)))))
    as_operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)})
    log = MeterLog.objects.get()
    short = as_operator.post(
        url(rinsing, "rinse-log-aside", log.pk), {"category": "instrument", "reason": "air"}
    )
    assert "The reason is too short" in text_of(short, 422)
    done = as_operator.post(
        url(rinsing, "rinse-log-aside", log.pk),
        {"category": "instrument", "reason": "The cell hung in air all the time."},
        follow=True,
    )
    page = text_of(done)
    assert "Set aside, all of it" in page and "time;conductivity (µS/cm)" in page
    assert len(points_of(rinsing)) == 0 and "Set aside, all of it" in text_of(
        as_operator.get(url(rinsing, "rinse"))
    )


def test_a_planner_looks_and_hands_nothing_in(plant: SmallPlant, rinsing: Batch, client_of) -> None:  # type: ignore[no-untyped-def]
    client = client_of(plant.people["planner"])
    assert client.get(url(rinsing)).status_code == 200
    assert client.post(url(rinsing), handed(plant, csv(begun(rinsing)))).status_code == 403


def test_a_batch_that_is_judged_takes_no_log(plant: SmallPlant, as_operator: Client) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    page = text_of(as_operator.get(url(batch)))
    assert "Logs are taken in from the final rinse until the batch is judged" in page
    seen = as_operator.post(url(batch), handed(plant, csv(begun(batch))))
    taken = as_operator.post(url(batch), {"act": "take", "kept": kept_in(text_of(seen))})
    assert "until the batch is judged" in text_of(taken, 422) and not MeterLog.objects.exists()


def test_the_decision_page_reads_a_log_once_and_shows_what_would_be_signed(
    plant: SmallPlant, rinsing: Batch, client_of, monkeypatch: pytest.MonkeyPatch
) -> None:  # type: ignore[no-untyped-def]
    """What a log holds is long: the verdict, what was unusual and the digest that a pass would carry come from one reading of it."""
    operator, text = client_of(plant.people["operator"]), csv(begun(rinsing), 240, every_s=10.0)
    seen = text_of(operator.post(url(rinsing), handed(plant, text)))
    operator.post(url(rinsing), {"act": "take", "kept": kept_in(seen)})
    factories.run_to(plant, rinsing, StepKind.SAMPLE, finish=True)
    rinsing.refresh_from_db()
    judge, read, whole = client_of(plant.people["qc"]), [], points.unpacked
    judge.get(url(rinsing, "qc-decision"))

    def counted(log: MeterLog) -> object:
        read.append(log.pk)
        return whole(log)

    monkeypatch.setattr(points, "unpacked", counted)
    page = text_of(judge.get(url(rinsing, "qc-decision")))
    assert read == list(MeterLog.objects.filter(batch=rinsing).values_list("pk", flat=True)) != []
    assert short_digest(pass_digest(Batch.objects.get(pk=rinsing.pk))) in page

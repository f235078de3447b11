"""The instrument register through HTTP: calibrations with points, out of service, due dates that bite, what rests on one."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import Calibration, ImpactLook, Instrument, OutOfService
from regenplant.plant.selectors import profile
from regenplant.shifts.live import live_state
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db
CALIBRATION = reverse("setup-instrument-calibration", args=["CELL"])


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


def typed(client: Client, url: str = CALIBRATION, **changes: str) -> dict[str, str]:
    """The form as shown, filled with one point that was found and left within."""
    today = timezone.localdate()
    data = form_data(client.get(url).context["form"])
    return data | {
        "calibrated_on": str(today),
        "due_on": str(today + timedelta(days=180)),
        "reference_kind": "solution",
        "reference": "84 µS/cm at 25 °C",
        "certificate": "INV-1",
        "reference_expires_on": str(today + timedelta(days=60)),
        "reference_1": "84 µS/cm",
        "found_1": "83.5 µS/cm",
    } | changes  # fmt: skip


def due_in(plant: SmallPlant, days: int, code: str = "CELL") -> None:
    today = timezone.localdate()
    factories.calibrated(plant, plant.instruments[code].pk, due_on=today + timedelta(days=days))


# --- calibrations ---------------------------------------------------------------------------------------------------------
def test_a_calibration_with_points_is_written_and_shown(as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    answer = client.post(CALIBRATION, typed(client), follow=True)
    page = text_of(answer)
    assert "as found within, as left within" in page and "certificate INV-1" in page and "83.5 µS/cm" in page
    assert Calibration.objects.latest("id").found_within is True


def test_found_outside_is_said_on_the_page_and_leads_to_what_rests_on_it(
    as_: Callable[[str], Client],
) -> None:
    client = as_("qc")
    answer = client.post(CALIBRATION, typed(client, found_1="76 µS/cm", left_1="84.1 µS/cm"), follow=True)
    page = text_of(answer)
    assert "Found outside its tolerance" in page and "−9.5 %, outside" in page
    row = Calibration.objects.latest("id")
    assert reverse("setup-instrument-calibration-impact", args=["CELL", row.pk]) in answer.content.decode()


def test_left_outside_the_receipt_says_out_of_service(as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    page = text_of(client.post(CALIBRATION, typed(client, found_1="76 µS/cm"), follow=True))
    assert "CELL stays out of service." in page and "left outside its tolerance" in page


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"certificate": ""}, "certificate", "Write at least 2 characters"),
        ({"reference_expires_on": ""}, "reference_expires_on", "last day is not written"),
        ({"reference_expires_on": "2020-01-01"}, "reference_expires_on", "expired reference proves nothing"),
        ({"reference_1": ""}, "reference_1", "no reference value"),
        ({"found_1": "84 °C"}, "found_1", "is not a conductivity"),
        ({"tolerance_1": "90 %"}, "tolerance_1", "at most 50%"),
        ({"done_time": "late"}, "done_time", "no time of day"),
        ({"calibrated_on": "2099-01-01", "due_on": ""}, "calibrated_on", "still to come"),
    ],
)
def test_what_makes_no_calibration_is_said_beside_its_field(
    as_: Callable[[str], Client], changes: dict[str, str], field: str, words: str
) -> None:
    client, before = as_("qc"), Calibration.objects.count()
    assert words in errors_of(client.post(CALIBRATION, typed(client, **changes)))[field][0]
    assert Calibration.objects.count() == before


def test_without_points_only_a_laboratorys_certificate_is_taken_and_never_silently(
    as_: Callable[[str], Client],
) -> None:
    client, before = as_("qc"), Calibration.objects.count()
    none = typed(client, reference_1="", found_1="", certificate="", reference="", reference_kind="")
    assert "No point is written" in errors_of(client.post(CALIBRATION, none))["reference_1"][0]
    said = none | {"without_points": "on"}
    assert "Write at least 2 characters" in errors_of(client.post(CALIBRATION, said))["laboratory"][0]
    named = said | {"laboratory": "Moorhen Bench Laboratory"}
    assert "Write at least 2 characters" in errors_of(client.post(CALIBRATION, named))["certificate"][0]
    assert Calibration.objects.count() == before
    page = text_of(client.post(CALIBRATION, named | {"certificate": "MB 77"}, follow=True))
    assert "certificate MB 77" in page and "no points; its certificate stands for them" in page


def test_the_operator_sees_why_and_writes_no_calibration(as_: Callable[[str], Client]) -> None:
    client = as_("operator")
    assert client.post(CALIBRATION, typed(client)).status_code == 403


def test_a_calibration_is_corrected_with_a_reason_and_stays_readable(as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    client.post(CALIBRATION, typed(client, found_1="76 µS/cm"))
    row = Calibration.objects.latest("id")
    url = reverse("setup-instrument-calibration-correct", args=["CELL", row.pk])
    form = client.get(url).context["form"]
    assert form.initial["found_1"] == "76 µS/cm" and form.initial["certificate"] == "INV-1"
    data = typed(client, url, found_1="84.1 µS/cm", category="slip", reason="Read from the wrong line.")
    assert "Choose one of the list" in errors_of(client.post(url, data | {"category": "mood"}))["category"][0]
    assert "at least 10" in errors_of(client.post(url, data | {"reason": "typo"}))["reason"][0]
    page = text_of(client.post(url, data, follow=True))
    assert "Replaced by a correction." in page and "Read from the wrong line." in page
    assert Calibration.objects.latest("id").replaces == row


# --- out of service ---------------------------------------------------------------------------------------------------------
def test_an_operator_takes_a_dropped_cell_out_and_qc_puts_it_back(as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("setup-instrument-out", args=["CELL"])
    data = form_data(client.get(url).context["form"]) | {"cause": "damaged", "reason": "Fell onto the floor."}
    assert "at least 10" in errors_of(client.post(url, data | {"reason": "fell"}))["reason"][0]
    assert (
        "Choose one of the list" in errors_of(client.post(url, data | {"cause": "left_outside"}))["cause"][0]
    )
    assert (
        "still to come" in errors_of(client.post(url, data | {"from_at": "2099-01-01T08:00"}))["from_at"][0]
    )
    assert as_("planner").post(url, data).status_code == 403
    page = text_of(client.post(url, data, follow=True))
    assert "Out of service since" in page and OutOfService.objects.get().reason == "Fell onto the floor."
    assert "CELL: out of service" in text_of(client.get(reverse("setup-instruments")))
    qc = as_("qc")
    empty = typed(qc, reference_1="", found_1="")
    assert "comes back by the points" in errors_of(qc.post(CALIBRATION, empty))["reference_1"][0]
    qc.post(CALIBRATION, typed(qc))
    assert Instrument.objects.get(code="CELL").out_of_service_at is None


# --- due dates that bite ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("days", "word", "sentence"),
    [
        (5, "due soon", "CELL is due for calibration on"),
        (0, "due today", "CELL is due for calibration today."),
        (-2, "overdue", "its readings inform and prove nothing"),
    ],
)
def test_a_due_date_shows_in_the_list_the_alerts_and_the_handover(
    plant: SmallPlant, as_: Callable[[str], Client], days: int, word: str, sentence: str
) -> None:
    due_in(plant, days)
    client = as_("supervisor")
    assert word in text_of(client.get(reverse("setup-instruments")))
    assert sentence in text_of(client.get(reverse("alerts")))
    lines = [line for line in live_state(timezone.now(), profile()).lines if line.key == "CELL"]
    assert len(lines) == 1 and lines[0].needs_person is (days <= 0)


@pytest.mark.parametrize(
    ("days", "sentence"), [(5, "CELL is due for calibration on"), (-2, "CELL was due for")]
)
def test_a_due_date_shows_on_the_rinse_page(
    plant: SmallPlant, as_: Callable[[str], Client], days: int, sentence: str
) -> None:
    batch = rinsing(plant)
    due_in(plant, days)
    assert sentence in text_of(as_("qc").get(reverse("rinse", args=[batch.number])))


def test_a_due_date_shows_on_the_decision_page(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    due_in(plant, 0)
    assert "CELL is due for calibration today." in text_of(
        as_("qc").get(reverse("qc-decision", args=[batch.number]))
    )


def rinsing(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant, "60 µS/cm")


def test_an_overdue_cell_satisfies_no_end_point_through_the_page(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    batch = rinsing(plant)
    due_in(plant, -2)
    client, url = as_("operator"), reverse("rinse", args=[batch.number])
    data = form_data(client.get(url).context["form"]) | {
        "value": "8 µS/cm", "temperature": "25 °C", "instrument": str(plant.instruments["CELL"].pk),
    }  # fmt: skip
    page = text_of(client.post(url, data, follow=True))
    assert "CELL is out of calibration, so it informs only." in page
    assert "Readings of CELL are for information: it was out of calibration." in page
    assert batch.readings.latest("id").instrument_was_valid is False


# --- what rests on it -----------------------------------------------------------------------------------------------------------
@pytest.fixture
def failed(plant: SmallPlant, as_: Callable[[str], Client]) -> Calibration:
    """A batch passed by the cell, and then the cell was found to show half of what is there."""
    factories.passed_batch(plant, "sba_1")
    client = as_("qc")
    client.post(CALIBRATION, typed(client, found_1="42 µS/cm", left_1="84 µS/cm"))
    return Calibration.objects.latest("id")


def test_the_impact_tells_each_result_with_the_error_found(
    failed: Calibration, as_: Callable[[str], Client]
) -> None:
    url = reverse("setup-instrument-calibration-impact", args=["CELL", failed.pk])
    answer, batch = as_("qc").get(url), Batch.objects.get()
    assert "End point of the rinse" in text_of(answer)
    assert reverse("batches-detail", args=[batch.number]) in answer.content.decode()
    rows = list(
        csv.DictReader(io.StringIO(as_("qc").get(url, {"_export": "csv"}).content.decode("utf-8-sig")))
    )
    assert [row["Batch"] for row in rows] == [batch.number]
    assert rows[0]["Result"] == "End point of the rinse" and rows[0]["Then"] in (
        "would not hold",
        "would still hold",
    )
    assert batch.tank_links.first().visit.tank.serial in rows[0]["Tanks and customers"]


def test_a_calibration_that_found_nothing_has_no_such_page(as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    client.post(CALIBRATION, typed(client))
    row = Calibration.objects.latest("id")
    for name in ("setup-instrument-calibration-impact", "setup-instrument-look"):
        assert client.get(reverse(name, args=["CELL", row.pk])).status_code == 404
    assert client.get(reverse("setup-instrument-calibration-impact", args=["PH", row.pk])).status_code == 404


def test_it_is_an_alert_until_a_supervisor_looked(failed: Calibration, as_: Callable[[str], Client]) -> None:
    supervisor, url = as_("supervisor"), reverse("setup-instrument-look", args=["CELL", failed.pk])
    assert "CELL was found outside its tolerance" in text_of(supervisor.get(reverse("alerts")))
    data = form_data(supervisor.get(url).context["form"]) | {
        "words": "Measured again with the portable cell."
    }
    assert as_("qc").post(url, data).status_code == 403
    assert "at least 10" in errors_of(supervisor.post(url, data | {"words": "fine"}))["words"][0]
    stale = supervisor.post(url, data | {"seen_digest": "0" * 64})
    assert stale.status_code == 409 and "list changed" in text_of(stale)
    page = text_of(supervisor.post(url, data, follow=True))
    assert "Looked at:" in page and ImpactLook.objects.get().calibration == failed
    assert "CELL was found outside its tolerance" not in text_of(supervisor.get(reverse("alerts")))

"""Each rule of the rinse by every way in which readings come in: written on the page, pasted as a log, over HTTP, over MQTT. What does
not count is told to the person and to the program alike, and the rinse does not end by it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from regenplant.batches.models import Batch, MeterLog, RinseReading
from regenplant.core.engineering import conductivity
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.process.specification import Limit, LimitBasis, Specification
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.services.instruments import InstrumentSettings
from tests import factories
from tests.api.every_way import Scene, Shown, at_plant_time, each
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
USUAL = factories.usual_specification("sba_1")
"""At most 10 µS/cm, held 15 min by 3 readings in a row, after 4.7 BV; a trace of caustic."""


@pytest.fixture
def plant(db: None, monkeypatch: pytest.MonkeyPatch) -> SmallPlant:
    found = factories.small_plant(now=factories.hours_ago(9))
    at_plant_time(found, monkeypatch)
    return found


@pytest.fixture
def scene(plant: SmallPlant, client_of: Any, tmp_path: Path) -> Scene:
    return rinsing(plant, client_of, tmp_path)


def rinsing(
    plant: SmallPlant, client_of: Any, folder: Path, specification: Specification | None = None
) -> Scene:
    """An anion batch that has rinsed for 40 minutes, with its volume written, and nothing read yet."""
    more: dict[str, Any] = {}
    if specification is not None:
        more["specification_version_id"] = factories.approved_specification(plant, specification).pk
    batch = factories.frozen_batch(plant, "sba_1", **more)
    step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=40)
    factories.write_required(plant, step, is_before=False)
    batch.refresh_from_db()
    return Scene(plant, batch, client_of(plant.people["operator"]), folder)


# --- what a cell may show -------------------------------------------------------------------------------------------------
def above(count: int, every_s: float = 240.0) -> list[Shown]:
    return [(every_s, f"{40.0 - 0.9 * index:.2f}") for index in range(count)]


def inside(count: int, every_s: float = 240.0) -> list[Shown]:
    return [(every_s, f"{5.0 - 0.01 * index:.2f}") for index in range(count)]


@dataclass(frozen=True)
class Case:
    name: str
    readings: Sequence[Shown]
    says: str
    """What page and program are told."""
    cell: str = "CELL"
    at_the_page: str = ""
    """What the page says at once where it takes no such reading."""


NEVER = (
    Case("one lucky reading", [*above(11), *inside(1)], "1 of 3 readings in a row"),
    Case("a lucky one in between", [*above(6), *inside(1), *above(5)], "allowed is at most 10 µS/cm"),
    Case("held too short", [*above(7), *inside(5, 90.0)], "held 6 min of 15 min"),
    Case("too far apart to prove anything", [*above(6), *inside(6, 700.0)], "1 of 3 readings in a row"),
    Case("inside in a minute by any extrapolation", [(240.0, f"{10.02 + 300 * 0.5**i:.2f}") for i in range(12)], "is 10.17 µS/cm; allowed is at most 10 µS/cm"),
    Case("better than water can be", [*above(3), *[(240.0, f"{0.04 + 1e-4 * i:.4f}") for i in range(9)]], "cannot be: at 25 °C water ends at 18.28 MΩ·cm"),
    Case("below zero", [*above(4), *inside(7), (60.0, "-0.40")], "water is above zero", at_the_page="cannot be a conductivity here"),
    Case("frozen to the last digit", [*above(3), *[(240.0, "8.00")] * 9], "same figure to the last digit for 32 min"),
    Case("a jump that water cannot make", [*above(4), *inside(7), (5.0, "0.20")], "water cannot"),
    Case("an overdue cell", [*above(4), *inside(8)], "Readings of OLD-CELL are for information: it was out of calibration", cell="OLD-CELL"),
)  # fmt: skip


def not_ended(scene: Scene, says: str, about: object) -> None:
    """The program and the page say why it is not at its end, and the operator does not end it."""
    end = scene.standing()["end_point"]
    told = plain(" ".join([*end["reasons"], *end["instrument_checks"], *end["not_counted"]]))
    assert not end["is_met"] and says in told, (about, told)
    page = scene.page()
    assert says in page and "Not at its end point yet." in page, (about, page)
    refused = scene.finish()
    assert refused.status_code == 422 and plain(end["reasons"][0]) in text_of(refused), about
    assert scene.batch.steps.get(state="running").kind == StepKind.FAST_RINSE.value, about


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.requirement("ER-20")
@pytest.mark.parametrize("case", NEVER, ids=lambda case: case.name)
def test_it_does_not_end_the_rinse_whichever_way_it_comes(scene: Scene, case: Case) -> None:
    with each(scene) as ways:
        for way in ways:
            answer = scene.send(way, case.readings, cell=case.cell)
            if way == "page" and case.at_the_page:
                assert answer.status_code == 422 and case.at_the_page in text_of(answer), case.name
                continue
            assert len(case.readings) == scene.standing()["readings"], (case.name, way)
            not_ended(scene, case.says, (case.name, way))


def test_held_as_its_specification_says_it_ends_whichever_way_it_comes(scene: Scene) -> None:
    """The other side of the rules above: the same readings, held long enough by a cell in calibration."""
    with each(scene) as ways:
        for way in ways:
            scene.send(way, [*above(5), *inside(7)])
            assert scene.standing()["end_point"]["is_met"] is True, way
            assert "Not at its end point yet." not in scene.page(), way
            assert scene.finish().status_code == 302, way


@pytest.mark.requirement("ER-20")
def test_a_cell_out_of_service_ends_no_rinse_whichever_way_it_comes(scene: Scene) -> None:
    cell = scene.plant.instruments["CELL"]
    plant_services.take_out_of_service(
        by=scene.plant.by(), instrument_id=cell.pk, cause="damaged", reason="It fell onto the floor."
    )
    with each(scene) as ways:
        for way in ways:
            scene.send(way, [*above(4), *inside(8)])
            not_ended(scene, "Readings of CELL are for information", way)


# --- specifications that ask for more -------------------------------------------------------------------------------------
def table_of_uncompensated_limits() -> Specification:
    """10 µS/cm at every temperature, and only for readings that no meter compensated."""
    rows = tuple((273.15 + celsius, 10e-4) for celsius in (0.0, 20.0, 25.0, 30.0, 90.0))
    limit = Limit(
        "conductivity", "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=rows
    )
    others = tuple(one for one in USUAL.limits if one.measurement != "conductivity")
    return replace(USUAL, code="TABLE", limits=(limit, *others))


ASKS_FOR_MORE = (
    (replace(USUAL, code="MUCH", minimum_rinse_bv=60.0, maximum_rinse_bv=None), "CELL", "at least 60 BV"),
    (replace(USUAL, code="MANY", consecutive_readings=9), "CELL", "8 of 9 readings in a row"),
    (table_of_uncompensated_limits(), "COMP", "Readings of COMP are compensated; this limit is a table for uncompensated readings"),
)  # fmt: skip


@pytest.mark.parametrize(("specification", "cell", "says"), ASKS_FOR_MORE, ids=("water", "row", "table"))
def test_what_its_specification_asks_for_besides_is_asked_whichever_way_it_comes(
    plant: SmallPlant, client_of: Any, tmp_path: Path, specification: Specification, cell: str, says: str
) -> None:
    settings = InstrumentSettings("COMP", "Compensating cell", "conductivity", 0.1, "base")
    row = plant_services.save_instrument(by=plant.by("supervisor"), instrument=settings).result
    factories.calibrated(plant, row.pk)
    plant.instruments["COMP"] = row
    scene = rinsing(plant, client_of, tmp_path, specification)
    with each(scene) as ways:
        for way in ways:
            scene.send(way, [*above(4), *inside(8)], cell=cell)
            not_ended(scene, says, way)


def test_a_limit_edited_while_it_rinses_ends_no_rinse_whichever_way_it_comes(scene: Scene) -> None:
    """A wider version is approved while it rinses; the batch keeps the version that it was frozen with."""
    plant = scene.plant
    limits = tuple(
        replace(one, high=(one.high or 0.0) * 10) if one.measurement == "conductivity" else one
        for one in USUAL.limits
    )
    by, second = plant.by("supervisor"), plant.by("supervisor 2")
    draft = factories.recipe_services.draft_specification_version(
        by=by, specification_id=scene.batch.specification_version.specification_id,
        definition=replace(USUAL, limits=limits), reason="wider for the tests",
    ).result  # fmt: skip
    factories.recipe_services.approve_specification_version(
        by=second, version_id=draft.pk, permit=factories.approval(second, draft)
    )
    with each(scene) as ways:
        for way in ways:
            scene.send(way, above(12))
            not_ended(scene, "is 30.1 µS/cm; allowed is at most 10 µS/cm", way)


# --- never counted twice --------------------------------------------------------------------------------------------------
def test_the_same_readings_again_are_not_more_readings_whichever_way_they_come(scene: Scene) -> None:
    """Two inside, sent three times, are two in a row and not six; what is new in a call that overlaps is one more."""
    with each(scene, ("log", "http", "mqtt")) as ways:
        for way in ways:
            moments = scene.happened([*above(10), *inside(3)])
            for _ in range(3):
                scene.send_of(way, moments[:12])
            end = scene.standing()
            assert (end["readings"], end["end_point"]["held_readings"]) == (12, 2), way
            not_ended(scene, "2 of 3 readings in a row", way)
            scene.send_of(way, moments[2:])
            assert scene.standing()["end_point"]["held_readings"] == 3, way
            assert sum(MeterLog.objects.values_list("count", flat=True)) == 13, way


def test_what_a_meter_sent_is_not_counted_again_from_its_log(scene: Scene) -> None:
    """The same readings by two ways: the logger's file repeats what the meter sent over the network."""
    moments = scene.happened([*above(10), *inside(2)])
    scene.send_of("http", moments)
    for way in ("log", "mqtt"):
        scene.send_of(way, moments)
        assert scene.standing()["readings"] == 12, way
    not_ended(scene, "2 of 3 readings in a row", "twice by two ways")


def test_a_page_sent_twice_is_one_reading(scene: Scene) -> None:
    scene.send("page", [*above(2), *inside(2)])
    assert "it was sent twice" in text_of(scene.write("4.99 µS/cm"))
    not_ended(scene, "2 of 3 readings in a row", "sent twice")


# --- as typed -------------------------------------------------------------------------------------------------------------
def at_25(value_us_per_cm: float, celsius: float, water: Compensation) -> float:
    return conductivity.at_25_celsius(value_us_per_cm * 1e-4, celsius + 273.15, water).value


@pytest.mark.requirement("ER-19")
def test_value_and_unit_stay_as_typed_and_mean_the_same_whichever_way_they_come(scene: Scene) -> None:
    """After an anion bed the trace is caustic: what was read at 18 °C is brought to 25 °C as that, and not as neutral or acid."""
    wanted = at_25(40.0, 18.0, Compensation.BASE)
    for other in (Compensation.NEUTRAL, Compensation.ACID):
        assert at_25(40.0, 18.0, other) != pytest.approx(wanted, rel=1e-3)
    with each(scene) as ways:
        for way in ways:
            scene.send(way, [(60.0, f"40.{index}0") for index in range(11, -1, -1)], celsius=18.0)
            newest = scene.standing()["newest"]
            assert newest["conductivity_25_siemens_per_m"] == pytest.approx(wanted, rel=1e-6), way
            assert newest["conductivity_siemens_per_m"] == pytest.approx(40e-4), way
            if way == "page":
                row = RinseReading.objects.latest("pk")
                kept = (row.value_as_typed, row.unit_as_typed, row.temperature_as_typed)
                assert kept == ("40.00", "µS/cm", "18.0 °C")
            else:
                log = MeterLog.objects.latest("pk")
                assert "40.00" in log.received_text and log.unit_as_typed in ("µS/cm", "uS/cm"), way
                row = log
            assert row.water_kind == "base" and row.cell_constant_per_cm == 0.1, way


def test_a_unit_of_something_else_is_refused_whichever_way_it_comes(scene: Scene) -> None:
    """Nothing is kept of it, and the sentence names the unit or its place."""
    moments = scene.happened([(60.0, "8.0")] * 12)
    page = scene.write("8 bar")
    assert page.status_code == 422 and "“8 bar” is not a conductivity" in text_of(page)
    log = scene.pasted(moments, unit="bar")
    assert log.status_code == 422 and "bar" in text_of(log)
    body = {"readings": [{"at": moments[0][0].isoformat(), "value": "8", "unit": "bar", "temperature_c": 25}]}
    answer = scene.meter().send(body)
    assert answer.status_code == 422 and answer.json()["error"]["flaws"][0]["where"] == "readings.0.unit"
    counts, why = scene.published(body)
    assert counts.refused == 1 and "readings.0.unit" in why
    assert not MeterLog.objects.exists() and not RinseReading.objects.exists()


# --- a batch that does not rinse ------------------------------------------------------------------------------------------
def test_no_reading_comes_into_a_batch_that_does_not_rinse_whichever_way(
    plant: SmallPlant, client_of: Any, tmp_path: Path
) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    scene = Scene(plant, Batch.objects.get(pk=batch.pk), client_of(plant.people["operator"]), tmp_path)
    moments = scene.happened(above(12))
    page = scene.write("8 µS/cm")
    assert page.status_code == 422 and "Readings are written in the fast rinse" in text_of(page)
    log = scene.pasted(moments)
    assert log.status_code == 422 and "final rinse" in text_of(log)
    answer = scene.send_of("http", moments).json()
    assert (answer["kept"], answer["not_kept"][0]["code"]) == (0, "no_rinse")
    counts, why = scene.send_of("mqtt", moments)
    assert counts.kept == 0 and "No rinse runs in vessel A1" in why
    assert not MeterLog.objects.exists() and not RinseReading.objects.exists()

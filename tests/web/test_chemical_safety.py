"""Pages of storage, spills, inventory and thresholds: the way through each, what is refused beside its field, who may, and an old page."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.chemicals import services
from regenplant.chemicals.models import Movement, Place, Spill, SpillFigure, StorageArea, ThresholdFigure
from tests import factories

pytestmark = pytest.mark.django_db
WHEN = "2026-03-02 07:30"
"""Before the plant's clock of the tests; what a person types is in the plant's zone."""


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def at(plant: factories.SmallPlant) -> Any:
    """A browser of somebody of the plant."""

    def sign_in(who: str) -> Client:
        client = Client()
        client.force_login(plant.people[who])
        return client

    return sign_in


def text(answer: Any) -> str:
    """The page as it was sent, with one kind of space."""
    return str(answer.content.decode()).replace("\u00a0", " ").replace("\u202f", " ").replace("\u2009", " ")


# --- storage ----------------------------------------------------------------------------------------------------------
def test_areas_are_set_up_and_tanks_placed_and_what_must_not_meet_stays_apart(
    plant: factories.SmallPlant, at: Any
) -> None:
    safety = at("safety")
    services.add_place(
        by=plant.by("supervisor"),
        code="B-BLEACH",
        name="Bleach",
        kind="bulk_tank",
        chemical="naocl",
        capacity_m3=2.0,
    )
    assert "nobody has said where it stands" in text(safety.get(reverse("chemicals-storage")))
    for code, room, bund in (("BUND-1", "Hall", "10 m3"), ("BUND-2", "Hall", "")):
        values = {
            "code": code,
            "name": f"Bund {code}",
            "room": room,
            "location": "left of gate 2",
            "bund_m3": bund,
        }
        assert safety.post(reverse("chemicals-storage-new"), values).status_code == 302
    acid, bleach = Place.objects.get(code="B-HCL"), Place.objects.get(code="B-BLEACH")
    first, second = StorageArea.objects.order_by("code")
    assert safety.post(reverse("chemicals-place-area", args=["B-HCL"]), {"area": first.pk}).status_code == 302
    refused = safety.post(reverse("chemicals-place-area", args=["B-BLEACH"]), {"area": second.pk})
    assert refused.status_code == 422 and "chlorine gas" in text(refused)
    bleach.refresh_from_db()
    assert bleach.storage_area is None
    page = text(safety.get(reverse("chemicals-storage")))
    assert (
        "BUND-1" in page and "3 000" in page and "less than its largest tank" in page and "Kept apart" in page
    )
    acid.refresh_from_db()
    assert acid.storage_area == first


def test_a_reason_is_asked_for_and_an_old_page_is_told(plant: factories.SmallPlant, at: Any) -> None:
    safety = at("safety")
    area = services.add_storage_area(by=plant.by("safety"), code="A", name="Bund A", room="Hall").result
    services.place_tank(by=plant.by("safety"), place_id=Place.objects.get(code="B-HCL").pk, area_id=area.pk)
    url = reverse("chemicals-place-area", args=["B-NAOH"])
    asked = safety.post(url, {"area": area.pk})
    assert asked.status_code == 422 and "what keeps them apart" in text(asked)
    shown = safety.get(url).context["form"]["version"].value()
    taken = safety.post(url, {"area": area.pk, "reason": "a wall of concrete between", "version": shown})
    assert taken.status_code == 302
    assert "violent heat" in text(safety.get(reverse("chemicals-storage")))
    assert safety.post(url, {"area": "", "version": shown}).status_code == 409


def test_an_area_is_changed_and_an_unknown_one_is_not_there(plant: factories.SmallPlant, at: Any) -> None:
    safety = at("safety")
    services.add_storage_area(by=plant.by("safety"), code="A", name="Bund A", room="Hall")
    url = reverse("chemicals-storage-area", args=["a"])
    assert safety.post(url, {"name": "Bund A, new", "room": "Hall", "bund_m3": "500 gal"}).status_code == 302
    assert StorageArea.objects.get().bund_m3 == pytest.approx(1.8927, rel=1e-4)
    assert "Nothing is written here yet" in text(safety.post(url, {"name": "", "room": "Hall"}))
    assert safety.get(reverse("chemicals-storage-area", args=["Z"])).status_code == 404


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("chemicals-storage-new", ()), ("chemicals-place-area", ("B-HCL",)), ("chemicals-threshold", ()),
    ],
)  # fmt: skip
def test_who_may_not_sees_why_and_writes_nothing(at: Any, name: str, arguments: tuple[str, ...]) -> None:
    operator = at("operator")
    url = reverse(name, args=arguments)
    assert 'aria-disabled="true"' in text(operator.get(url))
    assert operator.post(url, {}).status_code == 403


# --- spills -----------------------------------------------------------------------------------------------------------
SPILL = {
    "chemical": "h2so4", "quantity_volume": "80 gal", "strength_frac": "93 %", "location": "at the fill connection",
    "happened_at": WHEN, "reached": "contained", "what_happened": "the hose slipped off its coupling",
}  # fmt: skip


def written(client: Client, url: str, values: dict[str, str]) -> Any:
    """The two steps: shown first, then written with what was shown."""
    shown = client.post(url, {**values, "act": "show"})
    assert shown.status_code == 200, text(shown)[-3000:]
    return client.post(url, {**values, "act": "write", "shown": shown.context["shown_mark"]})


@pytest.mark.requirement("EV-05")
def test_a_spill_is_shown_against_the_reportable_quantity_then_written_followed_up_and_closed(
    at: Any,
) -> None:
    operator, safety = at("operator"), at("safety")
    url = reverse("chemicals-spill-new")
    shown = operator.post(url, {**SPILL, "act": "show"})
    page = text(shown)
    assert (
        "reaches the reportable quantity" in page
        and "a person decides" in page
        and not Spill.objects.exists()
    )
    assert "confirm with your authority" in page.lower() and "secondary list" in page
    answer = written(operator, url, SPILL)
    spill = Spill.objects.get()
    assert answer.status_code == 302 and answer.url == reverse("chemicals-spill", args=[spill.number])
    assert "Call now" in text(operator.get(answer.url))
    note, close = (reverse(f"chemicals-spill-{act}", args=[spill.number]) for act in ("note", "close"))
    assert operator.post(close, {"words": "all is well again"}).status_code == 403
    assert "nobody has written what was decided" in text(safety.post(close, {"words": "all is well again"}))
    told = {"kind": "decided", "happened_at": WHEN, "words": "Reported to the invented centre, 14:20"}
    assert safety.post(note, told).status_code == 302
    assert safety.post(close, {"words": "cleaned up, coupling replaced"}).status_code == 302
    closed = text(operator.get(answer.url))
    assert (
        "cleaned up, coupling replaced" in closed
        and "Call now" not in closed
        and "Follow it up" not in closed
    )


def test_a_spill_out_of_a_tank_takes_the_plants_strength_and_a_better_figure_follows(at: Any) -> None:
    operator = at("operator")
    tank = Place.objects.get(code="B-HCL")
    values = {**SPILL, "chemical": "hcl", "quantity_volume": "", "quantity_product": "100 kg", "strength_frac": "", "place": str(tank.pk)}  # fmt: skip
    written(operator, reverse("chemicals-spill-new"), values)
    spill = Spill.objects.get()
    figure = SpillFigure.objects.get()
    assert figure.grams_100 == pytest.approx(32_000, rel=0.01) and figure.product_grams == 100_000
    assert figure.movement is not None and figure.movement.from_place == tank
    url = reverse("chemicals-spill-again", args=[spill.number])
    version = operator.get(url).context["form"]["version"].value()
    better = {"quantity_product": "60 kg", "reason": "pumped up and weighed", "version": version}
    assert written(operator, url, better).status_code == 302
    page = text(operator.get(reverse("chemicals-spill", args=[spill.number])))
    assert "pumped up and weighed" in page and "first figure" in page
    assert Movement.objects.filter(reference=spill.number).count() == 3
    stale = operator.post(url, {**better, "act": "show"})
    again = operator.post(url, {**better, "act": "write", "shown": stale.context["shown_mark"]})
    assert again.status_code == 409 and SpillFigure.objects.count() == 2


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"quantity_volume": ""}, "Write one of the three"),
        ({"quantity_product": "3 kg"}, "Write one of the three"),
        ({"strength_frac": ""}, "the plant knows no strength"),
        ({"quantity_volume": "80 apples"}, "apples"),
        ({"happened_at": "2036-01-01 00:00"}, "still to come"),
        ({"what_happened": "oops"}, "at least 10 characters"),
        ({"reached": "moon"}, "no choice here"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_nothing_typed_is_lost(
    at: Any, more: dict[str, str], words: str
) -> None:
    operator = at("operator")
    values = {**SPILL, **more}
    answer = operator.post(reverse("chemicals-spill-new"), {**values, "act": "show"})
    if answer.status_code == 200:
        values |= {"act": "write", "shown": answer.context["shown_mark"]}
        answer = operator.post(reverse("chemicals-spill-new"), values)
    assert answer.status_code == 422 and words in text(answer) and "at the fill connection" in text(answer)
    assert not Spill.objects.exists()


def test_spills_are_listed_and_go_out_as_a_file(at: Any) -> None:
    operator = at("operator")
    url = reverse("chemicals-spills")
    assert "No spill was ever written down" in text(operator.get(url))
    written(operator, reverse("chemicals-spill-new"), SPILL)
    assert "SP-10001" in text(operator.get(url)) and "Reached" in text(operator.get(url))
    rows = list(csv.reader(io.StringIO(operator.get(url, {"_export": "csv"}).content.decode("utf-8-sig"))))
    (row,) = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert row["Spill"] == "SP-10001" and row["Reportable quantity"] == "reached"
    assert float(row["As 100 %, kg"]) == pytest.approx(514.8, rel=2e-3)


# --- inventory and thresholds -----------------------------------------------------------------------------------------
@pytest.mark.requirement("EV-07")
def test_the_most_on_site_stands_beside_what_is_reported(at: Any) -> None:
    supervisor = at("supervisor")
    page = text(supervisor.get(reverse("chemicals-inventory"), {"year": "2026"}))
    assert "Most on site in 2026" in page and "NaOH" in page and "Reached" in page
    assert "Most on site in" in text(supervisor.get(reverse("chemicals-inventory"), {"year": "soon"}))


def test_the_plant_writes_its_own_threshold_and_takes_it_back(at: Any) -> None:
    safety = at("safety")
    url = reverse("chemicals-threshold")
    assert "1,000 lb" in text(safety.get(url, {"chemical": "h2so4", "kind": "release"}))
    values = {
        "chemical": "h2so4", "kind": "release", "limit_kg": "440 lb", "counted": "pure",
        "paper": "State letter of 2026-02-01, confirmed by A. Invented",
    }  # fmt: skip
    assert safety.post(url, values).status_code == 302
    page = text(safety.get(reverse("chemicals-thresholds")))
    assert "the plant’s own: State letter" in page and "440 lb" in page and "from memory" in page
    assert ThresholdFigure.objects.get().limit_grams == 199_581
    assert safety.post(url, {**values, "limit_kg": ""}).status_code == 302
    assert "State letter" not in text(safety.get(reverse("chemicals-thresholds")))
    refused = safety.post(url, {**values, "limit_kg": "", "paper": "x"})
    assert refused.status_code == 422 and ThresholdFigure.objects.count() == 2


# --- data sheets ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-07")
def test_the_page_of_a_sheet_says_what_changed_and_which_lots_are_labelled_from_it(
    plant: factories.SmallPlant, at: Any
) -> None:
    from dataclasses import replace
    from datetime import date

    from tests.documents.test_chemical_label import SHEET, add

    first = add(plant, SHEET)
    lot = plant.lots["hcl"]
    services.name_data_sheet(by=plant.by("safety"), lot_id=lot.pk, data_sheet_id=first)
    newer = replace(
        SHEET, revised_on=date(2026, 2, 1), hazard_codes=("H314", "H335"), hazard_notes="Fumes in moist air."
    )
    second = add(plant, newer)
    operator = at("operator")
    page = text(operator.get(reverse("chemicals-sheet", args=[second])))
    assert "Hazard codes: new H335, no longer H290" in page and "Fumes in moist air." in page
    assert (
        "Labels are printed from it now" in page
        and lot.code in page
        and "No lot came with this revision" in page
    )
    older = text(operator.get(reverse("chemicals-sheet", args=[first])))
    assert "Came with it" in older and "Labels are printed from it now" not in older and "Replaced" in older
    assert operator.get(reverse("chemicals-sheet", args=[99_999])).status_code == 404

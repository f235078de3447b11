"""Stock through HTTP: a tank with its level, counting by level in two steps, the second person, shapes, the daily balance, what is ahead."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.chemicals import counts, services
from regenplant.chemicals.models import Movement, Place, StockCount, TankGeometry
from regenplant.chemicals.services import GeometrySettings
from regenplant.web.areas.chemicals.count_forms import BookForm, LevelForm, ShapeForm
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, in_two_steps, text_of

pytestmark = pytest.mark.django_db

AS = Callable[[str], Client]
LYING = GeometrySettings(
    form="lying", ends="dished_10", diameter_m=2.4, length_m=9.0, level_tolerance_m=0.005, gauge="sight glass", origin="drawing of the tank"
)  # fmt: skip


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """3 000 kg of acid as 100 % in B-HCL, a lying tank."""
    made = factories.small_plant(now=factories.hours_ago(2))
    services.set_tank_geometry(by=made.by("supervisor"), place_id=tank().pk, settings=LYING)
    return made


def tank() -> Place:
    return Place.objects.get(code="B-HCL")


def counted(plant: SmallPlant, level_m: float, who: str = "operator") -> StockCount:
    return services.count_level(
        by=plant.by(who), place_id=tank().pk, level_m=level_m, level_as_typed=f"{level_m}", unit_as_typed="m", temperature_kelvin=293.15
    ).result  # fmt: skip


LEVEL = {"level": "0.90 m", "temperature_kelvin": "20 °C"}


# --- reading ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("who", ["operator", "planner", "supervisor"])
def test_everybody_reads_and_a_stranger_nothing(plant: SmallPlant, as_: AS, client: Client, who: str) -> None:
    number = counted(plant, 0.9).number
    pages = [
        ("chemicals-tank", ["B-HCL"]), ("chemicals-tank", ["B-NAOH"]), ("chemicals-place-level", ["B-HCL"]),
        ("chemicals-place-level", ["B-NAOH"]), ("chemicals-place-shape", ["B-HCL"]), ("chemicals-place-shape", ["B-NAOH"]), ("chemicals-count", [number]),
        ("chemicals-count-book", [number]), ("chemicals-balance", []), ("chemicals-ahead", []),
    ]  # fmt: skip
    for name, arguments in pages:
        assert as_(who).get(reverse(name, args=arguments)).status_code == 200, name
        assert client.get(reverse(name, args=arguments)).status_code == 302, name


@pytest.mark.parametrize(
    ("name", "arguments"),
    [("chemicals-tank", ["SUPPLIER"]), ("chemicals-place-level", ["NONE"]), ("chemicals-count", ["C-9"]), ("chemicals-count-book", ["C-9"])],
)  # fmt: skip
def test_what_is_not_there_is_not_found(plant: SmallPlant, as_: AS, name: str, arguments: list[Any]) -> None:
    assert as_("supervisor").get(reverse(name, args=arguments)).status_code == 404


# --- counting ---------------------------------------------------------------------------------------------------------
def test_a_level_is_shown_with_its_meaning_then_written(plant: SmallPlant, as_: AS) -> None:
    client, url = as_("operator"), reverse("chemicals-place-level", args=["B-HCL"])
    first = client.get(url)
    assert isinstance(first.context["form"], LevelForm)
    assert "3 000" not in text_of(first), "the books are not shown before the level is read"
    shown = text_of(client.post(url, LEVEL | {"act": "show"}))
    assert (
        "less than the books say; the count may be off by" in shown
        or "more than the books say; the count may be off by" in shown
    )
    assert not StockCount.objects.exists()
    answer = in_two_steps(client, url, LEVEL)
    count = StockCount.objects.get()
    assert answer.status_code == 302 and answer["Location"] == reverse("chemicals-count", args=[count.number])
    assert (count.value_as_typed, count.unit_as_typed, count.level_m) == ("0.90", "m", 0.9)
    assert Movement.objects.count() == 3, "three deliveries, no movement of the count"


def test_what_changed_after_it_was_shown_is_shown_again(plant: SmallPlant, as_: AS) -> None:
    client, url = as_("operator"), reverse("chemicals-place-level", args=["B-HCL"])
    mark = client.post(url, LEVEL | {"act": "show"}).context["shown_mark"]
    again = client.post(url, LEVEL | {"level": "0.95 m", "act": "write", "shown": mark})
    assert "What you wrote changed since it was shown" in text_of(again) and not StockCount.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"level": ""}, "it is needed"),
        ({"level": "3 m"}, "possible here is 0 to 2.4 m"),
        ({"level": "90"}, "possible here is 0 to 2.4 m"),
        ({"level": "90 kg"}, "kg"),
        ({"temperature_kelvin": "20 L"}, "L"),
    ],
)
def test_what_cannot_be_a_level_says_why_and_keeps_what_was_typed(
    plant: SmallPlant, as_: AS, change: dict[str, str], words: str
) -> None:
    url = reverse("chemicals-place-level", args=["B-HCL"])
    answer = as_("operator").post(url, LEVEL | change | {"note": "Windy", "act": "write"})
    shown = text_of(answer)
    assert words in shown and 'value="Windy"' in answer.content.decode()
    assert not StockCount.objects.exists()


def test_who_may_not_count_is_told(plant: SmallPlant, as_: AS) -> None:
    url = reverse("chemicals-place-level", args=["B-HCL"])
    assert as_("planner").post(url, LEVEL | {"act": "write"}).status_code == 403
    assert 'aria-disabled="true">Write it down' in as_("planner").get(url).content.decode()
    assert not StockCount.objects.exists()


def test_a_tank_without_a_shape_says_what_to_do(plant: SmallPlant, as_: AS) -> None:
    shown = text_of(as_("operator").get(reverse("chemicals-place-level", args=["B-NAOH"])))
    assert "The shape of B-NAOH is not on record" in shown and "counted by weight" in shown
    answer = as_("operator").post(reverse("chemicals-place-level", args=["B-NAOH"]), LEVEL | {"act": "write"})
    assert answer.status_code == 200 and not StockCount.objects.exists()


# --- the second person ------------------------------------------------------------------------------------------------
def test_a_difference_is_booked_by_another_person(plant: SmallPlant, as_: AS) -> None:
    count = counted(plant, 0.4)
    stock = text_of(as_("supervisor").get(reverse("chemicals")))
    assert f"B-HCL: tank and books differ. {count.number} waits for a second person." in stock
    url = reverse("chemicals-count-book", args=[count.number])
    client = as_("supervisor")
    form = client.get(url).context["form"]
    assert isinstance(form, BookForm)
    data = form_data(form) | {"category": "leak", "reason": "Liquid in the bund under the tank"}
    assert "at least 10 characters what you found" in text_of(client.post(url, data | {"reason": "wet"}))
    assert "choose" in text_of(client.post(url, data | {"category": ""})).lower()
    assert as_("operator 2").post(url, data).status_code == 403
    assert client.post(url, data).status_code == 302
    booked = Movement.objects.order_by("-number")[0]
    assert (booked.to_place.kind, booked.reference) == ("unexplained", count.number)
    shown = text_of(client.get(reverse("chemicals-count", args=[count.number])))
    assert "it was booked as unexplained" in shown and "Count again" not in shown


def test_the_page_of_before_books_nothing(plant: SmallPlant, as_: AS) -> None:
    """A draw of before the count is written while the page is open: it shows another difference now."""
    url = reverse("chemicals-count-book", args=[counted(plant, 0.4).number])
    client = as_("supervisor")
    data = form_data(client.get(url).context["form"]) | {
        "category": "leak",
        "reason": "Liquid in the bund under the tank",
    }
    before_the_count = plant.now - datetime.timedelta(minutes=30)
    by = plant.by()
    services.draw_for_batch(
        by=type(by)(by.user, plant.forward(minutes=5), "tests", before_the_count),
        chemical="hcl",
        grams_100=90_000,
        reference="B-10001",
    )
    answer = client.post(url, data)
    assert answer.status_code == 409 and "Entries of that time were written since" in text_of(answer)
    assert Movement.objects.filter(to_place__kind="unexplained").count() == 0


def test_who_counted_sees_that_another_books(plant: SmallPlant, as_: AS) -> None:
    count = counted(plant, 0.4, who="supervisor")
    shown = text_of(as_("supervisor").get(reverse("chemicals-count", args=[count.number])))
    assert "You counted it yourself" in shown
    url = reverse("chemicals-count-book", args=[count.number])
    data = form_data(as_("supervisor").get(url).context["form"]) | {
        "category": "leak",
        "reason": "Liquid in the bund under the tank",
    }
    assert "You counted" in text_of(as_("supervisor").post(url, data))
    assert as_("supervisor 2").post(url, data).status_code == 302


def test_a_misread_count_is_replaced_from_its_page(plant: SmallPlant, as_: AS) -> None:
    wrong = counted(plant, 0.4)
    url = as_("operator").get(reverse("chemicals-count", args=[wrong.number])).context["recount_url"]
    data = LEVEL | {"category": "slip", "replace_reason": "Read the wrong side of the float"}
    assert "at least 10 characters" in text_of(
        in_two_steps(as_("operator"), url, data | {"replace_reason": "wrong"})
    )
    assert in_two_steps(as_("operator"), url, data).status_code == 302
    right = StockCount.objects.get(replaces=wrong)
    assert f"Replaced by {right.number}" in text_of(
        as_("operator").get(reverse("chemicals-count", args=[wrong.number]))
    )
    by_weight = reverse("chemicals-place-count", args=["B-HCL"]) + f"?replaces={right.number}"
    weighed = {
        "quantity_pure": "3000 kg",
        "reason": "Weighed",
        "category": "instrument",
        "replace_reason": "The glass was clogged",
    }
    assert in_two_steps(as_("operator"), by_weight, weighed).status_code == 302
    assert counts.newest_count(tank()).method == "amount"  # type: ignore[union-attr]


# --- shapes -----------------------------------------------------------------------------------------------------------
SHAPE = {
    "form": "upright", "ends": "flat", "diameter_m": "160 in", "length_m": "4 m", "gauge": "Dip stick", "zero_above_bottom_m": "0 m",
    "level_tolerance_m": "5 mm", "volume_tolerance_frac": "0.5 %", "origin": "Drawing 12", "version": "0",
}  # fmt: skip


def test_a_shape_is_written_and_the_next_one_needs_the_page_as_it_stands(plant: SmallPlant, as_: AS) -> None:
    client, url = as_("supervisor"), reverse("chemicals-place-shape", args=["B-NAOH"])
    assert isinstance(client.get(url).context["form"], ShapeForm)
    assert client.post(url, SHAPE).status_code == 302
    geometry = TankGeometry.objects.get(place__code="B-NAOH")
    assert geometry.diameter_m == pytest.approx(4.064) and geometry.level_tolerance_m == pytest.approx(0.005)
    stale = client.post(url, SHAPE)
    assert stale.status_code == 409 and "version 1 stands" in text_of(stale)
    assert as_("operator").post(url, SHAPE).status_code == 403


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"diameter_m": ""}, "diameter_m", "This shape needs it."),
        ({"form": "box"}, "width_m", "This shape needs it."),
        ({"form": "table"}, "table", "This shape needs it."),
        ({"form": "table", "table": "0 m; 0 L\n1 m, 800 L"}, "table", "Row 2"),
        ({"form": "table", "table": "0 m; 0 L\n1 m; 800 kg"}, "table", "Row 2"),
        ({"origin": ""}, "origin", "it is needed"),
    ],
)
def test_a_shape_that_lacks_something_says_what(
    plant: SmallPlant, as_: AS, change: dict[str, str], field: str, words: str
) -> None:
    answer = as_("supervisor").post(reverse("chemicals-place-shape", args=["B-NAOH"]), SHAPE | change)
    assert any(words in sentence for sentence in errors_of(answer)[field])
    assert TankGeometry.objects.count() == 1


def test_a_table_is_read_row_by_row(plant: SmallPlant, as_: AS) -> None:
    place = Place.objects.get(code="B-NAOH")
    services.change_place(
        by=plant.by("supervisor"), place_id=place.pk, name=place.name, capacity_m3=1.0, low_stock_grams_100=0
    )
    rows = "0 m; 0 L\n0.5 m; 450 L\n\n1 m; 1000 L"
    data = SHAPE | {"form": "table", "table": rows}
    client, url = as_("supervisor"), reverse("chemicals-place-shape", args=["B-NAOH"])
    assert client.post(url, data).status_code == 302
    table = TankGeometry.objects.get(place=place).table
    assert [one for row in table for one in row] == pytest.approx([0.0, 0.0, 0.5, 0.45, 1.0, 1.0])
    assert form_data(client.get(url).context["form"])["table"] == "0 m; 0 L\n0.5 m; 450 L\n1 m; 1000 L"


# --- balance and ahead --------------------------------------------------------------------------------------------------
def test_the_daily_balance_shows_each_tank_and_goes_out_as_a_file(plant: SmallPlant, as_: AS) -> None:
    count = counted(plant, 0.4)
    client = as_("supervisor")
    shown = text_of(client.get(reverse("chemicals-balance")))
    assert "Look" in shown and f"{count.number}, B-HCL" in shown
    assert "common practice of the trade" in shown
    assert "No count in this time" in text_of(client.get(reverse("chemicals-balance") + "?tank=B-NAOH"))
    sheet = client.get(reverse("chemicals-balance") + "?_export=csv").content.decode()
    assert "above the watch level" in sheet and "Found, kg" in sheet
    assert client.get(reverse("chemicals-balance") + "?days=lots").status_code == 200


def test_ahead_says_how_long_it_lasts_and_what_runs_out(plant: SmallPlant, as_: AS) -> None:
    shown = text_of(as_("planner").get(reverse("chemicals-ahead")))
    assert "Likely above its low mark for the next 120 days" in shown
    assert "No open batch draws from it; the ledger has too few days with use for a usual one" in shown
    assert "Strength check LOT-HCL HCl" in shown and "Count of the tank B-HCL HCl – Missing" in shown


def test_the_pages_take_as_many_queries_for_many_counts(
    plant: SmallPlant, as_: AS, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    client = as_("supervisor")
    for minute in range(8):
        plant.forward(minutes=1)
        counted(plant, 0.4 + minute / 1000)
    with django_assert_max_num_queries(30):
        client.get(reverse("chemicals"))
    with django_assert_max_num_queries(45):
        client.get(reverse("chemicals-tank", args=["B-HCL"]))

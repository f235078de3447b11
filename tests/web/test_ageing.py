"""The pages of ageing through HTTP: what is shown, what is written, bad input, a stale page, and who may."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.quality.ageing_lines import YEAR
from regenplant.quality.models import LotLook, ResinFigure, ResinSample
from regenplant.resins import services as resin_services
from regenplant.resins.models import LotCapacity, ResinLot
from tests import factories
from tests.factories import PASSWORD, SmallPlant
from tests.quality.test_ageing import SPLITTING, delivered, record
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
ClientOf = Callable[[Person], Client]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=timezone.now())


@pytest.fixture
def anion(plant: SmallPlant) -> ResinLot:
    return delivered(plant, "sba_1", "N-1", 2.0)


@pytest.fixture
def supervisor(plant: SmallPlant, client_of: ClientOf) -> Client:
    return client_of(plant.people["supervisor"])


def page(client: Client, name: str, *args: Any) -> str:
    response = client.get(reverse(name, args=args))
    assert response.status_code == 200
    return text_of(response)


def report(**more: str) -> dict[str, str]:
    taken = timezone.localtime() - 3 * (YEAR / 365.25)
    return {
        "taken_at": f"{taken:%Y-%m-%d %H:%M}", "taken_by": "Operator 1", "taken_how": "core over the full depth",
        "laboratory": "Moorhen Bench Laboratory", "report": "MB 77", "salt_splitting": "0.9 eq/L", "salt_splitting_new": "1.2 eq/L",
        "salt_splitting_method": "titration after salt splitting", **more,
    }  # fmt: skip


def test_an_empty_plant_says_when_something_appears(plant: SmallPlant, supervisor: Client) -> None:
    assert "No lot of resin is in use" in page(supervisor, "resin-ageing")


def test_lots_stand_worst_first_and_as_a_file(plant: SmallPlant, anion: ResinLot, supervisor: Client) -> None:
    delivered(plant, "sba_2", "Z-1", 4.5)
    seen = page(supervisor, "resin-ageing")
    assert seen.index("Z-1") < seen.index("N-1") and "Think of replacing it" in seen
    file = supervisor.get(reverse("resin-ageing"), {"_export": "csv"})
    rows = list(csv.DictReader(io.StringIO(file.content.decode("utf-8-sig"))))
    assert [row["Lot"] for row in rows] == ["Z-1", "N-1"]
    assert float(rows[1]["Left, %"]) == pytest.approx(76.0, abs=0.1)
    narrowed = text_of(supervisor.get(reverse("resin-ageing"), {"advice": "replace"}))
    assert "Z-1" in narrowed and "N-1" not in narrowed


def test_a_lot_shows_what_it_rests_on(plant: SmallPlant, anion: ResinLot, supervisor: Client) -> None:
    record(plant, anion, SPLITTING)
    seen = page(supervisor, "resin-ageing-lot", "N-1")
    for words in (
        "Believed to have", "Salt-splitting capacity, 75% of new", "Gottlieb 1997", "Plans count with 100", "It promises nothing",
        "LT-1001", "N-1",
    ):  # fmt: skip
        assert words.replace("\u00a0", " ") in seen.replace("\u00a0", " "), words


def test_a_report_is_written_down_and_corrected(
    plant: SmallPlant, anion: ResinLot, client_of: ClientOf
) -> None:
    qc = client_of(plant.people["qc"])
    answer = qc.post(
        reverse("resin-ageing-sample", args=["N-1"]),
        report(moisture="52 %", moisture_new="48 %", moisture_method="drying"),
    )
    assert answer.status_code == 302
    row = ResinSample.objects.get()
    assert row.figures.count() == 2
    figure = row.figures.get(property="moisture")
    address = reverse("resin-ageing-correct", args=["N-1", figure.pk])
    right = {
        "moisture": "51 %",
        "moisture_new": "48 %",
        "moisture_method": "drying",
        "category": "slip",
        "reason": "The report says 51.",
    }
    refused = qc.post(address, {**right, "reason": "short"})
    assert refused.status_code == 422 and ResinFigure.objects.count() == 2
    assert qc.post(address, right).status_code == 302
    assert ResinFigure.objects.get(replaces=figure).value == pytest.approx(0.51)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"salt_splitting": "much"}, "not a number"),
        ({"salt_splitting": ""}, "The value itself is missing"),
        ({"salt_splitting_method": ""}, "Say by which method"),
        ({"salt_splitting": "1.9 eq/L"}, "158% of new"),
        ({"taken_at": "2099-01-01 10:00"}, "2099"),
        ({"laboratory": ""}, "needed"),
        (
            {"salt_splitting": "", "salt_splitting_new": "", "salt_splitting_method": ""},
            "No figure is written",
        ),
        ({"whole_beads": "130 %", "whole_beads_method": "count"}, "130"),
    ],
)
def test_bad_input_is_said_beside_it_and_nothing_typed_is_lost(
    plant: SmallPlant, anion: ResinLot, supervisor: Client, change: dict[str, str], says: str
) -> None:
    answer = supervisor.post(reverse("resin-ageing-sample", args=["N-1"]), report(**change))
    assert answer.status_code == 422
    assert says in text_of(answer) and "core over the full depth" in answer.content.decode()
    assert not ResinSample.objects.exists()


def test_a_look_leads_to_the_quick_test(plant: SmallPlant, anion: ResinLot, client_of: ClientOf) -> None:
    operator = client_of(plant.people["operator"])
    form = page(operator, "resin-ageing-look", "N-1")
    assert (
        "Quick test on organic matter" in form
        and "Quick test on iron" not in form
        and "acid into water" in form
    )
    answer = operator.post(
        reverse("resin-ageing-look", args=["N-1"]), {"seen": ["dark", "smell"], "words": "Dark at the top."}
    )
    assert answer.status_code == 302 and LotLook.objects.get().seen == ["dark", "smell"]
    seen = page(operator, "resin-ageing-lot", "N-1")
    assert "Shake a sample of resin in 10 % brine" in seen and "Hot caustic burns" in seen
    assert operator.post(reverse("resin-ageing-look", args=["N-1"]), {"seen": ["purple"]}).status_code == 422


def test_the_factor_is_set_by_who_may_and_not_from_a_stale_page(
    plant: SmallPlant, anion: ResinLot, supervisor: Client, client_of: ClientOf
) -> None:
    address = reverse("resin-ageing-capacity", args=["N-1"])
    qc = client_of(plant.people["qc"])
    words = {"factor": "76 %", "reason": "As the table says so far.", "version": "0"}
    given = {**words, "username": plant.people["supervisor"].username, "password": PASSWORD}
    unsigned = text_of(supervisor.post(address, words))
    assert "Nothing is signed without your password." in unsigned and not LotCapacity.objects.exists()
    assert qc.post(address, given).status_code == 403
    assert supervisor.post(address, {**given, "factor": "3 %"}).status_code == 422
    assert supervisor.post(address, given).status_code == 302
    other = {"factor": "60 %", "username": plant.people["supervisor 2"].username}
    stale = client_of(plant.people["supervisor 2"]).post(address, {**given, **other})
    assert stale.status_code == 409 and "set by somebody else" in text_of(stale)
    assert LotCapacity.objects.get().factor == pytest.approx(0.76)
    assert "As the table says so far." in page(supervisor, "resin-ageing-lot", "N-1")
    listed = supervisor.get(reverse("setup-lots"), {"_export": "csv"}).content.decode("utf-8-sig")
    rows = {row["Lot"]: row for row in csv.DictReader(io.StringIO(listed))}
    assert float(rows["N-1"]["Capacity left, %"]) == pytest.approx(76.0)


def test_carbon_and_unknown_lots_have_no_such_page(plant: SmallPlant, supervisor: Client) -> None:
    plant.types["gac"] = resin_services.add_resin_type(
        by=plant.by("supervisor"),
        resin_type=resin_services.ResinTypeSettings("GAC-1", "Coal carbon", "gac", 0, 0, 0.001, 1400, 393.15),
    ).result
    delivered(plant, "gac", "G-1", 0.5)
    for name in ("lot", "sample", "look", "capacity"):
        for code in ("G-1", "NOBODY", "%00"):
            assert (
                supervisor.get(f"/resin-ageing/{code}/{'' if name == 'lot' else name + '/'}").status_code
                == 404
            )
    assert "/resin-ageing/G-1/" not in supervisor.get(reverse("setup-lot", args=["G-1"])).content.decode()


def test_a_mixed_bed_is_looked_at_resin_by_resin(plant: SmallPlant, supervisor: Client) -> None:
    mixed = resin_services.ResinTypeSettings(
        "MB-1", "Mixed bed", "mb", 750, 500, 0.0006, 1180, 333.15,
        cation_type_id=plant.types["sac_h"].pk, anion_type_id=plant.types["sba_1"].pk, cation_share_frac=0.4,
    )  # fmt: skip
    plant.types["mb"] = resin_services.add_resin_type(by=plant.by("supervisor"), resin_type=mixed).result
    delivered(plant, "mb", "M-1", 3.0)
    answer = supervisor.post(
        reverse("resin-ageing-sample", args=["M-1"]) + "?resin=cation",
        report(
            salt_splitting="",
            salt_splitting_new="",
            salt_splitting_method="",
            total_capacity="1.7 eq/L",
            total_capacity_method="titration",
        ),
    )
    assert answer.status_code == 302 and ResinSample.objects.get().resin == "cation"
    seen = page(supervisor, "resin-ageing-lot", "M-1")
    assert "T-SAC_H" in seen and "T-SBA_1" in seen and "Total capacity, 89% of new" in seen

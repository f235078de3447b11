"""Resin types and lots: what is written, and every refusal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.resins import services
from regenplant.resins.models import LotParent, ResinLot, ResinType
from regenplant.resins.services import ResinTypeSettings

Acts = Callable[..., By]
SAC = ResinTypeSettings(
    "SAC-8", "Gel strong-acid cation", "sac_h", 1900, 1100, 0.0007, 1280, 393.15, swelling_frac=0.07
)


@pytest.fixture
def resin(supervisor: Person, by: Acts) -> ResinType:
    return services.add_resin_type(by=by(supervisor), resin_type=SAC).result


def received(
    by: By, resin: ResinType, code: str, segregation_class: str = "D", volume_m3: float = 1.0
) -> ResinLot:
    return services.receive_new_lot(
        by=by, code=code, resin_type_id=resin.pk, segregation_class=segregation_class, volume_m3=volume_m3,
        volume_form="Na", origin="delivered new",
    ).result  # fmt: skip


def mixed(by: By, resin: ResinType, code: str, parents: list[tuple[int, float]], **change: Any) -> ResinLot:
    arguments: dict[str, Any] = {
        "segregation_class": "D", "volume_m3": 0.9, "volume_form": "H", "origin": "made by batch B-1", "cycles": 1,
        "capacity_factor": 0.98, **change,
    }  # fmt: skip
    return services.mix_lot(by=by, code=code, resin_type_id=resin.pk, parents=parents, **arguments).result


# --- types ------------------------------------------------------------------------------------------------------------
def test_a_type_is_added_and_its_data_changed(resin: ResinType, supervisor: Person, by: Acts) -> None:
    changed = replace(SAC, operating_capacity_eq_per_m3=1000.0)
    services.change_resin_type(by=by(supervisor), resin_type_id=resin.pk, resin_type=changed, version=1)
    resin.refresh_from_db()
    assert (resin.operating_capacity_eq_per_m3, resin.version) == (1000.0, 2)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": "sac 8"}, "code"),
        ({"description": ""}, "description"),
        ({"family": "carbon"}, "family"),
        ({"total_capacity_eq_per_m3": 1.9}, "total_capacity_eq_per_m3"),
        ({"operating_capacity_eq_per_m3": 2000.0}, "operating_capacity_eq_per_m3"),
        ({"bead_diameter_m": 0.7}, "bead_diameter_m"),
        ({"bead_density_kg_per_m3": 1.28}, "bead_density_kg_per_m3"),
        ({"max_temperature_kelvin": 120.0}, "max_temperature_kelvin"),
        ({"settled_void_frac": 38.0}, "settled_void_frac"),
        ({"swelling_frac": 7.0}, "swelling_frac"),
        ({"total_capacity_eq_per_m3": float("inf")}, "total_capacity_eq_per_m3"),
    ],
)
def test_a_slip_of_unit_is_caught_beside_its_field(
    supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.add_resin_type(by=by(supervisor), resin_type=replace(SAC, **change))
    assert refused.value.field == field and not ResinType.objects.exists()


@pytest.mark.parametrize("change", [{"family": "sac_na"}, {"grade": "polishing"}, {"code": "SAC-9"}])
def test_what_tanks_are_pooled_by_never_changes(
    resin: ResinType, supervisor: Person, by: Acts, change: dict[str, Any]
) -> None:
    with pytest.raises(RecordRefused, match="Add a new resin type instead"):
        services.change_resin_type(
            by=by(supervisor), resin_type_id=resin.pk, resin_type=replace(SAC, **change)
        )


def test_a_type_from_a_stale_page_is_refused(resin: ResinType, supervisor: Person, by: Acts) -> None:
    services.change_resin_type(
        by=by(supervisor), resin_type_id=resin.pk, resin_type=replace(SAC, description="New words"), version=1
    )
    with pytest.raises(StaleRecord):
        services.change_resin_type(
            by=by(supervisor),
            resin_type_id=resin.pk,
            resin_type=replace(SAC, description="Old words"),
            version=1,
        )


def test_an_operator_edits_no_resin(operator: Person, by: Acts) -> None:
    with pytest.raises(NotAllowed):
        services.add_resin_type(by=by(operator), resin_type=SAC)


# --- lots -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": "R 1"}, "code"),
        ({"segregation_class": "Z"}, "segregation_class"),
        ({"volume_m3": 0.0}, "volume_m3"),
        ({"volume_m3": 51.0}, "volume_m3"),
        ({"volume_form": "OH"}, "volume_form"),
        ({"origin": ""}, "origin"),
        ({"cycles": -1}, "cycles"),
        ({"resin_type_id": 0}, "resin_type"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(
    resin: ResinType, supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    lot: dict[str, Any] = {
        "code": "R-1", "resin_type_id": resin.pk, "segregation_class": "D", "volume_m3": 1.0, "volume_form": "Na",
        "origin": "delivered new", **change,
    }  # fmt: skip
    with pytest.raises(DomainError) as refused:
        services.receive_new_lot(by=by(supervisor), **lot)
    assert refused.value.field == field and not ResinLot.objects.exists()


def test_a_lot_keeps_its_shares(resin: ResinType, supervisor: Person, operator: Person, by: Acts) -> None:
    first, second = received(by(supervisor), resin, "R-1"), received(by(supervisor), resin, "R-2")
    child = mixed(by(operator), resin, "R-3", [(first.pk, 0.4), (second.pk, 0.35), (first.pk, 0.25)])
    assert dict(LotParent.objects.filter(child=child).values_list("parent__code", "fraction")) == {
        "R-1": pytest.approx(0.65),
        "R-2": pytest.approx(0.35),
    }
    assert (
        "R-3" in story([("resin_lot", str(first.pk))])[-1].sentence
    )  # the parent's story tells of the child


@pytest.mark.parametrize(
    ("shares", "error"),
    [
        ([0.6, 0.5], OutOfRange),
        ([-0.1, 0.5], OutOfRange),
        ([0.0, 1.0], OutOfRange),
        ([float("nan"), 0.5], OutOfRange),
    ],
)
def test_shares_add_up_to_one_at_most(
    resin: ResinType,
    supervisor: Person,
    operator: Person,
    by: Acts,
    shares: list[float],
    error: type[DomainError],
) -> None:
    lots = [received(by(supervisor), resin, f"R-{number}") for number in (1, 2)]
    with pytest.raises(error):
        mixed(by(operator), resin, "R-3", [(lot.pk, share) for lot, share in zip(lots, shares, strict=True)])
    assert not ResinLot.objects.filter(code="R-3").exists()


def test_types_are_never_mixed(resin: ResinType, supervisor: Person, operator: Person, by: Acts) -> None:
    other = services.add_resin_type(by=by(supervisor), resin_type=replace(SAC, code="SAC-10")).result
    lot = received(by(supervisor), other, "R-1")
    with pytest.raises(RecordRefused, match="never mixed"):
        mixed(by(operator), resin, "R-2", [(lot.pk, 1.0)])


@pytest.mark.parametrize(
    ("older", "younger", "is_allowed"),
    [
        ("D", "D", True),
        ("C", "D", True),
        ("D", "C", False),
        ("B", "D", False),
        ("A", "D", False),
        ("C", "B", False),
    ],
)
def test_a_class_goes_down_from_c_to_d_and_no_other_way(
    resin: ResinType,
    supervisor: Person,
    operator: Person,
    by: Acts,
    older: str,
    younger: str,
    is_allowed: bool,
) -> None:
    lot = received(by(supervisor), resin, "R-1", older)
    if is_allowed:
        assert (
            mixed(by(operator), resin, "R-2", [(lot.pk, 1.0)], segregation_class=younger).segregation_class
            == younger
        )
        return
    with pytest.raises(RecordRefused, match="Classes are never mixed"):
        mixed(by(operator), resin, "R-2", [(lot.pk, 1.0)], segregation_class=younger)


def test_scrapped_resin_never_comes_back(
    resin: ResinType, supervisor: Person, operator: Person, by: Acts
) -> None:
    lot = received(by(supervisor), resin, "R-1")
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        services.scrap_lot(by=by(supervisor), lot_id=lot.pk, reason="old")
    services.scrap_lot(by=by(supervisor), lot_id=lot.pk, reason="Oxidized, soft beads")
    with pytest.raises(RecordRefused, match="scrapped already"):
        services.scrap_lot(by=by(supervisor), lot_id=lot.pk, reason="Oxidized, soft beads")
    with pytest.raises(RecordRefused, match="no lot is made from it"):
        mixed(by(operator), resin, "R-2", [(lot.pk, 1.0)])


def test_an_unknown_parent_is_said(resin: ResinType, operator: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="not known here"):
        mixed(by(operator), resin, "R-2", [(0, 1.0)])


def test_a_lot_code_is_used_once(resin: ResinType, supervisor: Person, by: Acts) -> None:
    received(by(supervisor), resin, "R-1")
    with pytest.raises(RecordRefused, match="exists already"):
        received(by(supervisor), resin, "r-1")


def test_the_database_refuses_a_lot_that_is_its_own_parent(
    resin: ResinType, supervisor: Person, by: Acts
) -> None:
    lot = received(by(supervisor), resin, "R-1")
    with pytest.raises(IntegrityError), transaction.atomic():
        LotParent.objects.create(child=lot, parent=lot, fraction=0.5)

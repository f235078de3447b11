"""The store of resin: mix, split, top up, scrap, count. What is written, and every refusal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.resins import elsewhere, services
from regenplant.resins.bodies import mean_age_days, moves_of, parts_of, raw_parts, stored_m3
from regenplant.resins.models import LotMovement, LotParent, ResinLot, ResinType
from regenplant.resins.services import Counted, Piece, Taken
from tests.factories import START
from tests.resins.test_services import SAC, mixed

Acts = Callable[..., By]
WHY = "Two half drums of one resin"
pytestmark = pytest.mark.django_db


@pytest.fixture
def resin(supervisor: Person, by: Acts) -> ResinType:
    return services.add_resin_type(by=by(supervisor), resin_type=SAC).result


@pytest.fixture
def store(resin: ResinType, supervisor: Person, by: Acts) -> Callable[..., ResinLot]:
    """A lot received into the store, in the sodium form; swelling to the hydrogen form is 7 %."""

    def received(code: str, volume_m3: float = 1.0, segregation_class: str = "D", **more: Any) -> ResinLot:
        arguments: dict[str, Any] = {"volume_form": "Na", "origin": "delivered", "into_store": True, **more}
        return services.receive_new_lot(
            by=by(supervisor), code=code, resin_type_id=more.pop("resin_type_id", resin.pk), segregation_class=segregation_class,
            volume_m3=volume_m3, **{name: value for name, value in arguments.items() if name != "resin_type_id"},
        ).result  # fmt: skip

    return received


def mix(by: By, code: str, *taken: tuple[ResinLot, float, str], **more: Any) -> ResinLot:
    """Mixed and counted in the sodium form, as much as went in where nothing else is said."""
    pieces = [Taken(lot.pk, Counted(volume, form)) for lot, volume, form in taken]
    whole = sum(volume / (1.07 if form == "H" else 1.0) for _, volume, form in taken)
    arguments: dict[str, Any] = {
        "segregation_class": "D", "counted": Counted(whole, "Na"), "reason": WHY, "resin_lot_ids": [one.resin_lot_id for one in pieces], **more,
    }  # fmt: skip
    return services.mix_in_store(by=by, code=code, taken=pieces, **arguments).result


# --- receipt ----------------------------------------------------------------------------------------------------------
def test_received_resin_stands_in_the_store_by_its_exhausted_form(store: Callable[..., ResinLot]) -> None:
    lot = store("R1", 1.07, volume_form="H")
    assert stored_m3(lot) == pytest.approx(1.0)
    assert [(part.origin, part.share_frac, part.cycles_mean) for part in raw_parts(lot)] == [("R1", 1.0, 0.0)]


def test_resin_that_is_in_tanks_already_is_not_in_the_store(store: Callable[..., ResinLot]) -> None:
    assert stored_m3(store("R1", into_store=False)) == 0.0 and not LotMovement.objects.exists()


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"is_new": True, "cycles": 3}, "cycles"),
        ({"delivered_on": START.date() + timedelta(days=2)}, "delivered_on"),
        ({"dedicated_to": "MOON"}, "dedicated_to"),
    ],
)
def test_what_cannot_be_of_a_delivery_is_refused(
    store: Callable[..., ResinLot], more: dict[str, Any], field: str
) -> None:
    with pytest.raises(RecordRefused) as refused:
        store("R1", **more)
    assert refused.value.field == field and not ResinLot.objects.exists()


# --- mixing -----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-01")
def test_a_mixture_keeps_shares_by_volume_in_one_form(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    """By hand: 0.535 m³ in the hydrogen form are 0.5 m³ in the sodium form; with 0.3 m³ the shares are 0.625 and 0.375."""
    one, two = store("R1"), store("R2", cycles=8)
    made = mix(by(operator), "M1", (one, 0.535, "H"), (two, 0.3, "Na"))
    shares = dict(LotParent.objects.filter(child=made).values_list("parent__code", "fraction"))
    assert shares == {"R1": pytest.approx(0.625), "R2": pytest.approx(0.375)}
    assert (stored_m3(one), stored_m3(two), stored_m3(made)) == (
        pytest.approx(0.5), pytest.approx(0.7), pytest.approx(0.8),
    )  # fmt: skip
    parts = {part.origin: part for part in raw_parts(made)}
    assert (parts["R1"].cycles_mean, parts["R2"].cycles_mean, made.cycles) == (0, 8, 8)
    assert parts["R2"].share_frac == pytest.approx(0.375)
    words = story([("resin_lot", str(made.pk))])[-1].sentence
    assert "mixed in the store" in words and "R1 (62.5 %)" in words


def test_a_difference_by_count_is_written_down_and_the_book_follows_the_count(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    one, two = store("R1"), store("R2")
    made = mix(by(operator), "M1", (one, 0.5, "Na"), (two, 0.5, "Na"), counted=Counted(0.97, "Na"))
    assert stored_m3(made) == pytest.approx(0.97)
    rows = {row.kind: row.exhausted_m3 for row in LotMovement.objects.filter(lot=made)}
    assert rows == {"made": pytest.approx(1.0), "counted": pytest.approx(-0.03)}


def test_mixing_is_refused_by_each_rule(
    store: Callable[..., ResinLot], supervisor: Person, operator: Person, by: Acts
) -> None:
    one, two = store("R1"), store("R2")
    potable = store("R3", segregation_class="B")
    new = store("R4", is_new=True)
    other_type = services.add_resin_type(
        by=by(supervisor), resin_type=type(SAC)(**{**vars_of(SAC), "code": "SAC-9"})
    ).result
    foreign = store("R5", resin_type_id=other_type.pk)
    before = LotMovement.objects.count()
    for taken, more, code in (
        ([(one, 0.5, "Na")], {}, "number_of_lots"),
        ([(one, 0.5, "Na"), (two, 1.5, "Na")], {}, "more_than_stored"),
        ([(one, 0.5, "Na"), (potable, 0.5, "Na")], {}, "mixed_pool"),
        ([(one, 0.5, "Na"), (foreign, 0.5, "Na")], {}, "mixed_pool"),
        ([(one, 0.5, "Na"), (new, 0.5, "Na")], {}, "not_conditioned"),
        ([(one, 0.5, "Na"), (two, 0.5, "Na")], {"counted": Counted(0.9, "Na")}, "out_of_range"),
        ([(one, 0.5, "Na"), (two, 0.5, "Na")], {"reason": "short"}, "too_short"),
        ([(one, 0.5, "Na"), (two, 0.5, "Na")], {"resin_lot_ids": [one.pk]}, "other_lots"),
        ([(one, 0.5, "OH"), (two, 0.5, "Na")], {}, "out_of_range"),
    ):
        with pytest.raises(DomainError) as refused:
            mix(by(operator), "M1", *taken, **more)
        assert refused.value.code == code, (taken, refused.value)
    assert LotMovement.objects.count() == before and not ResinLot.objects.filter(code="M1").exists()


def vars_of(settings_: Any) -> dict[str, Any]:
    return {name: getattr(settings_, name) for name in settings_.__dataclass_fields__}


def test_high_purity_resin_goes_down_and_never_up(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    high, low = store("R1", segregation_class="C"), store("R2")
    made = mix(by(operator), "M1", (high, 0.5, "Na"), (low, 0.5, "Na"))
    assert made.segregation_class == "D"
    with pytest.raises(RecordRefused, match="Classes are never mixed"):
        mix(by(operator), "M2", (high, 0.2, "Na"), (low, 0.2, "Na"), segregation_class="C")


def test_dedicated_resin_is_mixed_with_its_owners_only(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    one, two = (store(code, segregation_class="A", dedicated_to="MOON") for code in ("R1", "R2"))
    other = store("R3", segregation_class="A", dedicated_to="MARS")
    nobody = store("R4", segregation_class="A")
    made = mix(by(operator), "M1", (one, 0.5, "Na"), (two, 0.5, "Na"), segregation_class="A")
    assert made.dedicated_to == "MOON"
    for lot, code in ((other, "mixed_pool"), (nobody, "owner_unknown")):
        with pytest.raises(RecordRefused) as refused:
            mix(by(operator), "M2", (one, 0.2, "Na"), (lot, 0.2, "Na"), segregation_class="A")
        assert refused.value.code == code


def test_what_a_room_above_holds_against_a_lot_stops_it(
    store: Callable[..., ResinLot], operator: Person, by: Acts, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = store("R1"), store("R2")
    monkeypatch.setitem(elsewhere._STOPS, "test", lambda lot: ["R2 failed."] if lot.code == "R2" else [])
    with pytest.raises(RecordRefused, match="R2 failed") as refused:
        mix(by(operator), "M1", (one, 0.5, "Na"), (two, 0.5, "Na"))
    assert refused.value.code == "held"


# --- topping up and splitting -----------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-01")
def test_a_lot_is_topped_up_with_conditioned_resin(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    old, new = store("R1", 0.97, cycles=20), store("R2", 0.2, is_new=True)

    def top_up() -> ResinLot:
        return services.top_up_lot(
            by=by(operator), code="M1", resin_lot_id=old.pk, with_lot_id=new.pk, added=Counted(0.03, "Na"),
            counted=Counted(1.0, "Na"), reason="Loss of twenty cycles made good",
        ).result  # fmt: skip

    with pytest.raises(RecordRefused, match="not conditioned"):
        top_up()
    services.condition_lot(
        by=by(operator), resin_lot_id=new.pk, how="Backwash, double dose, rinse of 12 BV in C1"
    )
    made = top_up()
    parts = {part.origin: (round(part.share_frac, 6), part.cycles_mean) for part in raw_parts(made)}
    assert parts == {"R1": (0.97, 20), "R2": (0.03, 0)}
    assert (stored_m3(old), stored_m3(new), stored_m3(made)) == (0.0, pytest.approx(0.17), pytest.approx(1.0))
    with pytest.raises(RecordRefused) as refused:
        top_up()
    assert refused.value.code == "nothing_stored"


def test_only_new_resin_is_conditioned_and_it_takes_words(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    new, old = store("R1", is_new=True), store("R2")
    with pytest.raises(RecordRefused) as refused:
        services.condition_lot(by=by(operator), resin_lot_id=new.pk, how="done")
    assert refused.value.field == "how"
    with pytest.raises(RecordRefused, match="does not wait"):
        services.condition_lot(by=by(operator), resin_lot_id=old.pk, how="Backwash, double dose, long rinse")


@pytest.mark.requirement("RS-01")
def test_a_split_makes_lots_of_the_same_parts_and_leaves_the_rest(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    lot = store("R1", 1.0, cycles=5)
    pieces = [Piece("S1", Counted(0.25, "Na")), Piece("S2", Counted(0.321, "H"))]
    one, two = services.split_lot(by=by(operator), resin_lot_id=lot.pk, pieces=pieces, reason=WHY).result
    assert (stored_m3(one), stored_m3(two), stored_m3(lot)) == (
        pytest.approx(0.25), pytest.approx(0.30), pytest.approx(0.45),
    )  # fmt: skip
    assert raw_parts(one) == raw_parts(lot) and two.cycles == 5
    with pytest.raises(RecordRefused) as refused:
        services.split_lot(
            by=by(operator), resin_lot_id=lot.pk, pieces=[Piece("S3", Counted(0.5, "Na"))], reason=WHY
        )
    assert refused.value.code == "more_than_stored" and not ResinLot.objects.filter(code="S3").exists()
    with pytest.raises(RecordRefused) as refused:
        services.split_lot(by=by(operator), resin_lot_id=lot.pk, pieces=[], reason=WHY)
    assert refused.value.code == "number_of_lots"


def test_parts_of_new_resin_wait_for_conditioning_too(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    lot = store("R1", is_new=True)
    services.split_lot(
        by=by(operator), resin_lot_id=lot.pk, pieces=[Piece("S1", Counted(0.2, "Na"))], reason=WHY
    )
    assert ResinLot.objects.get(code="S1").needs_conditioning


# --- scrapping and counting -------------------------------------------------------------------------------------------
def test_a_part_is_scrapped_then_the_rest(
    store: Callable[..., ResinLot], supervisor: Person, operator: Person, by: Acts
) -> None:
    lot = store("R1")
    with pytest.raises(NotAllowed):
        services.scrap_stored(by=by(operator), resin_lot_id=lot.pk, counted=None, reason=WHY)
    services.scrap_stored(
        by=by(supervisor), resin_lot_id=lot.pk, counted=Counted(0.214, "H"), reason="Fines and broken beads"
    )
    assert stored_m3(lot) == pytest.approx(0.8)
    services.scrap_stored(by=by(supervisor), resin_lot_id=lot.pk, counted=None, reason="Oxidized, soft beads")
    assert stored_m3(lot) == 0.0
    with pytest.raises(RecordRefused, match="Nothing of R1"):
        services.scrap_stored(by=by(supervisor), resin_lot_id=lot.pk, counted=None, reason=WHY)


def test_a_whole_lot_is_not_scrapped_while_a_tank_holds_it(
    store: Callable[..., ResinLot], supervisor: Person, by: Acts, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = store("R1")
    monkeypatch.setitem(
        elsewhere._FINDERS,
        "test",
        lambda pks: [elsewhere.Standing(pk, "tank", "T-9", "in the plant", 0.1, True) for pk in pks],
    )
    with pytest.raises(RecordRefused, match="T-9 hold"):
        services.scrap_lot(by=by(supervisor), lot_id=lot.pk, reason="Oxidized, soft beads")
    monkeypatch.undo()
    services.scrap_lot(by=by(supervisor), lot_id=lot.pk, reason="Oxidized, soft beads")
    assert stored_m3(lot) == 0.0
    with pytest.raises(RecordRefused, match="is scrapped"):
        services.count_stored(by=by(supervisor), resin_lot_id=lot.pk, counted=Counted(0.1, "Na"), reason=WHY)


def test_a_count_moves_the_book_and_says_why(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    lot = store("R1")
    services.count_stored(
        by=by(operator), resin_lot_id=lot.pk, counted=Counted(0.94, "Na"), reason="A bag was torn, swept up"
    )
    assert stored_m3(lot) == pytest.approx(0.94)
    services.count_stored(
        by=by(operator), resin_lot_id=lot.pk, counted=Counted(0.94, "Na"), reason="Yearly count"
    )
    with pytest.raises(OutOfRange, match="Count again"):
        services.count_stored(by=by(operator), resin_lot_id=lot.pk, counted=Counted(1.2, "Na"), reason=WHY)
    services.count_stored(
        by=by(operator), resin_lot_id=lot.pk, counted=Counted(0.0, "Na"), reason="The drum is empty"
    )
    assert stored_m3(lot) == 0.0 and LotMovement.objects.filter(lot=lot).count() == 4


def test_a_stale_page_is_refused_and_nothing_is_written(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    lot = store("R1")
    shown = moves_of(lot)
    services.count_stored(by=by(operator), resin_lot_id=lot.pk, counted=Counted(0.9, "Na"), reason=WHY)
    with pytest.raises(StaleRecord):
        services.split_lot(
            by=by(operator), resin_lot_id=lot.pk, pieces=[Piece("S1", Counted(0.1, "Na"))], reason=WHY, version=shown
        )  # fmt: skip
    assert stored_m3(lot) == pytest.approx(0.9) and not ResinLot.objects.filter(code="S1").exists()


# --- parts and ages ---------------------------------------------------------------------------------------------------
def test_age_is_weighted_by_volume_and_says_where_it_is_a_least_age(
    store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    """By hand: 0.75 of 100 days and 0.25 of 20 days are 80 days."""
    old = store("R1", delivered_on=(START - timedelta(days=100)).date())
    new = store("R2", delivered_on=(START - timedelta(days=20)).date())
    made = mix(by(operator), "M1", (old, 0.75, "Na"), (new, 0.25, "Na"))
    noon = START.replace(hour=12)
    mean, is_least = mean_age_days(parts_of(made), noon)
    assert mean == pytest.approx(80.0) and not is_least
    found = store("R3", cycles=40)
    mean, is_least = mean_age_days(parts_of(found), START + timedelta(days=5))
    assert mean == pytest.approx(5.0, abs=0.01) and is_least


def test_parts_of_lots_of_an_older_program_are_worked_out_from_their_parents(
    resin: ResinType, store: Callable[..., ResinLot], operator: Person, by: Acts
) -> None:
    """The same line twice: as lots state it when they are made, and as rows of an older program without parts."""
    one, two = store("R1", cycles=2), store("R2")
    first = mixed(by(operator), resin, "L1", [(one.pk, 0.5), (two.pk, 0.5)], cycles=3)
    second = mixed(by(operator), resin, "L2", [(first.pk, 0.5), (two.pk, 0.3)], cycles=4)

    def forgotten(code: str, cycles: int, **parents: float) -> ResinLot:
        lot = ResinLot.objects.create(
            code=code, resin_type=resin, segregation_class="D", volume_m3=1.0, volume_form="Na", made_at=START, origin="old", cycles=cycles
        )  # fmt: skip
        for parent, fraction in parents.items():
            LotParent.objects.create(child=lot, parent=ResinLot.objects.get(code=parent), fraction=fraction)
        return lot

    forgotten("Q1", 2), forgotten("Q2", 0), forgotten("P1", 3, Q1=0.5, Q2=0.5)
    worked, stated = raw_parts(forgotten("P2", 4, P1=0.5, Q2=0.3)), raw_parts(second)
    assert {(part.origin, round(part.share_frac, 6)) for part in worked} == {
        ("Q1", 0.25), ("Q2", 0.55), ("P2", 0.2),
    }  # fmt: skip
    assert [(part.share_frac, part.cycles_mean, part.cycles_least, part.is_recorded) for part in worked] == [
        (pytest.approx(part.share_frac), pytest.approx(part.cycles_mean), part.cycles_least, part.is_recorded) for part in stated
    ]  # fmt: skip


# --- nothing created, nothing lost ------------------------------------------------------------------------------------
acts = st.lists(
    st.tuples(st.sampled_from(["mix", "split", "scrap", "count", "top up"]), st.floats(0.01, 0.4), st.integers(0, 9)),
    min_size=1,
    max_size=7,
)  # fmt: skip


@pytest.fixture
def undone() -> Iterator[Callable[..., Any]]:
    from django.db import transaction

    yield transaction.atomic


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts)
def test_the_store_balances_after_any_acts(
    store: Callable[..., ResinLot],
    supervisor: Person,
    by: Acts,
    undone: Callable[..., Any],
    wanted: list[Any],
) -> None:
    """What came in, and the differences of counts, is what stands there and what was scrapped; a refused act changes nothing."""

    class Back(Exception):
        pass

    with pytest.raises(Back), undone():
        for code in ("R1", "R2"):
            store(code)
        for number, (act, volume, which) in enumerate(wanted):
            lots = list(ResinLot.objects.order_by("code"))
            lot, other = lots[which % len(lots)], lots[(which + 1) % len(lots)]
            before = balance()
            try:
                with undone():
                    _do(by(supervisor), act, f"X{number}", lot, other, volume)
            except DomainError:
                assert balance() == before
            total = balance()
            assert total["stored"] == pytest.approx(2.0 + total["counted"] - total["scrapped"])
            for one in ResinLot.objects.all():
                assert sum(part.share_frac for part in raw_parts(one)) == pytest.approx(1.0)
        raise Back


def _do(by: By, act: str, code: str, lot: ResinLot, other: ResinLot, volume: float) -> None:
    counted = Counted(volume, "Na")
    if act == "mix":
        mix(by, code, (lot, volume, "Na"), (other, volume, "H"))
    elif act == "split":
        services.split_lot(by=by, resin_lot_id=lot.pk, pieces=[Piece(code, counted)], reason=WHY)
    elif act == "scrap":
        services.scrap_stored(by=by, resin_lot_id=lot.pk, counted=counted, reason=WHY)
    elif act == "count":
        services.count_stored(by=by, resin_lot_id=lot.pk, counted=counted, reason=WHY)
    else:
        whole = Counted(stored_m3(lot) + volume, "Na")
        services.top_up_lot(
            by=by, code=code, resin_lot_id=lot.pk, with_lot_id=other.pk, added=counted, counted=whole, reason=WHY
        )  # fmt: skip


def balance() -> dict[str, float]:
    """Sums of the store's book, by what they are."""
    found = {"stored": 0.0, "counted": 0.0, "scrapped": 0.0}
    for row in LotMovement.objects.all():
        found["stored"] += row.exhausted_m3
        if row.kind == "counted":
            found["counted"] += row.exhausted_m3
        if row.kind == "scrapped":
            found["scrapped"] -= row.exhausted_m3
    return found


def test_the_day_of_delivery_is_kept(store: Callable[..., ResinLot]) -> None:
    assert store("R1", delivered_on=date(2024, 5, 2)).delivered_on == date(2024, 5, 2)

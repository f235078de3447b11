"""What a waste tank holds: nothing is created or lost, acid that meets alkali warms as a handbook says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.engineering import equilibria
from regenplant.core.errors import OutOfRange
from regenplant.core.process.waste_held import (
    WasteHeld,
    can_be_modelled,
    level_read,
    poured_in,
    put_right,
    taken_out,
)

VOLUMES = st.floats(0.01, 50.0)
MOLES = st.floats(0.0, 5e4)
ACID = WasteHeld(10.0, 0.0, 293.15, {"chloride": 1000.0})


@given(VOLUMES, MOLES, VOLUMES, MOLES, st.floats(0.0, 1.0))
def test_what_came_in_left_or_is_there(
    first: float, one: float, second: float, two: float, share: float
) -> None:
    held = poured_in(WasteHeld(), first, {"chloride": one}, 293.15)
    held = poured_in(held, second, {"sodium": two, "chloride": one}, 300.0)
    after, left = taken_out(held, held.volume_m3 * share)
    for name, came in (("chloride", 2 * one), ("sodium", two)):
        assert after.amounts_mol.get(name, 0.0) + left[name] == pytest.approx(came, abs=1e-6, rel=1e-9)
    assert after.volume_m3 == pytest.approx((first + second) * (1 - share), abs=2e-6)


@given(VOLUMES, VOLUMES)
def test_the_order_of_pouring_does_not_matter(first: float, second: float) -> None:
    a, b = (first, {"chloride": 80.0 * first}, 290.0), (second, {"sodium": 60.0 * second}, 310.0)
    one = poured_in(poured_in(WasteHeld(), *a), *b)
    two = poured_in(poured_in(WasteHeld(), *b), *a)
    assert one.temperature_kelvin == pytest.approx(two.temperature_kelvin)
    assert dict(one.amounts_mol) == pytest.approx(dict(two.amounts_mol))


def test_acid_and_caustic_warm_each_other() -> None:
    """1 mol/L HCl and 1 mol/L NaOH in equal volumes at 25 °C warm by about 6.8 K: 57 kJ/mol over 2 L of dilute solution at
    about 4.1 kJ/(kg·K), the coffee-cup experiment of chemistry courses (common practice)."""
    held = WasteHeld(1.0, 0.0, 298.15, {"chloride": 1000.0})
    met = poured_in(held, 1.0, {"sodium": 1000.0}, 298.15)
    assert met.temperature_kelvin is not None
    assert met.temperature_kelvin - 298.15 == pytest.approx(6.8, abs=0.3)
    assert met.excess_eq == 0.0
    assert equilibria.mixture_ph(met.composition, met.temperature_kelvin) == pytest.approx(6.9, abs=0.2)


def test_a_tenth_molar_acid_has_ph_one() -> None:
    """0.1 mol/L HCl: pH 1.09 at 25 °C (activity coefficient 0.81; NBS pH work, from memory), 1.0 ± 0.15."""
    assert equilibria.mixture_ph(ACID.composition, 298.15) == pytest.approx(1.05, abs=0.15)


def test_a_lower_level_takes_its_ions_along_and_a_higher_one_is_unknown() -> None:
    less = level_read(ACID, 9.0)
    assert less.amounts_mol["chloride"] == pytest.approx(900.0) and less.unknown_m3 == 0.0
    more = level_read(ACID, 12.0)
    assert more.unknown_m3 == 2.0 and more.amounts_mol == {"chloride": 1000.0}
    assert level_read(more, 6.0).unknown_frac == pytest.approx(2 / 12)
    assert level_read(ACID, 10.0, 305.0).temperature_kelvin == 305.0


def test_an_emptied_tank_knows_nothing_any_more() -> None:
    after, left = taken_out(ACID, 10.0)
    assert after == WasteHeld() and left == {"chloride": 1000.0}


@pytest.mark.parametrize("volume", [-1.0, 10.5])
def test_no_more_leaves_than_is_there(volume: float) -> None:
    with pytest.raises(OutOfRange, match="volume that leaves"):
        taken_out(ACID, volume)


def test_nonsense_does_not_come_in() -> None:
    with pytest.raises(OutOfRange, match="named and not below zero"):
        poured_in(ACID, 1.0, {"gold": 1.0}, None)
    with pytest.raises(OutOfRange, match="named and not below zero"):
        poured_in(ACID, 1.0, {"sodium": -1.0}, None)
    with pytest.raises(OutOfRange, match="temperature of the waste"):
        level_read(ACID, 5.0, 400.0)


def test_masses_by_hand() -> None:
    """35.45 g/mol chlorine, 22.99 sodium (IUPAC standard atomic weights)."""
    held = WasteHeld(1.0, 0.0, None, {"chloride": 100.0, "sodium": 100.0})
    assert held.mass_kg("chloride") == pytest.approx(3.545, rel=1e-3)
    assert held.dissolved_kg == pytest.approx(5.844, rel=1e-3)


def test_a_ph_is_predicted_only_of_what_is_known() -> None:
    assert can_be_modelled(ACID)
    assert not can_be_modelled(WasteHeld())
    assert not can_be_modelled(WasteHeld(10.0, 6.0, 293.15, {"chloride": 1.0}))
    assert not can_be_modelled(WasteHeld(1.0, 0.0, 293.15, {"chloride": 9000.0}))


# --- put right ----------------------------------------------------------------------------------------------------------
@given(VOLUMES, MOLES, st.floats(0.0, 2.0))
def test_what_is_put_right_is_as_if_it_had_come_in_so(volume: float, moles: float, factor: float) -> None:
    """Mass balance: the tank afterwards is the one into which the right amount had come at once."""
    stood = WasteHeld(4.0, 0.0, 293.15, {"sodium": 10.0})
    wrong = poured_in(stood, volume, {"chloride": moles}, 293.15)
    right = put_right(wrong, volume * (factor - 1.0), {"chloride": moles * (factor - 1.0)}, 0.0)
    at_once = poured_in(stood, volume * factor, {"chloride": moles * factor}, 293.15)
    assert right.volume_m3 == pytest.approx(at_once.volume_m3)
    assert right.amounts_mol["chloride"] == pytest.approx(at_once.amounts_mol["chloride"], abs=1e-6)
    assert right.temperature_kelvin == wrong.temperature_kelvin, "nothing came in"


def test_nothing_is_put_right_below_zero() -> None:
    assert put_right(ACID, -10.0, {"chloride": -1000.0}, 0.0).is_empty
    less = put_right(ACID, -4.0, {"chloride": -1000.0000001}, 20.0)
    assert less.amounts_mol["chloride"] == 0.0 and less.unknown_m3 == less.volume_m3 == 6.0
    with pytest.raises(OutOfRange, match="named"):
        put_right(ACID, 0.0, {"gold": 1.0}, 0.0)

"""A quantity of product as mass of 100 % substance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.chemicals.quantities import Basis, mass_as_100, product_volume_m3, whole_grams
from regenplant.core.errors import OutOfRange

# (chemical, weight fraction, density at 20 °C [kg/m³], tolerance). HCl: hydrochloric acid property table, read.
# NaCl: Poradnik fizykochemiczny (WNT, Warszawa 1974), read. Tolerance as given with the tables: 0.1 %.
DENSITIES = [("hcl", 0.30, 1149.0), ("hcl", 0.36, 1179.0), ("nacl", 0.20, 1147.8)]


@pytest.mark.parametrize(("chemical", "strength", "density"), DENSITIES)
def test_a_cubic_metre_holds_strength_times_density(chemical: str, strength: float, density: float) -> None:
    mass = mass_as_100(chemical, Basis.PRODUCT_VOLUME, 1.0, strength)
    assert mass.value == pytest.approx(strength * density, rel=1e-3)
    assert mass.formula == "V · c_m" and mass.source


def test_a_mass_of_product_is_counted_by_its_strength() -> None:
    """By hand: 1 000 kg of 32 % hold 320 kg."""
    assert mass_as_100("hcl", Basis.PRODUCT_MASS, 1000.0, 0.32).value == pytest.approx(320.0)


def test_a_mass_as_100_is_itself() -> None:
    assert whole_grams(mass_as_100("naoh", Basis.PURE_MASS, 12.3456, 0.5)) == 12_346


@pytest.mark.parametrize("quantity", [0.0, -1.0])
@pytest.mark.parametrize("basis", Basis)
def test_nothing_is_no_quantity(basis: Basis, quantity: float) -> None:
    with pytest.raises(OutOfRange):
        mass_as_100("hcl", basis, quantity, 0.32)


def test_a_solid_has_no_volume_of_product() -> None:
    with pytest.raises(OutOfRange, match="density is known here"):
        mass_as_100("nacl", Basis.PRODUCT_VOLUME, 1.0, 1.0)
    assert product_volume_m3("nacl", 1000, 1.0) is None


@given(st.sampled_from(["hcl", "naoh"]), st.floats(0.05, 0.35), st.floats(0.01, 50.0))
def test_volume_and_mass_go_round_to_half_a_gram(chemical: str, strength: float, volume_m3: float) -> None:
    grams = whole_grams(mass_as_100(chemical, Basis.PRODUCT_VOLUME, volume_m3, strength))
    back = product_volume_m3(chemical, grams, strength)
    assert back is not None
    assert abs(back - volume_m3) * grams / back <= 0.5 + 1e-9 * grams

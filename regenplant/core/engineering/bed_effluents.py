"""What leaves each kind of bed, for a feed and its leakages: ion by ion, then pH and conductivity.

Facts of the trade that hold here and in the tests (common practice): acid leaves a hydrogen-form cation bed; sodium that
leaks there leaves the strong-base bed as caustic and makes it alkaline; a weak base takes up strong acids only, so carbon
dioxide and silica pass; behind a cation bed the conductivity exceeds the feed only where strong-acid anions outweigh
alkalinity; a mixed bed gives neutral water. Leakages are the caller's: ``leakage`` estimates some of them, a record is better.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.water_conductivity import conductivity_of, resistivity_of
from regenplant.core.engineering.waters import Water, ph_of
from regenplant.core.errors import OutOfRange


@dataclass(frozen=True, slots=True)
class StageFigures:
    """What an instrument behind a bed shows: pH, conductivity and resistivity at the temperature asked for."""

    stage: str
    water: Water
    ph: Estimate
    conductivity: Estimate
    resistivity: Estimate


def figures(stage: str, leaving: Water, temperature_kelvin: float = water.REFERENCE_KELVIN) -> StageFigures:
    """pH and conductivity of the water that leaves a bed.

    Parameters
    ----------
    stage : str
        What it left, in words
    leaving : Water
        Totals, from one of the functions below
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    figures : StageFigures
        Estimates of pH, conductivity and resistivity

    Raises: OutOfRange outside 0 to 60 °C.
    """
    return StageFigures(
        stage,
        leaving,
        ph_of(leaving, temperature_kelvin).named("pH", f"pH {stage}"),
        conductivity_of(leaving, temperature_kelvin),
        resistivity_of(leaving, temperature_kelvin),
    )


def _leak(value_mol_per_m3: float, in_feed_mol_per_m3: float, name: str) -> float:
    if not 0.0 <= value_mol_per_m3 <= in_feed_mol_per_m3 + 1e-12:
        raise OutOfRange(
            f"The {name} leakage is {value_mol_per_m3:.4g} mmol/L; the water brings {in_feed_mol_per_m3:.4g} mmol/L. "
            "A bed cannot leak more than it is fed.",
            code="leak_above_feed",
            seen=value_mol_per_m3,
            allowed_low=0.0,
            allowed_high=in_feed_mol_per_m3,
        )
    return value_mol_per_m3


def after_softener(feed: Water, hardness_leak_mol_per_m3: float = 0.0) -> Water:
    """Water behind a sodium-form cation bed: calcium and magnesium become sodium, the anions stay.

    Parameters
    ----------
    feed : Water
        Water fed
    hardness_leak_mol_per_m3 : float
        Hardness left, counted as calcium, 0 to the hardness fed [mol/m^3]

    Returns
    -------
    water : Water
        Water leaving

    Raises: OutOfRange for a leakage above the feed.
    """
    fed = feed.calcium_mol_per_m3 + feed.magnesium_mol_per_m3
    left = _leak(hardness_leak_mol_per_m3, fed, "hardness")
    share = left / fed if fed > 0.0 else 0.0
    return replace(
        feed,
        calcium_mol_per_m3=feed.calcium_mol_per_m3 * share,
        magnesium_mol_per_m3=feed.magnesium_mol_per_m3 * share,
        sodium_mol_per_m3=feed.sodium_mol_per_m3 + 2.0 * (fed - left),
        ph=None,
    )


def after_cation(feed: Water, sodium_leak_mol_per_m3: float = 0.0) -> Water:
    """Water behind a hydrogen-form strong-acid bed: acid. All cations are gone but a leakage of sodium.

    Parameters
    ----------
    feed : Water
        Water fed
    sodium_leak_mol_per_m3 : float
        Sodium left, 0 to all cations fed; from ``leakage.sodium_leakage`` or a record [mol/m^3]

    Returns
    -------
    water : Water
        Water leaving; bicarbonate has become carbon dioxide, which stays dissolved

    Raises: OutOfRange for a leakage above the feed.
    """
    left = _leak(sodium_leak_mol_per_m3, feed.cations_eq_per_m3, "sodium")
    return replace(
        feed,
        calcium_mol_per_m3=0.0,
        magnesium_mol_per_m3=0.0,
        sodium_mol_per_m3=left,
        potassium_mol_per_m3=0.0,
        ammonium_mol_per_m3=0.0,
        ph=None,
    )


def after_weak_acid(feed: Water, alkalinity_left_eq_per_m3: float = 0.0) -> Water:
    """Water behind a weak-acid bed: hardness that comes with alkalinity is taken up, the alkalinity becomes carbon dioxide.

    Parameters
    ----------
    feed : Water
        Water fed
    alkalinity_left_eq_per_m3 : float
        Alkalinity that passes, 0 to what is fed; about a tenth of it, more towards the end (common practice) [eq/m^3]

    Returns
    -------
    water : Water
        Water leaving; hardness beyond the alkalinity, sodium and potassium stay

    Raises: OutOfRange for more alkalinity left than is fed, or a feed without alkalinity.
    """
    alkalinity = feed.alkalinity_eq_per_m3
    require_within(
        alkalinity,
        1e-9,
        1e4,
        "alkalinity of the feed",
        "eq/m³",
        "A weak acid takes up nothing without alkalinity.",
    )
    left = _leak(alkalinity_left_eq_per_m3, alkalinity, "alkalinity")
    hard = feed.hardness_eq_per_m3
    taken = min(hard, alkalinity - left)
    share = 1.0 - taken / hard if hard > 0.0 else 1.0
    return replace(
        feed,
        calcium_mol_per_m3=feed.calcium_mol_per_m3 * share,
        magnesium_mol_per_m3=feed.magnesium_mol_per_m3 * share,
        ph=None,
    )


def after_degasser(feed: Water, carbon_dioxide_left_mol_per_m3: float) -> Water:
    """Water behind a degasser: free carbon dioxide is blown out to a rest, bicarbonate stays.

    Parameters
    ----------
    feed : Water
        Water fed, acid as a rule
    carbon_dioxide_left_mol_per_m3 : float
        Carbon dioxide left; 5 mg/L (0.114 mol/m³) is usual (common practice) [mol/m^3]

    Returns
    -------
    water : Water
        Water leaving; never more carbon than was fed

    Raises: OutOfRange for a negative rest.
    """
    require_within(carbon_dioxide_left_mol_per_m3, 0.0, 10.0, "carbon dioxide left", "mol/m³")
    held = max(feed.alkalinity_eq_per_m3, 0.0)
    carbon = min(held + carbon_dioxide_left_mol_per_m3, feed.total_inorganic_carbon_mol_per_m3)
    return replace(feed, total_inorganic_carbon_mol_per_m3=carbon, ph=None)


def after_strong_base(
    feed: Water,
    silica_leak_mol_per_m3: float = 0.0,
    chloride_leak_mol_per_m3: float = 0.0,
    carbon_leak_mol_per_m3: float = 0.0,
) -> Water:
    """Water behind a hydroxide-form strong-base bed: every cation that came leaves as its hydroxide, so it is alkaline.

    Parameters
    ----------
    feed : Water
        Water fed, from a cation bed as a rule
    silica_leak_mol_per_m3 : float
        Silica left, 0 to what is fed [mol/m^3]
    chloride_leak_mol_per_m3 : float
        Chloride left, 0 to what is fed [mol/m^3]
    carbon_leak_mol_per_m3 : float
        Carbon left, 0 to what is fed [mol/m^3]

    Returns
    -------
    water : Water
        Water leaving

    Raises: OutOfRange for a leakage above the feed, or a hard feed (hardness drops as chalk and magnesia in the bed).
    """
    if feed.hardness_eq_per_m3 > 0.1:
        raise OutOfRange(
            f"The water in front of the anion bed holds {feed.hardness_eq_per_m3:.3g} eq/m³ of hardness; at most 0.1 eq/m³ "
            "can pass without precipitating in the bed. Put the cation bed in front.",
            code="hard_water_on_anion",
            seen=feed.hardness_eq_per_m3,
            allowed_high=0.1,
        )
    return replace(
        feed,
        chloride_mol_per_m3=_leak(chloride_leak_mol_per_m3, feed.chloride_mol_per_m3, "chloride"),
        sulfate_mol_per_m3=0.0,
        nitrate_mol_per_m3=0.0,
        total_inorganic_carbon_mol_per_m3=_leak(
            carbon_leak_mol_per_m3, feed.total_inorganic_carbon_mol_per_m3, "carbon"
        ),
        silica_mol_per_m3=_leak(silica_leak_mol_per_m3, feed.silica_mol_per_m3, "silica"),
        ph=None,
    )


def after_weak_base(feed: Water) -> Water:
    """Water behind a free-base weak-base bed: strong acids are taken up; neutral salts, carbon dioxide and silica pass.

    Parameters
    ----------
    feed : Water
        Water fed, from a cation bed as a rule

    Returns
    -------
    water : Water
        Water leaving; the anions that the cations still need stay, chloride first, for the bed holds it least

    Source: common practice. A feed that is not acid passes unchanged.
    """
    stays = min(feed.strong_anions_eq_per_m3, feed.cations_eq_per_m3)
    chloride = min(stays, feed.chloride_mol_per_m3)
    nitrate = min(stays - chloride, feed.nitrate_mol_per_m3)
    sulfate = (stays - chloride - nitrate) / 2.0
    return replace(
        feed,
        chloride_mol_per_m3=chloride,
        nitrate_mol_per_m3=nitrate,
        sulfate_mol_per_m3=max(sulfate, 0.0),
        ph=None,
    )


def after_mixed_bed(
    sodium_leak_mol_per_m3: float = 0.0,
    chloride_leak_mol_per_m3: float | None = None,
    silica_leak_mol_per_m3: float = 0.0,
    carbon_leak_mol_per_m3: float = 0.0,
) -> Water:
    """Water behind a mixed bed: traces of a neutral salt, whatever was fed.

    Parameters
    ----------
    sodium_leak_mol_per_m3 : float
        Sodium left, 0 to 1 [mol/m^3]
    chloride_leak_mol_per_m3 : float or None
        Chloride left; None is as much as sodium, which makes the water neutral [mol/m^3]
    silica_leak_mol_per_m3 : float
        Silica left, 0 to 1 [mol/m^3]
    carbon_leak_mol_per_m3 : float
        Carbon dioxide left, 0 to 1 [mol/m^3]

    Returns
    -------
    water : Water
        Water leaving

    Raises: OutOfRange above 1 mol/m³: that is no mixed-bed water.
    """
    chloride = sodium_leak_mol_per_m3 if chloride_leak_mol_per_m3 is None else chloride_leak_mol_per_m3
    leaks = {
        "sodium": sodium_leak_mol_per_m3, "chloride": chloride, "silica": silica_leak_mol_per_m3,
        "carbon": carbon_leak_mol_per_m3,
    }  # fmt: skip
    for name, value in leaks.items():
        require_within(value, 0.0, 1.0, f"{name} leakage of the mixed bed", "mol/m³")
    return Water(
        sodium_mol_per_m3=sodium_leak_mol_per_m3,
        chloride_mol_per_m3=chloride,
        silica_mol_per_m3=silica_leak_mol_per_m3,
        total_inorganic_carbon_mol_per_m3=carbon_leak_mol_per_m3,
    )


def line(
    feed: Water,
    *,
    sodium_leak_mol_per_m3: float,
    carbon_dioxide_left_mol_per_m3: float | None,
    silica_leak_mol_per_m3: float,
    temperature_kelvin: float = water.REFERENCE_KELVIN,
) -> tuple[StageFigures, ...]:
    """A two-bed line stage by stage: feed, cation, degasser if there is one, strong base.

    Parameters
    ----------
    feed : Water
        Water fed
    sodium_leak_mol_per_m3 : float
        Sodium behind the cation bed [mol/m^3]
    carbon_dioxide_left_mol_per_m3 : float or None
        Carbon dioxide behind the degasser; None is no degasser [mol/m^3]
    silica_leak_mol_per_m3 : float
        Silica behind the strong base [mol/m^3]
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    stages : tuple
        Of ``StageFigures``, in the order of flow

    Raises: OutOfRange as the stages.
    """
    acid = after_cation(feed, sodium_leak_mol_per_m3)
    stages = [("of the feed", feed), ("behind the cation bed", acid)]
    if carbon_dioxide_left_mol_per_m3 is not None:
        acid = after_degasser(acid, carbon_dioxide_left_mol_per_m3)
        stages.append(("behind the degasser", acid))
    stages.append(("behind the strong-base bed", after_strong_base(acid, silica_leak_mol_per_m3)))
    return tuple(figures(stage, leaving, temperature_kelvin) for stage, leaving in stages)

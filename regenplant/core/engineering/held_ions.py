"""Which ions a resin held: shares of its equivalents, from the feed it treated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from regenplant.core.engineering import ions
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange


class FeedIons(Protocol):
    """What is needed of a feed analysis to say which ions a resin held."""

    @property
    def calcium_eq_per_m3(self) -> float: ...
    @property
    def magnesium_eq_per_m3(self) -> float: ...
    @property
    def sodium_eq_per_m3(self) -> float: ...
    @property
    def chloride_eq_per_m3(self) -> float: ...
    @property
    def sulfate_eq_per_m3(self) -> float: ...
    @property
    def nitrate_eq_per_m3(self) -> float: ...
    @property
    def alkalinity_eq_per_m3(self) -> float: ...
    @property
    def carbon_dioxide_mol_per_m3(self) -> float: ...
    @property
    def silica_mol_per_m3(self) -> float: ...


@dataclass(frozen=True, slots=True)
class HeldIons:
    """Shares of the equivalents a resin holds; they add to one.

    Carbonate is held as bicarbonate and silica as its first ion: one equivalent per mole each.
    """

    calcium_frac: float = 0.0
    magnesium_frac: float = 0.0
    sodium_frac: float = 0.0
    chloride_frac: float = 0.0
    sulfate_frac: float = 0.0
    nitrate_frac: float = 0.0
    carbonate_frac: float = 0.0
    silica_frac: float = 0.0
    is_assumed: bool = False
    """Whether no analysis stands behind them."""

    def __post_init__(self) -> None:
        for name in HELD_IONS:
            require_within(getattr(self, f"{name}_frac"), 0.0, 1.0, f"share of {name} on the resin")
        total = sum(getattr(self, f"{name}_frac") for name in HELD_IONS)
        require_within(total, 1.0 - 1e-6, 1.0 + 1e-6, "sum of the shares on the resin")
        if 1e-9 < self.cations_frac < 1.0 - 1e-6:
            raise OutOfRange(
                f"Cations are {self.cations_frac:.0%} of what the resin holds; a resin holds cations or anions. "
                "Give each leg of a mixed bed its own shares.",
                code="cations_and_anions",
            )

    @property
    def cations_frac(self) -> float:
        return self.calcium_frac + self.magnesium_frac + self.sodium_frac


@dataclass(frozen=True, slots=True)
class WasteIon:
    """An ion of the waste. ``held_eq_per_mol`` is what one mole takes up on the resin."""

    symbol: str
    words: str
    molar_mass_kg_per_mol: float
    held_eq_per_mol: float


def _weight(species: str, charge: float) -> float:
    return ions.equivalent_weight_kg_per_eq(species) * charge


HELD_IONS: dict[str, WasteIon] = {
    "calcium": WasteIon("Ca", "calcium", _weight("Ca++", 2), 2.0),
    "magnesium": WasteIon("Mg", "magnesium", _weight("Mg++", 2), 2.0),
    "sodium": WasteIon("Na", "sodium", _weight("Na+", 1), 1.0),
    "chloride": WasteIon("Cl", "chloride", _weight("Cl-", 1), 1.0),
    "sulfate": WasteIon("SO4", "sulfate", _weight("SO4--", 2), 2.0),
    "nitrate": WasteIon("NO3", "nitrate", _weight("NO3-", 1), 1.0),
    "carbonate": WasteIon("CO3", "carbonate, as CO₃", _weight("CO3--", 2), 1.0),
    "silica": WasteIon("Si", "silica, as SiO₂", _weight("SiO2", 1), 1.0),
}
_AMMONIA = WasteIon("N", "ammonia, as NH₄", _weight("NH4+", 1), 1.0)


def waste_ion(name: str) -> WasteIon:
    """The ion with this name.

    Parameters
    ----------
    name : str
        One of ``HELD_IONS``, or "ammonia", which only a regenerant brings

    Returns
    -------
    ion : WasteIon
        Its symbol, words, molar mass and charge on the resin

    Raises: KeyError for a name that is neither; names come from code, never from people.
    """
    return _AMMONIA if name == "ammonia" else HELD_IONS[name]


_ASSUMED = {
    "sac_h": "sodium", "sac_na": "calcium", "wac_h": "calcium",
    "sba_1": "chloride", "sba_2": "chloride", "sba_a": "chloride", "wba": "chloride",
}  # fmt: skip


def held_ions(family: str, feed: FeedIons | None) -> HeldIons:
    """Which ions a resin of a family holds after treating a feed, as shares of its equivalents.

    Parameters
    ----------
    family : str
        Value of ``ResinFamily``, a single resin [-]
    feed : FeedIons | None
        Analysis of the water in front of the line; None: all counted as one ion, and the answer says so

    Returns
    -------
    held : HeldIons
        Shares [-]

    Raises: OutOfRange for a family that holds nothing counted here.
    Source: charge_balance. A run to breakthrough takes up what came in, whatever the selectivity; leakage is neglected.
    """
    if family not in _ASSUMED:
        raise OutOfRange(f"{family!r} holds no ions that are counted here.", code="no_load")
    amounts = _taken_up(family, feed) if feed is not None else {}
    total = sum(amounts.values())
    if total <= 1e-9:
        return _shares({_ASSUMED[family]: 1.0}, 1.0, is_assumed=True)
    return _shares(amounts, total)


def _shares(amounts: dict[str, float], total: float, is_assumed: bool = False) -> HeldIons:
    unknown = amounts.keys() - HELD_IONS.keys()
    assert not unknown, unknown
    shares = (amounts.get(name, 0.0) / total for name in HELD_IONS)
    calcium, magnesium, sodium, chloride, sulfate, nitrate, carbonate, silica = shares
    return HeldIons(
        calcium, magnesium, sodium, chloride, sulfate, nitrate, carbonate, silica, is_assumed=is_assumed
    )


def _taken_up(family: str, feed: FeedIons) -> dict[str, float]:
    hardness = {"calcium": feed.calcium_eq_per_m3, "magnesium": feed.magnesium_eq_per_m3}
    strong = {
        "chloride": feed.chloride_eq_per_m3,
        "sulfate": feed.sulfate_eq_per_m3,
        "nitrate": feed.nitrate_eq_per_m3,
    }
    if family == "sac_h":
        return hardness | {"sodium": feed.sodium_eq_per_m3}
    if family in ("sac_na", "wac_h"):
        return hardness
    if family == "wba":
        return strong
    carbonate = feed.alkalinity_eq_per_m3 + feed.carbon_dioxide_mol_per_m3
    return strong | {"carbonate": carbonate, "silica": feed.silica_mol_per_m3}

"""What a resin holds when it comes back: equivalents from the water it treated."""

from __future__ import annotations

from typing import Protocol

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange


class Feed(Protocol):
    """What is needed of a feed analysis; equivalents per volume of water."""

    @property
    def calcium_eq_per_m3(self) -> float: ...
    @property
    def magnesium_eq_per_m3(self) -> float: ...
    @property
    def cations_eq_per_m3(self) -> float: ...
    @property
    def strong_anions_eq_per_m3(self) -> float: ...
    @property
    def alkalinity_eq_per_m3(self) -> float: ...
    @property
    def carbon_dioxide_mol_per_m3(self) -> float: ...
    @property
    def silica_mol_per_m3(self) -> float: ...


def _hardness(feed: Feed) -> float:
    return feed.calcium_eq_per_m3 + feed.magnesium_eq_per_m3


def _weak_acid(feed: Feed) -> float:
    return min(_hardness(feed), feed.alkalinity_eq_per_m3)


def _strong_base(feed: Feed) -> float:
    # behind a cation bed all alkalinity is carbonic acid, which a strong base takes up one to one, as silica
    weak = feed.alkalinity_eq_per_m3 + feed.carbon_dioxide_mol_per_m3 + feed.silica_mol_per_m3
    return feed.strong_anions_eq_per_m3 + weak


_TAKEN_UP = {
    "sac_h": ("all cations", lambda feed: feed.cations_eq_per_m3),
    "sac_na": ("calcium and magnesium", _hardness),
    "wac_h": ("hardness that comes with alkalinity", _weak_acid),
    "sba_1": ("all anions with carbon dioxide and silica", _strong_base),
    "sba_2": ("all anions with carbon dioxide and silica", _strong_base),
    "sba_a": ("all anions with carbon dioxide and silica", _strong_base),
    "wba": ("chloride, sulfate and nitrate", lambda feed: feed.strong_anions_eq_per_m3),
}
"""What a family takes up, by ``ResinFamily`` value."""


def eluted_equivalents(family: str, feed: Feed, throughput_m3: float) -> Estimate:
    """Equivalents a resin took up from the water it treated.

    Parameters
    ----------
    family : str
        Value of ``ResinFamily``, a single resin [-]
    feed : Feed
        Analysis of the water in front of the line; for an anion bed the water before its cation bed
    throughput_m3 : float
        Water treated, > 0 [m^3]

    Returns
    -------
    load : Estimate
        Equivalents on the resin [eq]

    Raises: OutOfRange for a family that takes up nothing, a feed without these ions, a throughput not above zero.
    Source: charge_balance. Without a degasser between the beds; leakage is neglected, so the load errs to the high side.
    """
    require_positive(throughput_m3, "throughput", "m³")
    if family not in _TAKEN_UP:
        raise OutOfRange(f"{family!r} takes up no ions that are counted here.", code="no_load")
    words, take = _TAKEN_UP[family]
    taken = take(feed)
    require_within(taken, 1e-6, 1e4, f"{words} in the feed", "eq/m³", "Write down the analysis of the feed.")
    return Estimate(
        symbol="n_e",
        name=f"load on the resin: {words} of the water treated",
        value=throughput_m3 * taken,
        unit="eq",
        kind="equivalents",
        formula="V_t · c_f",
        inputs=(
            Input("V_t", "water treated by the tanks of this batch", throughput_m3, "m^3", "liquid_volume"),
            Input("c_f", f"{words} in the feed", taken, "eq/m^3", "normality"),
        ),
        method="throughput times feed",
        source="charge_balance",
        valid="no degasser between the beds; leakage neglected",
        uncertainty_frac=0.1,
    )

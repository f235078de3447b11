"""What a small error of a volume does to the pH of a waste: the reason for measuring.

Near neutral an unbuffered waste moves by four pH units for one percent of volume. The rows here are shown beside every
neutralization plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from regenplant.core.engineering import equilibria
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.spent import SpentStream
from regenplant.core.engineering.substances import substance
from regenplant.core.engineering.waste_figures import ph_estimate
from regenplant.core.errors import OutOfRange

SHARES = (-0.02, -0.01, 0.0, 0.01, 0.02)
"""Volume errors shown: a good level gauge reads to about one percent of the tank (common practice)."""


@dataclass(frozen=True, slots=True)
class SensitivityRow:
    """One line of the table: so much more (or less) volume, this pH."""

    share: Estimate
    ph: Estimate


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """The table. ``varied`` says what was given more or less of; ``sentence`` is the conclusion for people."""

    varied: str
    rows: tuple[SensitivityRow, ...]
    sentence: str

    def ph_at(self, share_frac: float) -> float:
        """pH at one of the shares of the table.

        Raises: OutOfRange for a share that is not in the table.
        """
        for row in self.rows:
            if abs(row.share.value - share_frac) < 1e-9:
                return row.ph.value
        shown = ", ".join(f"{row.share.value:+.1%}" for row in self.rows)
        raise OutOfRange(f"{share_frac:+.1%} is not in the table; shown are {shown}.", code="no_such_row")


def of_pair(varied: SpentStream, other: SpentStream, shares_frac: Sequence[float] = SHARES) -> Sensitivity:
    """pH of two wastes poured together when the volume of the first is a little off.

    Parameters
    ----------
    varied : SpentStream
        The waste whose volume is off, as a rule the acid
    other : SpentStream
        The other waste
    shares_frac : Sequence[float]
        Errors of the volume, −0.5 to 0.5 [-]

    Returns
    -------
    table : Sensitivity
        One row per share

    Raises: OutOfRange for a share outside its range.
    Source: phreeqc_constants.
    """
    whole = varied.volume_m3 + other.volume_m3
    kelvin = (
        varied.volume_m3 * varied.temperature_kelvin + other.volume_m3 * other.temperature_kelvin
    ) / whole

    def ph(share: float) -> float:
        mixture = equilibria.mixed(
            varied.composition, varied.volume_m3 * (1.0 + share), other.composition, other.volume_m3
        )
        return equilibria.mixture_ph(mixture, kelvin)

    volume = Input("V", f"volume of {varied.name}", varied.volume_m3, "m^3", "liquid_volume")
    rest = Input("V_o", f"volume of {other.name}", other.volume_m3, "m^3", "liquid_volume")
    kelvins = Input("T", "temperature of the mixture", kelvin, "kelvin", "temperature")
    return _table(varied.name, shares_frac, ph, (volume, rest, kelvins))


def of_reagent(
    stream: SpentStream, given_eq: float, shares_frac: Sequence[float] = SHARES, acid: str = "hcl"
) -> Sensitivity:
    """pH of a waste when the neutralizer is a little off.

    Parameters
    ----------
    stream : SpentStream
        The waste before the neutralizer
    given_eq : float
        Sodium hydroxide (+) or acid (−) given [eq]
    shares_frac : Sequence[float]
        Errors of the amount, −0.5 to 0.5 [-]
    acid : str
        "hcl" or "h2so4" [-]

    Returns
    -------
    table : Sensitivity
        One row per share

    Raises: OutOfRange for a share outside its range or an acid that is not known here.
    Source: phreeqc_constants.
    """
    chemical = "naoh" if given_eq >= 0.0 else acid
    per_m3 = given_eq / stream.volume_m3

    def ph(share: float) -> float:
        treated = equilibria.with_reagent(stream.composition, per_m3 * (1.0 + share), acid)
        return equilibria.mixture_ph(treated, stream.temperature_kelvin)

    inputs = (
        Input("n", f"{substance(chemical).formula} given (+ base, − acid)", given_eq, "eq", "equivalents"),
        Input("V", f"volume of {stream.name}", stream.volume_m3, "m^3", "liquid_volume"),
        Input("T", "temperature of the waste", stream.temperature_kelvin, "kelvin", "temperature"),
    )
    return _table(substance(chemical).name, shares_frac, ph, inputs)


def _table(
    varied: str, shares_frac: Sequence[float], ph: Callable[[float], float], inputs: tuple[Input, ...]
) -> Sensitivity:
    rows = []
    for share in shares_frac:
        require_within(share, -0.5, 0.5, f"error in {varied}")
        estimate = Estimate(
            "δ", f"more (+) or less (−) {varied}", share, "dimensionless", "fraction", "set point", (), "trial value", "plant_record",
        )  # fmt: skip
        rows.append(SensitivityRow(estimate, ph_estimate(ph(share), (*inputs, estimate.as_input()))))
    return Sensitivity(varied, tuple(rows), _sentence(varied, rows))


def _percent(row: SensitivityRow) -> str:
    return f"{abs(row.share.value) * 100.0:.3g} %"


def _sentence(varied: str, rows: Sequence[SensitivityRow]) -> str:
    if not rows:
        return "No volume error was tried."
    by_share = sorted(rows, key=lambda row: row.share.value)
    low, high = by_share[0], by_share[-1]
    one = [row for row in by_share if abs(abs(row.share.value) - 0.01) < 1e-9]
    if len(one) == 2:
        low, high = one
    said = (
        f"{_percent(low)} less {varied}: pH {low.ph.value:.1f}; "
        f"{_percent(high)} more: pH {high.ph.value:.1f}."
    )
    return f"{said} A volume cannot replace a pH meter; the measured pH decides."

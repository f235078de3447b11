"""Every figure of the month once more, from its raw rows, by plain Python: nothing of the program is imported here.

Molar masses from standard atomic weights (IUPAC, abridged: H 1.008, Cl 35.45, Na 22.990, O 15.999), in g per equivalent: each of the three
regenerants gives one charge per formula. Mass balances and geometry of a cylinder are worked out by hand.
"""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

Row = dict[str, Any]
Rows = dict[str, list[Row]]

ION_G_PER_MOL = {
    "sodium": 22.990,
    "calcium": 40.078,
    "magnesium": 24.305,
    "chloride": 35.45,
    "sulfate": 32.06 + 4 * 15.999,
    "carbonate": 12.011 + 3 * 15.999,
    "silica": 28.085 + 2 * 15.999,
}
"""Of what stands in waste; one that is not here is a KeyError, and wants its weight."""
G_PER_EQ = {"hcl": 1.008 + 35.45, "naoh": 22.990 + 15.999 + 1.008, "nacl": 22.990 + 35.45}


# --- the ledger -------------------------------------------------------------------------------------------------------
def balances(rows: Rows, upto: int | None = None) -> dict[tuple[str, str], int]:
    """Grams as 100 % by chemical and place, after the movement ``upto`` (None: after the last)."""
    held: dict[tuple[str, str], int] = defaultdict(int)
    for move in rows["movements"]:
        if upto is not None and move["number"] > upto:
            continue
        held[move["chemical"], move["to_place__code"]] += move["grams_100"]
        held[move["chemical"], move["from_place__code"]] -= move["grams_100"]
    return dict(held)


def of_kinds(rows: Rows, source: str, target: str) -> list[Row]:
    """Movements between places of two kinds."""
    return [m for m in rows["movements"] if m["from_place__kind"] == source and m["to_place__kind"] == target]


def into_batches(rows: Rows) -> dict[tuple[str, str], int]:
    """Net grams as 100 % by batch number and chemical: what was taken back is taken off."""
    used: dict[tuple[str, str], int] = defaultdict(int)
    for move in rows["movements"]:
        if move["to_place__kind"] == "batch":
            used[move["reference"], move["chemical"]] += move["grams_100"]
        elif move["from_place__kind"] == "batch":
            used[move["reference"], move["chemical"]] -= move["grams_100"]
    return dict(used)


# --- a batch ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class BatchFigures:
    """One batch, recounted. Masses as 100 % in grams."""

    number: str
    family: str
    chemical: str
    vessel: str
    day: Any
    volume_ml: int
    theory_grams: float
    planned_grams: float
    used_grams: int
    by_customer: dict[str, Fraction]
    """Share of the resin by customer, of 1."""
    by_lot: dict[str, Fraction]
    by_resin_lot: dict[str, Fraction]
    by_customer_and_resin_lot: dict[tuple[str, str], Fraction]
    shift: str
    cost_milli: int
    """Thousandths of the currency; 0 without a price."""
    priced_grams: int
    """Of the used mass, what has a price."""
    segregation_class: str = ""
    recipe: str = ""
    volume_form: str = ""
    started_at: Any = None

    @property
    def variance(self) -> float:
        return (self.used_grams - self.planned_grams) / self.planned_grams


def batches(rows: Rows) -> list[BatchFigures]:
    """Every batch that took a chemical."""
    used = into_batches(rows)
    found = []
    for row in rows["batches"]:
        (step,) = [one for one in row["plan"]["steps"] if one["chemical"]]
        chemical = step["chemical"]
        eluted_eq = row["resin_type__operating_capacity_eq_per_m3"] * row["resin_volume_m3"]
        tanks = [one for one in rows["tanks"] if one["batch__number"] == row["number"]]
        found.append(
            BatchFigures(
                number=row["number"],
                family=row["resin_type__family"],
                chemical=chemical,
                vessel=row["vessel__code"],
                day=row["started_at"].date(),
                volume_ml=round(row["resin_volume_m3"] * 1e6),
                theory_grams=eluted_eq * G_PER_EQ[chemical],
                planned_grams=dose_of(row) * row["resin_volume_m3"] * 1000.0,
                used_grams=used.get((row["number"], chemical), 0),
                by_customer=_parts(tanks, "visit__customer__code"),
                by_lot=_lots(rows, row["number"]),
                by_resin_lot=_parts(tanks, "visit__tank__resin_lot__code"),
                by_customer_and_resin_lot=_pairs(tanks),
                shift=_shift(row["started_at"].hour),
                cost_milli=_cost_milli(rows, row["number"], chemical),
                priced_grams=_priced_grams(rows, row["number"], chemical),
                segregation_class=row["segregation_class"],
                recipe=row["recipe_version__recipe__code"],
                volume_form=row["resin_volume_form"],
                started_at=row["started_at"],
            )
        )
    return found


def _parts(tanks: list[Row], key: str) -> dict[str, Fraction]:
    """Shares of the resin by a column of its tanks."""
    whole = sum(Fraction(one["resin_volume_m3"]) for one in tanks)
    found: dict[str, Fraction] = defaultdict(Fraction)
    for one in tanks:
        found[one[key]] += Fraction(one["resin_volume_m3"]) / whole
    return dict(found)


def _pairs(tanks: list[Row]) -> dict[tuple[str, str], Fraction]:
    whole = sum(Fraction(one["resin_volume_m3"]) for one in tanks)
    found: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
    for one in tanks:
        key = one["visit__customer__code"], one["visit__tank__resin_lot__code"]
        found[key] += Fraction(one["resin_volume_m3"]) / whole
    return dict(found)


def _shift(hour: int) -> str:
    """Three shifts of eight hours from six in the morning (common practice)."""
    return "06:00–14:00" if 6 <= hour < 14 else "14:00–22:00" if 14 <= hour < 22 else "22:00–06:00"


def _cost_milli(rows: Rows, number: str, chemical: str) -> int:
    """Each lot's net mass by its price: the lot's own, else that of the chemical; a price of product is paid for what the certificate
    says of it. Rounded to the thousandth, half to even."""
    whole = 0
    for code, grams in _net_by_lot(rows, number).items():
        price = _price(rows, code, chemical)
        if price is None:
            continue
        (lot,) = [one for one in rows["lots"] if one["code"] == code]
        paid_for = (
            Fraction(1) if price["basis"] == "pure" else Fraction(repr(lot["certificate_strength_frac"]))
        )
        whole += round(Fraction(price["milli_per_kg"]) / paid_for * grams / 1000)
    return whole


def _price(rows: Rows, code: str, chemical: str) -> Row | None:
    own = [one for one in rows["prices"] if one["lot__code"] == code]
    general = [one for one in rows["prices"] if one["lot__code"] is None and one["chemical"] == chemical]
    found: Row | None = (own or general or [None])[-1]
    return found


def _priced_grams(rows: Rows, number: str, chemical: str) -> int:
    net = _net_by_lot(rows, number)
    return sum(grams for code, grams in net.items() if _price(rows, code, chemical) is not None)


def _net_by_lot(rows: Rows, number: str) -> dict[str, int]:
    net: dict[str, int] = defaultdict(int)
    for move in rows["movements"]:
        if move["reference"] == number:
            net[move["lot__code"]] += move["grams_100"] * (1 if move["to_place__kind"] == "batch" else -1)
    return dict(net)


def dose_of(row: Row) -> float:
    """The dose the recipe asks for, as it was frozen with the request [kg/m³ as 100 %]."""
    steps = row["plan"]["request"]["recipe"]["steps"]
    (dose,) = [
        setting["target"]
        for step in steps
        for key, setting in step["settings"].items()
        if key == "dose_kg_per_m3"
    ]
    return float(dose)


def _lots(rows: Rows, number: str) -> dict[str, Fraction]:
    net = _net_by_lot(rows, number)
    whole = sum(grams for grams in net.values() if grams > 0)
    if whole == 0:
        return {min(net): Fraction(1)}
    return {code: Fraction(grams, whole) for code, grams in net.items() if grams > 0}


def drawn_litres(rows: Rows, number: str) -> float:
    """What the operator drew, as typed last [L]."""
    typed = [e for e in rows["entries"] if e["step__batch__number"] == number and e["key"] == "stock_drawn"]
    return float(typed[-1]["value_as_typed"])


def checked_before(rows: Rows, chemical: str, moment: Any) -> Row:
    """The newest strength check of a chemical before a moment."""
    lots = {lot["code"] for lot in rows["lots"] if lot["chemical"] == chemical}
    return max(
        (one for one in rows["checks"] if one["lot__code"] in lots and one["checked_at"] <= moment),
        key=lambda one: one["checked_at"],
    )


# --- groups -----------------------------------------------------------------------------------------------------------
@dataclass
class Group:
    """Sums of some batches, or of shares of them."""

    batches: int = 0
    volume_ml: float = 0.0
    theory_grams: float = 0.0
    planned_grams: float = 0.0
    used_grams: float = 0.0
    cost_milli: float = 0.0
    priced_grams: float = 0.0
    variances: list[float] = field(default_factory=list)

    def add(self, one: BatchFigures, share: Fraction = Fraction(1)) -> None:
        part = float(share)
        self.batches += 1
        self.volume_ml += part * one.volume_ml
        self.theory_grams += part * one.theory_grams
        self.planned_grams += part * one.planned_grams
        self.used_grams += part * one.used_grams
        self.cost_milli += part * one.cost_milli
        self.priced_grams += part * one.priced_grams
        self.variances.append(one.variance)

    @property
    def variance(self) -> float:
        return (self.used_grams - self.planned_grams) / self.planned_grams

    @property
    def mean_variance(self) -> float:
        return statistics.fmean(self.variances)

    @property
    def spread(self) -> float | None:
        return statistics.stdev(self.variances) if len(self.variances) > 2 else None

    @property
    def ratio(self) -> float:
        """Every injection of this month regenerates, so all that was used counts."""
        return self.used_grams / self.theory_grams

    @property
    def dose_g_per_l(self) -> float:
        return self.used_grams / (self.volume_ml / 1000.0)


def grouped(found: list[BatchFigures], by: str) -> dict[tuple[str, str], Group]:
    """Groups by key and chemical; ``by`` is "family", "vessel", "shift", "customer", "resin_lot", "chemical_lot" or "time"."""
    groups: dict[tuple[str, str], Group] = defaultdict(Group)
    for one in found:
        for key, share in _keys(one, by).items():
            groups[key, one.chemical].add(one, share)
    return dict(groups)


def _keys(one: BatchFigures, by: str) -> dict[str, Fraction]:
    if by == "customer":
        return one.by_customer
    if by == "chemical_lot":
        return one.by_lot
    if by == "resin_lot":
        return one.by_resin_lot
    key = str(one.day) if by == "time" else str(getattr(one, by))
    return {key: Fraction(1)}


# --- tanks and strengths ----------------------------------------------------------------------------------------------
def upright_grams(level_m: float, diameter_m: float, strength_frac: float, density_kg_per_m3: float) -> float:
    """Mass as 100 % in an upright cylinder: area by level by density by strength [g]."""
    return math.pi / 4.0 * diameter_m**2 * level_m * density_kg_per_m3 * strength_frac * 1000.0


def poured_together(*parts: tuple[int, float]) -> float:
    """Strength of what was poured together, from (grams as 100 %, strength): pure over product."""
    pure = sum(grams for grams, _ in parts)
    return pure / sum(grams / strength for grams, strength in parts)


def between(strength_frac: float, low: tuple[float, float], high: tuple[float, float]) -> float:
    """Density between two read values, straight [kg/m³]."""
    (w_low, rho_low), (w_high, rho_high) = low, high
    return rho_low + (rho_high - rho_low) * (strength_frac - w_low) / (w_high - w_low)


# --- the waste --------------------------------------------------------------------------------------------------------
def masses_kg(amounts_mol: dict[str, float]) -> dict[str, float]:
    """Chloride, sodium, sulfate and all dissolved ions together [kg]."""
    mass = {ion: moles * ION_G_PER_MOL[ion] / 1000.0 for ion, moles in amounts_mol.items()}
    return {
        **{ion: mass.get(ion, 0.0) for ion in ("chloride", "sodium", "sulfate")},
        "tds": sum(mass.values()),
    }


def gone_by_day(rows: Rows) -> dict[str, dict[str, float]]:
    """What went to the sewer on each day: discharges as they say themselves, and brine that drained there directly."""
    found: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for one in rows["discharges"]:
        day = found[one["ended_at"].date().isoformat()]
        day["volume"] += one["volume_m3"]
        for ion in ("chloride", "sodium", "sulfate", "tds"):
            day[ion] += one[f"{ion}_kg"]
    for one in rows["drains"]:
        if one["destination"] == "brine_sewer":
            day = found[one["drained_at"].date().isoformat()]
            day["volume"] += one["waste_m3"]
            for ion, kg in masses_kg(one["amounts_mol"]).items():
                day[ion] += kg
    return {day: dict(sums) for day, sums in found.items()}


PASSES = {"hcl": "chloride", "naoh": "sodium", "nacl": "chloride"}
"""What of each regenerant its resin keeps nothing of: all that is fed leaves, mole for mole."""


def fed_mol(rows: Rows, number: str, chemical: str) -> float:
    """What a batch took by what stands written of it; a draw taken back by hand was booked elsewhere, its entries still stand."""
    grams = 0
    for move in rows["movements"]:
        if move["reference"] == number and move["chemical"] == chemical and move["corrects__number"] is None:
            into, out = move["to_place__kind"] == "batch", move["from_place__kind"] == "batch"
            grams += move["grams_100"] * (into - out)
    return grams / G_PER_EQ[chemical]


def drained_mol(rows: Rows, number: str, chemical: str) -> float:
    """What of it the steps drained, corrections counted."""
    ion = PASSES[chemical]
    return float(
        sum(row["amounts_mol"].get(ion, 0.0) for row in rows["drains"] if row["batch__number"] == number)
    )


def drained_m3(rows: Rows, number: str) -> dict[str, float]:
    """Volume with chemical by kind of step, of steps that carry some [m^3]."""
    kinds = {row["number"]: row["kind"] for row in rows["steps"] if row["batch__number"] == number}
    found: dict[str, float] = defaultdict(float)
    for row in rows["drains"]:
        if row["batch__number"] == number and row["amounts_mol"]:
            found[kinds[row["step_number"]]] += row["waste_m3"]
    return dict(found)


def still_there(rows: Rows, since: int, until: int) -> float:
    """Of what came into the tank with one movement, the share that stands there at a later one: what leaves a mixed tank takes its part."""
    frac = 1.0
    for row in rows["waste"]:
        if since < row["number"] < until and row["volume_m3"] < 0.0 and row["kind"] != "correction":
            frac *= row["level_m3"] / (row["level_m3"] - row["volume_m3"])
    return frac

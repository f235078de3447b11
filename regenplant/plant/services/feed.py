"""Acts on the feed analysis: what the tanks of this plant usually treat, by a laboratory."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import values_of, within, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.plant.models import FEED_FIGURES, PlantProfile

MOST_EQ_PER_M3 = 1000.0
"""Sea water holds about 600 eq/m³: a bound against slips of unit, no rule of the process."""
BALANCE_FRAC = 0.10
"""How far the charges of cations and anions may lie apart, over their mean; a slip that size is found before it is used.

Standard Methods 1030 E asks for 2 to 10 % by the sum of ions (from memory); bicarbonate stands in the alkalinity.
"""


@dataclass(frozen=True, slots=True)
class FeedSettings:
    """A feed analysis. Equivalents per volume of water; carbon dioxide and silica by amount. All >= 0.

    Sodium stands for all monovalent cations, chloride for chloride and what is like it. ``basis`` says whose analysis, of
    which day.
    """

    calcium_eq_per_m3: float
    magnesium_eq_per_m3: float
    sodium_eq_per_m3: float
    chloride_eq_per_m3: float
    sulfate_eq_per_m3: float
    nitrate_eq_per_m3: float
    alkalinity_eq_per_m3: float
    carbon_dioxide_mol_per_m3: float
    silica_mol_per_m3: float
    basis: str


_NAMES = {
    "calcium_eq_per_m3": "Calcium",
    "magnesium_eq_per_m3": "Magnesium",
    "sodium_eq_per_m3": "Sodium",
    "chloride_eq_per_m3": "Chloride",
    "sulfate_eq_per_m3": "Sulfate",
    "nitrate_eq_per_m3": "Nitrate",
    "alkalinity_eq_per_m3": "Alkalinity",
    "carbon_dioxide_mol_per_m3": "Carbon dioxide",
    "silica_mol_per_m3": "Silica",
}


@use_case("plant.feed_saved", permission="plant.edit")
def save_feed_analysis(*, by: By, feed: FeedSettings, version: int | None = None) -> Outcome:
    """Write the usual feed of the tanks, as a laboratory found it. Plans made from now on use it; frozen ones keep theirs.

    Raises: RecordRefused (no basis, no profile), OutOfRange (a figure that cannot be, charges that do not balance),
    StaleRecord.
    """
    record = _profile()
    basis = words_of(feed.basis, "Whose analysis, of which day", field="basis", most=200, least=5)
    _refuse_figures(feed)
    values = {f"feed_{name}": value for name, value in values_of(feed).items()}
    return _written(record, {**values, "feed_basis": basis}, version)


@use_case("plant.feed_removed", permission="plant.edit")
def remove_feed_analysis(*, by: By, reason: str, version: int | None = None) -> Outcome:
    """The analysis on record holds no longer and no newer one is known. Raises: RecordRefused, StaleRecord."""
    record = _profile()
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    done = _written(record, {**dict.fromkeys(FEED_FIGURES), "feed_basis": ""}, version)
    return Outcome(
        subject=done.subject, before=done.before, after=done.after, reason=words, result=done.result
    )


def _profile() -> PlantProfile:
    record = PlantProfile.objects.select_for_update().filter(pk=1).first()
    if record is None:
        raise RecordRefused("The plant has no profile yet. An administrator writes it first, under Set-up.")
    return record


def _written(record: PlantProfile, values: dict[str, object], version: int | None) -> Outcome:
    before, after = write_changed(record, values, version=version, label="The feed analysis")
    return Outcome(
        subject=("plant", "1", record.name),
        before=before,
        after=after,
        facts={"basis": record.feed_basis},
        result=record,
    )


def _refuse_figures(feed: FeedSettings) -> None:
    for name, words in _NAMES.items():
        kind = "normality" if name.endswith("_eq_per_m3") else "amount_concentration"
        within(getattr(feed, name), 0.0, MOST_EQ_PER_M3, f"{words} of the feed", kind, field=name)
    cations = feed.calcium_eq_per_m3 + feed.magnesium_eq_per_m3 + feed.sodium_eq_per_m3
    anions = (
        feed.chloride_eq_per_m3 + feed.sulfate_eq_per_m3 + feed.nitrate_eq_per_m3 + feed.alkalinity_eq_per_m3
    )
    if cations <= 0.0 or abs(cations - anions) > BALANCE_FRAC * (cations + anions) / 2.0:
        raise OutOfRange(
            f"The charges of this analysis do not balance: cations {units.twin(cations, 'normality')}, anions with alkalinity "
            f"{units.twin(anions, 'normality')}; at most {100 * BALANCE_FRAC:.0f} % apart. Look at the units and at what is "
            "missing; sodium closes a balance that was not measured whole.",
            field="sodium_eq_per_m3",
            code="charges_unbalanced",
            seen=cations,
            allowed=anions,
        )


say("plant.feed_saved", "The feed analysis of {subject} was written: {basis}")
say("plant.feed_removed", "The feed analysis of {subject} was taken off the record: {reason}")

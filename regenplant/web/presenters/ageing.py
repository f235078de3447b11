"""Ageing of lots in words: what is believed and why, what is advised, and the chart of one resin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from regenplant import units
from regenplant.core.process.resin_advice import PROMISE, USUAL_LIFE_YEARS, Step
from regenplant.core.process.resin_ageing import Belief, Part, prior
from regenplant.core.process.resin_fouling import BY_CODE, Seen
from regenplant.core.process.resin_tests import Property
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.drawing.scene import Scene
from regenplant.quality.ageing import LotAgeing, SideAgeing
from regenplant.quality.ageing_evidence import Piece, at
from regenplant.quality.ageing_lines import YEAR
from regenplant.quality.models import LotLook, ResinFigure
from regenplant.resins.models import ResinLot
from regenplant.web.drawing.ageing import AgeingChart, Band, Tested, ageing_scene
from regenplant.web.presenters.words import counted, sentence_case

SHOWN_CYCLES = 12
"""Batches listed with what they lost; as many as make the rate."""
AHEAD_YEARS = 2.0
POINTS = 24
UNKNOWN = "not on record"


# --- figures ------------------------------------------------------------------------------------------------------------
def percent(value: float) -> str:
    return f"{100 * value:.0f}{units.NO_BREAK_SPACE}%"


def band_words(belief: Belief) -> str:
    """ "63 to 90 %"."""
    return f"{100 * belief.low:.0f} to {percent(belief.high)}"


def age_words(parts: Sequence[Part], age_years: float | None) -> str:
    """ "2.4 years", "at least 2.4 years" where a part may be older."""
    if age_years is None:
        return UNKNOWN
    least = any(part.is_at_least or part.age_years is None for part in parts)
    return f"{'at least ' if least else ''}{age_years:.1f} years"


# --- sentences ----------------------------------------------------------------------------------------------------------
def overview_sentence(found: Sequence[LotAgeing]) -> str:
    if not found:
        return "No lot of resin is in use. Lots appear when resin is received or a batch passes."
    asked = [one for one in found if one.urgent.step is not Step.GO_ON]
    off = sum(one.is_off for one in found)
    first = (
        f"{len(asked)} of {counted(len(found), 'lot', 'lots')} in use {'asks' if len(asked) == 1 else 'ask'} for something."
        if asked
        else f"{sentence_case(counted(len(found), 'lot', 'lots'))} in use, none asks for anything."
    )
    return first + (f" Plans count with a capacity outside the band for {off}." if off else "")


def lot_sentence(found: LotAgeing) -> str:
    belief = found.proposed
    which = f" of its {found.weakest.family.abbreviation} resin" if found.weakest.resin else ""
    return (
        f"Believed to have {percent(belief.mean)}{which} capacity left, of new; {band_words(belief)} in nine of ten cases. "
        f"Mean age {age_words(found.parts, found.age_years)}."
    )


def off_sentence(found: LotAgeing) -> str:
    """What is to be said where plans count with another factor than is believed; "" where they do not."""
    if not found.is_off:
        return ""
    return (
        f"Plans count with {percent(found.in_use)} of new; the record says {percent(found.proposed.mean)}, "
        f"{band_words(found.proposed)}. A supervisor sets it."
    )


def in_use_words(found: LotAgeing) -> str:
    """The factor that plans count with, and where it comes from."""
    if found.set is None:
        return f"{percent(found.in_use)} of new, as the lot was made; nobody set it"
    return f"{percent(found.in_use)} of new, set by {found.set.set_by.full_name} on {timezone.localtime(found.set.set_at):%Y-%m-%d}: {found.set.reason.rstrip('.')}"


# --- what it rests on ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class BasisRow:
    """One line of what a capacity rests on."""

    what: str
    says: str
    weight: str
    note: str
    url: str


def basis_rows(found: LotAgeing, side: SideAgeing) -> list[BasisRow]:
    """The published ageing first, then each piece of evidence, used or not."""
    before = side.posterior.prior
    rows = [
        BasisRow(
            "Published ageing",
            f"{percent(before.mean)} ± {100 * before.sd:.0f}",
            percent(side.posterior.shares["prior"]),
            side.curve.words,
            "",
        )
    ]
    return rows + [_basis_row(found, side, piece) for piece in side.pieces]


def _basis_row(found: LotAgeing, side: SideAgeing, piece: Piece) -> BasisRow:
    if piece.evidence is None:
        return BasisRow(piece.what, "", "", f"not counted: {piece.why_not}", _url(found, piece))
    least = "at least " if piece.evidence.is_at_least else ""
    weight = side.posterior.shares.get(piece.evidence.key)
    note = "far from what was expected: look at the sample" if piece.is_apart else ""
    return BasisRow(
        piece.what,
        f"{least}{percent(piece.evidence.factor)} ± {100 * piece.evidence.sd:.0f}",
        percent(weight) if weight is not None else "lower bound",
        note,
        _url(found, piece),
    )


def _url(found: LotAgeing, piece: Piece) -> str:
    kind, key = piece.page
    if kind == "trend":
        return reverse("trends-lot", args=[key])
    if kind == "batch":
        return reverse("batches-detail", args=[key])
    return "#laboratory" if kind == "sample" else ""


def widening_words(side: SideAgeing) -> str:
    """What is to be said where the pieces disagree; "" where they agree."""
    if side.posterior.widening <= 1.005:
        return ""
    return f"The pieces disagree; the band is widened by a factor of {side.posterior.widening:.2f} (Birge ratio)."


# --- laboratory and looks ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class FigureRow:
    """One current figure."""

    row: ResinFigure
    label: str
    value: str
    new: str
    ratio: str
    correct_url: str


def figure_rows(side: SideAgeing, system: units.UnitSystem) -> list[FigureRow]:
    rows = []
    for row in side.figures:
        about = Property(row.property)
        rows.append(
            FigureRow(
                row,
                about.label,
                units.format_quantity(row.value, about.kind, system),
                units.format_quantity(row.new_value, about.kind, system) if row.new_value is not None else "",
                percent(row.value / row.new_value) if row.new_value and about.is_capacity else "",
                reverse("resin-ageing-correct", args=[row.sample.lot.code, row.pk]),
            )
        )
    return rows


def look_sentence(look: LotLook) -> str:
    """ "Brown beads, short runs; quick test on iron: yes. Words.\""""
    signs = ", ".join(Seen(code).label for code in look.seen) or "looked sound"
    tests = "".join(
        f"; quick test on {BY_CODE[code].name}: {answer}" for code, answer in look.answers.items()
    )
    return f"{sentence_case(signs)}{tests}." + (f" {look.words}" if look.words else "")


# --- losses --------------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class LossRow:
    """One batch behind the lot."""

    number: str
    filled: datetime
    share: str
    came_in: str
    topped_up: str
    out: str
    catcher: str
    lost: str
    note: str


def loss_rows(found: LotAgeing, system: units.UnitSystem) -> list[LossRow]:
    """What each regeneration lost, newest first; volumes without their unit, which the head says."""

    def volume(value: float | None) -> str:
        return "" if value is None else units.format_quantity(value, "resin_volume", system, with_unit=False)

    rows = []
    for one in found.cycles[:SHOWN_CYCLES]:
        loss, share = one.loss, one.lost_frac
        planned = "" if loss.is_counted else "came in as planned, not counted"
        rows.append(
            LossRow(
                loss.number,
                loss.filled_at,
                percent(one.share_frac),
                volume(loss.came_in_m3),
                volume(loss.topped_up_m3 or None),
                volume(loss.out_m3),
                volume(loss.in_catcher_m3),
                "" if share is None else signed_percent(share),
                f"not counted: {one.why_not}" if one.why_not else planned,
            )
        )
    return rows


@dataclass(frozen=True, slots=True)
class PartRow:
    """One resin of a mixed bed at the cut of one batch."""

    number: str
    resin: str
    counted: str
    composed: str
    short: str


def part_rows(found: LotAgeing, system: units.UnitSystem) -> list[PartRow]:
    """What was counted apart at the cuts, newest first; nothing where the records hold no count of both resins."""

    def volume(value: float) -> str:
        return units.format_quantity(value, "resin_volume", system, with_unit=False)

    return [
        PartRow(one.loss.number, part.leg.value, volume(part.counted_m3), volume(part.composed_m3), signed_percent(part.short_frac))
        for one in found.cycles[:SHOWN_CYCLES]
        for part in one.loss.parts
    ]  # fmt: skip


def parts_sentence(found: LotAgeing, rows: Sequence[PartRow]) -> str:
    """What the records of a mixed bed tell of each of its resins; "" for other lots."""
    if not ResinFamily(found.lot.resin_type.family).is_mixed:
        return ""
    if not rows:
        return "These losses are of the whole bed: cation and anion resin are counted apart only at the cut, and no batch on record here has both counts."
    return (
        "The losses above are of the whole bed. At the cut both resins are counted apart; held against each one’s share of the bed as it was loaded, "
        "the counts tell which of them is short. One count may be 5 % off (common practice)."
    )


def signed_percent(share: float) -> str:
    """A loss in percent with one decimal; with a minus sign where more was counted out than in."""
    words = f"{abs(100 * share):.1f}{units.NO_BREAK_SPACE}%"
    return f"−{words}" if share < -0.0005 else words


def losses_sentence(found: LotAgeing) -> str:
    """The rate with its spread; "" where no cycle counts."""
    rate = found.losses
    if rate is None:
        return ""
    if rate.sd_frac is None or rate.low_frac is None or rate.high_frac is None:
        return f"One cycle on record: {signed_percent(rate.mean_frac)} of what came in was lost. A rate needs more."
    return (
        f"{signed_percent(rate.mean_frac)} of what came in is lost in a cycle: mean of {rate.count} batches, single ones ±{100 * rate.sd_frac:.1f} points "
        f"(one standard deviation); the mean lies between {signed_percent(rate.low_frac)} and {signed_percent(rate.high_frac)} in nine of ten cases."
    )


# --- the chart ---------------------------------------------------------------------------------------------------------------
def chart_of(found: LotAgeing, side: SideAgeing) -> Scene:
    """Capacity left over the years, for the resin as it is composed now."""
    back = max([1.0, *(part.age_years or 0.0 for part in found.parts)])
    back = max([back, *((found.at - row.sample.taken_at) / YEAR for row in side.figures)])
    published = [_published(found, side, -back * (1 - step / POINTS)) for step in range(POINTS + 1)]
    now = Band(0.0, side.now.mean, side.now.low, side.now.high)
    ahead = [_ahead(found, side, AHEAD_YEARS * step / POINTS) for step in range(POINTS + 1)]
    label = f"Capacity left over the years, {side.type.code}. {percent(side.now.mean)} of new now, {band_words(side.now)}; plans count with {percent(found.in_use)}."
    chart = AgeingChart(
        published,
        now,
        ahead,
        [one for row in side.figures if (one := _tested(found, side, row))],
        found.in_use,
    )
    return ageing_scene(chart, label=label)


def _published(found: LotAgeing, side: SideAgeing, years: float) -> Band:
    belief = prior(side.curve, at(found.parts, found.at + years * YEAR, found.at))
    return Band(years, belief.mean, belief.low, belief.high)


def _ahead(found: LotAgeing, side: SideAgeing, years: float) -> Band:
    """What is believed now, less what published ageing takes until then, with the spread it adds."""
    older = tuple(
        Part(
            part.share_frac,
            None if part.age_years is None else min(60.0, part.age_years + years),
            part.is_at_least,
        )
        for part in found.parts
    )
    then, before = prior(side.curve, older), side.posterior.prior
    sd = (side.now.sd**2 + max(0.0, then.sd**2 - before.sd**2)) ** 0.5
    belief = Belief(max(0.0, side.now.mean - (before.mean - then.mean)), sd)
    return Band(years, belief.mean, belief.low, belief.high)


def _tested(found: LotAgeing, side: SideAgeing, row: ResinFigure) -> Tested | None:
    about = Property(row.property)
    if not about.is_capacity or not row.new_value:
        return None
    counts = {piece.page[1] for piece in side.pieces if piece.is_used and piece.what.startswith(about.label)}
    return Tested(
        years=(row.sample.taken_at - found.at) / YEAR,
        value=row.value / row.new_value,
        name=row.sample.number,
        says=f"{about.label} {percent(row.value / row.new_value)} of new, sampled {row.sample.taken_at:%Y-%m-%d}",
        url="#laboratory",
        is_counted=row.sample.number in counts,
    )


# --- how ------------------------------------------------------------------------------------------------------------------------
def method_rows(found: LotAgeing) -> list[tuple[str, str]]:
    """Which rules stand behind the figures, and where they are from."""
    lives = {
        curve: years
        for curve, years in USUAL_LIFE_YEARS.items()
        if any(side.curve is curve for side in found.sides)
    }
    life = (
        f" Usual age of replacement {', '.join(f'{years:.0f} years' for years in lives.values())} (Gottlieb 1997)."
        if lives
        else ""
    )
    return [
        ("Published ageing", " ".join(dict.fromkeys(side.curve.words for side in found.sides)) + life),
        (
            "How pieces come together",
            "Each piece is a normal distribution; they are weighed by their precision (1/variance). Where they disagree more than "
            "their deviations allow, the band is widened (R. T. Birge, 1932). The band runs from 5 to 95 %.",
        ),
        (
            "A test",
            "Salt splitting says what a strong-base resin still does; of cation resin total capacity says the same. A test is carried "
            "forward by what published ageing takes since, and counts less for resin that came in later.",
        ),
        (
            "Rinses",
            "Old anion resin rinses long: common practice. How much capacity a longer rinse means no publication says; this program "
            "begins with half the rise, weakly, and learns from the plant’s own salt-splitting tests of other lots.",
        ),
        (
            "Loads",
            "Throughput times the feed analysis over the operating capacity of new resin, ±10 % (common practice). Tanks that came back "
            "exhausted say what it holds, others that it holds at least so much. A customer’s own water may differ from the analysis.",
        ),
        (
            "Losses",
            "Loaded and topped up, less filled, kept and cut, of every batch through which a twentieth of the lot or more went; the newest "
            "twelve. Two counts of settled resin may lie 5 % apart, so one cycle proves little. 1 to 3 % a cycle are usual: common practice. "
            "The band of the mean is Student’s t.",
        ),
        ("Advice", PROMISE),
    ]


def origin_rows(found: LotAgeing) -> list[tuple[str, str, str, str, bool]]:
    """By delivery: code, share, age, cycles, and whether its lot has a page."""
    rows = []
    for one in found.line.deliveries:
        days = one.age_days(found.at)
        age = (
            UNKNOWN
            if days is None
            else f"{'at least ' if one.is_at_least else ''}{timedelta(days=days) / YEAR:.1f} years"
        )
        rows.append(
            (
                one.part.origin or "several, together",
                percent(one.part.share_frac),
                age,
                f"{one.part.cycles_mean:.1f}",
                bool(one.part.origin),
            )
        )
    return rows


def capacity_facts(found: LotAgeing) -> list[tuple[str, str]]:
    """What the page of the factor shows above its form."""
    return [
        ("In use", in_use_words(found)),
        (
            "Worked out from the record",
            f"{percent(found.proposed.mean)} of new, {band_words(found.proposed)}",
        ),
        *((f"{piece.what}", "counted") for piece in found.weakest.pieces if piece.is_used),
    ]


def lot_facts(lot: ResinLot) -> list[tuple[str, str]]:
    """What the page of a sample or a look shows above its form."""
    return [
        ("Lot", f"{lot.code}, {lot.resin_type.code}, class {lot.segregation_class}"),
        ("Since", f"{timezone.localtime(lot.made_at):%Y-%m-%d %H:%M}"),
    ]

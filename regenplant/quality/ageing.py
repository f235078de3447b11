"""How a lot ages: capacity left as a band with what it rests on, what may foul it, and what is advised. Works out, writes nothing.

Lots of a listing are read together, in a number of queries that does not grow with them but with the generations behind them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Max, Q, QuerySet

from regenplant.batches.cycle_losses import losses_of
from regenplant.core.process.resin_advice import Advice, Standing, Step, advise
from regenplant.core.process.resin_ageing import (
    Belief,
    Curve,
    Part,
    Posterior,
    curve_of,
    mean_age_years,
    prior,
    update,
)
from regenplant.core.process.resin_fouling import Answer, Seen, Suspect, suspects
from regenplant.core.process.resin_losses import LossRate
from regenplant.core.process.resin_tests import Figure, Found, Property, findings
from regenplant.core.process.vocabulary import Purpose, ResinFamily
from regenplant.quality.ageing_evidence import LEAST_SHARE, Piece, of_loads, of_rinses, of_tests, slope_of
from regenplant.quality.ageing_lines import Line, lines_of
from regenplant.quality.ageing_losses import LEAST_OF_LOT, LotCycle, cycles_of, rate_of
from regenplant.quality.models import LotLook, ResinFigure, ResinOf, ResinSample, RinseOutcome
from regenplant.quality.rinse_series import Rinse, Series, rinses, series_of
from regenplant.recipes.models import RecipeVersion
from regenplant.recipes.selectors import recipe_definition
from regenplant.resins.capacities import capacities_of
from regenplant.resins.models import LotCapacity, LotParent, ResinLot, ResinType
from regenplant.tanks.models import Tank

LOOKS_FROM = timedelta(days=365)
"""What was seen longer ago says little of today; this program's choice."""


@dataclass(frozen=True, slots=True)
class SideAgeing:
    """One resin of a lot: the whole of it, or the cation or the anion resin of a mixed bed."""

    resin: str
    type: ResinType
    family: ResinFamily
    curve: Curve
    posterior: Posterior
    pieces: tuple[Piece, ...]
    figures: tuple[ResinFigure, ...]
    """Current laboratory figures of the lot and of what it was made from, newest first."""
    found: tuple[Found, ...]
    suspects: tuple[Suspect, ...]
    advice: tuple[Advice, ...]

    @property
    def now(self) -> Belief:
        return self.posterior.now


@dataclass(frozen=True, slots=True)
class LotAgeing:
    """Everything about the ageing of one lot at one moment."""

    lot: ResinLot
    at: datetime
    line: Line
    parts: tuple[Part, ...]
    age_years: float | None
    """Mean age by share over what is of known age [a]; None where nothing is."""
    sides: tuple[SideAgeing, ...]
    series: Series | None
    """The rinses it is compared by; the one with the newest rinse."""
    looks: tuple[LotLook, ...]
    set: LotCapacity | None
    """What a person set last."""
    cleaned_at: datetime | None
    cycles: tuple[LotCycle, ...]
    """What each regeneration behind it lost, newest first."""
    losses: LossRate | None
    """Their rate; None where none is on record."""

    @property
    def in_use(self) -> float:
        """The factor that plans count with [-]."""
        return self.set.factor if self.set is not None else self.lot.capacity_factor

    @property
    def weakest(self) -> SideAgeing:
        """The resin with the least capacity left: of a mixed bed it limits the other."""
        return min(self.sides, key=lambda side: side.now.mean)

    @property
    def proposed(self) -> Belief:
        """What is worked out for plans, within what a plan takes [-]."""
        found = self.weakest.now
        return Belief(min(1.2, max(0.05, found.mean)), found.sd)

    @property
    def is_off(self) -> bool:
        """Whether plans count with a factor outside the band."""
        return not self.proposed.low <= self.in_use <= self.proposed.high

    @property
    def urgent(self) -> Advice:
        """The most urgent advice of all its resins."""
        return min((side.advice[0] for side in self.sides), key=lambda one: list(Step).index(one.step))


def ageing_of(lot: ResinLot, now: datetime) -> LotAgeing | None:
    """One lot; None for carbon."""
    found = ageing_of_many([lot], now)
    return found[0] if found else None


def lots_in_use() -> QuerySet[ResinLot]:
    """Lots that a tank holds or that nothing was made from yet, not scrapped, of resin that ages."""
    rows = ResinLot.objects.filter(is_scrapped=False).exclude(resin_type__family=ResinFamily.CARBON.value)
    return rows.filter(
        Q(pk__in=Tank.objects.filter(resin_lot__isnull=False).values("resin_lot"))
        | ~Q(pk__in=LotParent.objects.values("parent"))
    ).select_related("resin_type__cation_type", "resin_type__anion_type")


def worst_first(found: Sequence[LotAgeing]) -> list[LotAgeing]:
    """By how urgent the advice is, then by the capacity left."""
    return sorted(found, key=lambda one: (list(Step).index(one.urgent.step), one.proposed.mean, one.lot.code))


def ageing_of_many(lots: Sequence[ResinLot], now: datetime) -> list[LotAgeing]:
    """Each lot that exchanges ions, in the order given."""
    wanted = [lot for lot in lots if not ResinFamily(lot.resin_type.family).is_exchanged]
    if not wanted:
        return []
    record = _Record(wanted, now)
    return [record.of(lot) for lot in wanted]


def basis_of(found: LotAgeing) -> str:
    """What the proposal rests on, as words that stay with the factor a person sets."""
    side = found.weakest
    used = "; ".join(piece.what for piece in side.pieces if piece.is_used) or "no evidence of the plant’s own"
    prior_ = side.posterior.prior
    return f"{side.type.code}: published ageing {100 * prior_.mean:.0f} % (±{100 * prior_.sd:.0f}); {used}"


class _Record:
    """What is read once for all lots of a listing."""

    def __init__(self, lots: Sequence[ResinLot], now: datetime):
        self.now = now
        self.lines = lines_of(lots)
        near = {pk for line in self.lines.values() for pk, share in line.shares.items() if share >= 0.01}
        self.figures = _by_lot(
            ResinFigure.objects.filter(sample__lot__in=near, replaced_by__isnull=True).select_related(
                "sample__lot"
            )
        )
        looks = LotLook.objects.filter(lot__in=near, looked_at__gte=now - LOOKS_FROM).select_related(
            "looked_by", "lot"
        )
        self.looks: dict[int, list[LotLook]] = {}
        for look in looks:
            self.looks.setdefault(look.lot_id, []).append(look)
        self.line_codes = _line_codes(lots)
        rows = rinses(RinseOutcome.objects.filter(line__in=set(self.line_codes.values())))
        self.rinses: dict[str, list[Rinse]] = {}
        for row in rows:
            self.rinses.setdefault(row.line, []).append(row)
        self.series: dict[str, Series] = {}
        for one in series_of(rows):
            known = self.series.get(one.line)
            if known is None or one.last.ended_at > known.last.ended_at:
                self.series[one.line] = one
        self.cleanings = _cleaning_recipes({row.recipe for row in rows})
        large = {
            pk for line in self.lines.values() for pk, share in line.shares.items() if share >= LEAST_OF_LOT
        }
        self.losses = losses_of(large)
        self.capacities = capacities_of([lot.pk for lot in lots])
        self.tested = _tested(now)
        pools = ResinSample.objects.order_by().values_list(
            "lot__resin_type", "lot__segregation_class", "resin"
        )
        self.sampled_at = {row[:3]: row[3] for row in pools.annotate(Max("taken_at"))}
        """When a pool (resin and class) was sampled last: one sample a year speaks for all its lots."""

    def of(self, lot: ResinLot) -> LotAgeing:
        line = self.lines[lot.pk]
        parts, code = line.parts(self.now), self.line_codes.get(lot.pk, "")
        cleaned_at = self._cleaned_at(code)
        looks = tuple(
            sorted(
                (
                    look
                    for pk, share in line.shares.items()
                    if share >= LEAST_SHARE
                    for look in self.looks.get(pk, ())
                    if cleaned_at is None or look.looked_at > cleaned_at
                ),
                key=lambda look: (look.looked_at, look.pk),
                reverse=True,
            )
        )
        series = self.series.get(code)
        cycles = cycles_of(line, self.losses)
        losses = rate_of(cycles)
        sides = tuple(
            self._side(lot, resin, of, line, parts, series, looks, cleaned_at, code, losses)
            for resin, of in _sides(lot)
        )
        return LotAgeing(
            lot,
            self.now,
            line,
            parts,
            mean_age_years(parts),
            sides,
            series,
            looks,
            self.capacities.get(lot.pk),
            cleaned_at,
            cycles,
            losses,
        )

    def _side(
        self, lot: ResinLot, resin: str, of: ResinType, line: Line, parts: tuple[Part, ...], series: Series | None,
        looks: tuple[LotLook, ...], cleaned_at: datetime | None, code: str,
        losses: LossRate | None,
    ) -> SideAgeing:  # fmt: skip
        family = ResinFamily(of.family)
        curve = curve_of(family)
        before = prior(curve, parts)
        figures = [row for pk in line.shares for row in self.figures.get(pk, ()) if row.sample.resin == resin]
        figures.sort(key=lambda row: (row.sample.taken_at, row.pk), reverse=True)
        slope = slope_of(curve, self.tested.get(curve, ()), code, self.now)
        pieces = [
            *of_tests(figures, line, family, curve, before, self.now),
            *of_rinses(series, line, curve, before, self.now, slope),
            *(of_loads(self.rinses.get(code, ()), before, self.now) if not resin else ()),
        ]
        posterior = update(before, [piece.evidence for piece in pieces if piece.evidence is not None])
        since = [row for row in figures if cleaned_at is None or row.sample.taken_at > cleaned_at]
        newest = _newest(since, line)
        found = findings(family, newest)
        seen, answers = _seen(looks, resin)
        if series is not None and series.drifts and family.is_anion:
            seen.add(Seen.LONG_RINSE)
        suspected = suspects(family, seen, {one.finding: one.sentence for one in found}, answers)
        sampled_at = self.sampled_at.get((lot.resin_type_id, lot.segregation_class, resin))
        beads = next((one.value for one in newest if one.property is Property.WHOLE_BEADS), None)
        standing = Standing(
            curve=curve,
            now=posterior.now,
            age_years=mean_age_years(parts),
            suspects=suspected,
            days_since_test=(self.now - sampled_at).days if sampled_at is not None else None,
            days_since_cleaning=(self.now - cleaned_at).days if cleaned_at is not None else None,
            whole_beads_frac=beads,
            losses=losses,
            disagreeing=[f"{piece.what}: far from what was expected." for piece in pieces if piece.is_apart],
        )
        return SideAgeing(
            resin,
            of,
            family,
            curve,
            posterior,
            tuple(pieces),
            tuple(figures),
            found,
            suspected,
            advise(standing),
        )

    def _cleaned_at(self, code: str) -> datetime | None:
        """When a cleaning batch of its line was judged last."""
        times = [row.ended_at for row in self.rinses.get(code, ()) if row.recipe in self.cleanings]
        return max(times, default=None)


def _sides(lot: ResinLot) -> list[tuple[str, ResinType]]:
    of = lot.resin_type
    if not ResinFamily(of.family).is_mixed:
        return [("", of)]
    return [
        (name.value, side)
        for name, side in ((ResinOf.CATION, of.cation_type), (ResinOf.ANION, of.anion_type))
        if side is not None
    ]


def _by_lot(rows: QuerySet[ResinFigure]) -> dict[int, list[ResinFigure]]:
    found: dict[int, list[ResinFigure]] = {}
    for row in rows:
        found.setdefault(row.sample.lot_id, []).append(row)
    return found


def _line_codes(lots: Sequence[ResinLot]) -> dict[int, str]:
    """The line of rinses that a lot belongs to, by its key; a lot no judged batch knows is in none."""
    codes = [lot.code for lot in lots]
    made = dict(
        RinseOutcome.objects.filter(lot_made__in=codes).exclude(line="").values_list("lot_made", "line")
    )
    own = set(RinseOutcome.objects.filter(line__in=codes).values_list("line", flat=True))
    found = {lot.pk: made.get(lot.code) or (lot.code if lot.code in own else "") for lot in lots}
    return {pk: code for pk, code in found.items() if code}


def _cleaning_recipes(codes: set[str]) -> set[str]:
    rows = RecipeVersion.objects.filter(recipe__code__in=codes).select_related("recipe").order_by("number")
    newest = {row.recipe.code: row for row in rows}
    return {code for code, row in newest.items() if _purpose_of(row) is Purpose.CLEANING}


def _purpose_of(row: RecipeVersion) -> Purpose:
    return recipe_definition(row).purpose


def _newest(rows: Sequence[ResinFigure], line: Line) -> list[Figure]:
    """The newest figure of each property, of resin that makes up half of the lot or more."""
    found: dict[str, Figure] = {}
    for row in rows:
        if line.shares.get(row.sample.lot_id, 0.0) >= LEAST_SHARE and row.property not in found:
            found[row.property] = Figure(Property(row.property), row.value, row.new_value)
    return list(found.values())


def _seen(looks: Sequence[LotLook], resin: str) -> tuple[set[Seen], dict[str, Answer]]:
    """Signs of the newest look at this resin; of each quick test the newest answer."""
    own = [look for look in looks if look.resin == resin]
    answers: dict[str, Answer] = {}
    for look in own:
        for code, answer in look.answers.items():
            answers.setdefault(code, Answer(answer))
    return {Seen(code) for code in own[0].seen} if own else set(), answers


def _tested(now: datetime) -> dict[Curve, list[tuple[Line, ResinFigure, Series | None]]]:
    """Every current salt-splitting test of anion resin with the rinses of its lot: they teach what a longer rinse means here."""
    rows = list(
        ResinFigure.objects.filter(
            property=Property.SALT_SPLITTING.value,
            replaced_by__isnull=True,
            new_value__isnull=False,
            sample__resin="",
        ).select_related("sample__lot__resin_type")
    )
    rows = [row for row in rows if ResinFamily(row.sample.lot.resin_type.family).is_anion]
    if not rows:
        return {}
    lots = list({row.sample.lot_id: row.sample.lot for row in rows}.values())
    lines, codes = lines_of(lots), _line_codes(lots)
    series: dict[str, Series] = {}
    for one in series_of(rinses(RinseOutcome.objects.filter(line__in=set(codes.values())))):
        known = series.get(one.line)
        if known is None or len(one.rinses) > len(known.rinses):
            series[one.line] = one
    found: dict[Curve, list[tuple[Line, ResinFigure, Series | None]]] = {}
    for row in rows:
        lot = row.sample.lot
        curve = curve_of(ResinFamily(lot.resin_type.family))
        found.setdefault(curve, []).append((lines[lot.pk], row, series.get(codes.get(lot.pk, ""))))
    return found

"""Bodies of resin: volume by ionic form, and of which deliveries a lot consists, with the regenerations behind each.

A lot is mixed from lots that were mixed from lots. What a lot knows of its origins is one row for each delivery that is in it:
its share of the volume and its cycles. Mixing is linear in the volumes, counted in one reference form.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from regenplant.core.engineering.beds import volume_in_exhausted_form
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, REGENERATED_FORM, IonicForm, ResinFamily

SMALLEST_SHARE_FRAC = 0.0005
"""Deliveries of which less is left are no longer told apart (ours: half a per mille is under what a count of beads shows)."""
TOGETHER = ""
"""The origin of what is no longer told apart."""
COUNT_BAND_FRAC = 0.05
"""How far two counts of settled resin may lie apart: what a bed tells when it is tapped, soft or uneven (common practice)."""
LOSS_WATCH_FRAC = 0.03
"""Loss and top-up for each cycle above which a person looks: losses of 1 to 3 % a cycle are usual (common practice, not a
limit)."""


@dataclass(frozen=True, slots=True)
class Part:
    """What of a lot came from one delivery.

    ``origin`` is the delivery's lot; for resin of unrecorded origin the first lot that held it, which is then at least as old.
    ``cycles_mean`` is volume-weighted over the ways it took; cycles are regenerations after service.
    """

    origin: str
    share_frac: float
    cycles_mean: float
    cycles_least: int
    cycles_most: int
    is_recorded: bool = True


def new_part(origin: str, cycles: int, *, is_recorded: bool = True) -> tuple[Part, ...]:
    """A lot that comes into the books as it is: one part."""
    return (Part(origin, 1.0, float(cycles), cycles, cycles, is_recorded),)


def blended(
    pieces: Iterable[tuple[float, Sequence[Part]]], *, made: str, cycles_added: int
) -> tuple[Part, ...]:
    """The parts of a lot mixed from others, largest first.

    Parameters
    ----------
    pieces : iterable of (share, parts)
        Of each lot that went in: its share of the whole, above 0, and its parts. Shares under one together leave a rest of
        unrecorded origin.
    made : str
        Code of the lot that is made; the origin of such a rest.
    cycles_added : int
        Regenerations between those lots and this one: 1 after a regeneration, 0 after mixing, splitting, conditioning.

    Raises: OutOfRange for shares that are not above 0 or together above one.
    Source: balance of volumes (shares add up along every way).
    """
    found: dict[tuple[str, bool], Part] = {}
    whole = 0.0
    for share, parts in pieces:
        require_within(share, 0.0, 1.0 + 1e-6, "share of a lot", "")
        whole += share
        for part in parts:
            _add(found, replace(part, share_frac=part.share_frac * share))
    if whole > 1.0 + 1e-6:
        raise OutOfRange(
            f"The shares add up to {whole:.4f}; at most 1 is possible.", seen=whole, allowed_high=1.0
        )
    if 1.0 - whole > 1e-6:
        _add(found, Part(made, 1.0 - whole, 0.0, 0, 0, is_recorded=False))
    aged = [_older(part, cycles_added) for part in _told_apart(found.values())]
    return tuple(sorted(aged, key=lambda part: (-part.share_frac, part.origin)))


def _add(found: dict[tuple[str, bool], Part], part: Part) -> None:
    key = (part.origin, part.is_recorded)
    before = found.get(key)
    found[key] = part if before is None else _together(before, part)


def _together(one: Part, other: Part) -> Part:
    share = one.share_frac + other.share_frac
    cycles = one.cycles_mean * one.share_frac + other.cycles_mean * other.share_frac
    return Part(
        one.origin,
        share,
        cycles / share if share else 0.0,
        min(one.cycles_least, other.cycles_least),
        max(one.cycles_most, other.cycles_most),
        one.is_recorded and other.is_recorded,
    )


def _told_apart(parts: Iterable[Part]) -> list[Part]:
    """The parts, those under the smallest share as one."""
    kept: list[Part] = []
    rest: Part | None = None
    for part in parts:
        if part.origin != TOGETHER and part.share_frac >= SMALLEST_SHARE_FRAC:
            kept.append(part)
            continue
        small = replace(part, origin=TOGETHER)
        rest = small if rest is None else _together(rest, small)
    return kept if rest is None else [*kept, rest]


def _older(part: Part, cycles: int) -> Part:
    return replace(
        part,
        cycles_mean=part.cycles_mean + cycles,
        cycles_least=part.cycles_least + cycles,
        cycles_most=part.cycles_most + cycles,
    )


def mean_cycles(parts: Iterable[Part]) -> float:
    """Regenerations behind the resin, weighted by volume."""
    return sum(part.share_frac * part.cycles_mean for part in parts)


# --- volumes ----------------------------------------------------------------------------------------------------------
def forms_with_volume(family: ResinFamily) -> tuple[IonicForm, ...]:
    """The forms between which the swelling of a resin type tells the volume: the exhausted and the regenerated one."""
    return tuple(dict.fromkeys((EXHAUSTED_FORM[family], REGENERATED_FORM[family])))


def in_exhausted_form_m3(
    volume_m3: float, form: IonicForm, family: ResinFamily, swelling_frac: float
) -> float:
    """A settled volume counted in ``form``, as it is in the exhausted form, in which volumes are added and compared.

    Parameters
    ----------
    volume_m3 : float
        Settled, > 0 [m^3]
    form : IonicForm
        The exhausted or the regenerated form of the family.
    swelling_frac : float
        Growth from the exhausted to the regenerated form, of the resin type [-]

    Returns
    -------
    volume_m3 : float
        In the exhausted form [m^3]

    Raises: OutOfRange for another form, whose swelling is not on record, and for a volume not above zero.
    Source: supplier_sheet (``beds.volume_in_exhausted_form``).
    """
    _need_form(form, family)
    return volume_in_exhausted_form(volume_m3, swelling_frac, form is not EXHAUSTED_FORM[family]).value


def in_form_m3(exhausted_m3: float, form: IonicForm, family: ResinFamily, swelling_frac: float) -> float:
    """A volume in the exhausted form, as it is in another; the way back of ``in_exhausted_form_m3``. May be zero or below
    (a difference) [m^3]."""
    _need_form(form, family)
    return exhausted_m3 * (1.0 if form is EXHAUSTED_FORM[family] else 1.0 + swelling_frac)


def _need_form(form: IonicForm, family: ResinFamily) -> None:
    known = forms_with_volume(family)
    if form not in known:
        names = " or ".join(one.label for one in known)
        raise OutOfRange(
            f"How much this resin grows between {form.label} and the others is not on record. Count it in {names}.",
            field="volume_form",
        )


def require_same_count(
    counted_m3: float, expected_m3: float, what: str, *, field: str = "volume_m3"
) -> float:
    """The difference of a count to what the volumes before it make, both in the exhausted form [m^3].

    Raises: OutOfRange when it is more than ``COUNT_BAND_FRAC`` of what was expected: then one of them was written wrongly.
    """
    difference = counted_m3 - expected_m3
    if abs(difference) > COUNT_BAND_FRAC * expected_m3 + 1e-9:
        low, high = expected_m3 * (1 - COUNT_BAND_FRAC), expected_m3 * (1 + COUNT_BAND_FRAC)
        raise OutOfRange(
            f"{what} is {counted_m3 * 1000:.1f} L in the exhausted form; what went in makes {expected_m3 * 1000:.1f} L. They may "
            f"lie {COUNT_BAND_FRAC:.0%} apart ({low * 1000:.1f} to {high * 1000:.1f} L). Count again, or write down what was lost.",
            field=field,
            seen=counted_m3,
            allowed_low=low,
            allowed_high=high,
        )
    return difference

"""Small words that several pages share."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.utils import timezone

from regenplant import units
from regenplant.core.process.wording import listed
from regenplant.plant.models import Instrument


def counted(number: int, noun: str, plural: str = "") -> str:
    """ "no batch", "one batch", "3 batches"."""
    if number == 0:
        return f"no {noun}"
    return f"one {noun}" if number == 1 else f"{thousands(number)} {plural or noun + 's'}"


def thousands(number: int) -> str:
    """A count as people read it: "992", "1 562" with a thin space."""
    return f"{number:,}".replace(",", units.THIN_SPACE)


def sentence_case(text: str) -> str:
    """The first letter large, the others as they are; pH stays pH."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def joined(names: Iterable[str], word: str = "and") -> str:
    """ "L. Brae", "L. Brae and M. Tarn", "A, B or C"."""
    text = listed(list(names))
    return text if word == "and" else f" {word} ".join(text.rsplit(" and ", 1))


def clock(moment: datetime) -> str:
    """Plant time of day: 14:05."""
    return f"{timezone.localtime(moment):%H:%M}"


def day_and_clock(moment: datetime) -> str:
    """Plant day and time: 2026-03-11 14:05."""
    return f"{timezone.localtime(moment):%Y-%m-%d} {clock(moment)}"


def both(value: float, kind: str, system: str) -> str:
    """The value in the person's unit, the other in brackets: "832 L (29.4 ft³)"."""
    other = units.other_system(value, kind, system)
    own = units.format_quantity(value, kind, system)
    return f"{own} ({other})" if other else own


def calibration_words(instrument: Instrument, is_valid: bool) -> str:
    """ "calibrated to 2026-06-01", or why its readings prove nothing."""
    due = instrument.calibration_due_on
    if is_valid and due is not None:
        return f"calibrated to {due.isoformat()}"
    if instrument.out_of_service_at is not None:
        return "out of service"
    return f"was due {due.isoformat()}" if due is not None else "never calibrated"


def together(name: str) -> str:
    """A name that is never broken over two lines."""
    return name.replace(" ", units.NO_BREAK_SPACE)


def short_digest(digest: str) -> str:
    """The first eight characters in two groups, as on paper: "c2d4 07aa"."""
    return f"{digest[:4]} {digest[4:8]}"


def ago(moment: datetime, now: datetime) -> str:
    """How long ago: "12 min", "3 h", "2 days"."""
    minutes = int((now - moment).total_seconds() // 60)
    if minutes < 60:
        return f"{max(0, minutes)}{units.NO_BREAK_SPACE}min"
    if minutes < 48 * 60:
        return f"{minutes // 60}{units.NO_BREAK_SPACE}h"
    return f"{minutes // 1440}{units.NO_BREAK_SPACE}days"


def monday_of(day: date) -> date:
    """The Monday of this day's week."""
    return day - timedelta(days=day.weekday())

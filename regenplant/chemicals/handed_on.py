"""Open spills and counts that differ, at a change of shift: a coming shift knows them until somebody has seen to them."""

from __future__ import annotations

from datetime import datetime

from regenplant import units
from regenplant.chemicals.counts import open_differences
from regenplant.chemicals.spills import newest_figure, open_spills
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.handed_on import LiveLine, LiveSection


def spill_section(now: datetime) -> LiveSection:
    """One line for each open spill. Three queries."""
    lines = []
    for spill in open_spills():
        figure = newest_figure(spill)
        mass = units.twin(figure.grams_100 / 1000.0, "mass")
        limit = " The reportable quantity is reached." if figure.is_reached else ""
        lines.append(
            LiveLine(
                f"{spill.number}: {Chemical(spill.chemical).label.lower()}, {mass} as 100 %, {spill.location}.",
                f"It {spill.get_reached_display()}.{limit} A supervisor or the safety lead closes it.",
                is_hazard=True,
                needs_person=True,
                kind="spill",
                key=spill.number,
            )
        )
    return LiveSection("spills", "Spills", tuple(lines), "No spill is open.")


def count_section(now: datetime) -> LiveSection:
    """One line for each count that differs from the books and that nobody has booked yet. At most four queries."""
    lines = []
    for stands in open_differences():
        count, gap = stands.count, stands.gap_grams_100
        side = "more" if gap > 0 else "less"
        lines.append(
            LiveLine(
                f"{count.place.code} holds {units.twin(abs(gap) / 1000.0, 'mass')} as 100 % {side} than the books say.",
                f"{count.number} by {count.counted_by.full_name} waits for a second person. Look for a leak first.",
                is_hazard=gap < 0,
                needs_person=True,
                kind="stock_count",
                key=count.number,
            )
        )
    return LiveSection("stock_counts", "Stock counts", tuple(lines), "No count differs from the books.")

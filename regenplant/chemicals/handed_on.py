"""Open spills at a change of shift: a coming shift knows them until somebody has closed them."""

from __future__ import annotations

from datetime import datetime

from regenplant import units
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

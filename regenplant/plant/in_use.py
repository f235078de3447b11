"""What stands above the set-up and uses an instrument now, registered from above.

The settings of an instrument are not changed while something reads with it. The set-up does not know the rooms above it, so a
room that reads with instruments says so in ``AppConfig.ready``::

    in_use.register("rinse", lambda instrument_id: "B-10021 is rinsing and reads with it")
"""

from __future__ import annotations

from collections.abc import Callable

Asked = Callable[[int], str]
_ASKED: dict[str, Asked] = {}


def register(name: str, asked: Asked) -> None:
    """``asked`` gets the key of an instrument and says who uses it, "" for nobody. The later one of a name holds."""
    _ASKED[name] = asked


def used_by(instrument_id: int) -> str:
    """Who uses the instrument now, as words for a sentence; "" for nobody."""
    return "; ".join(filter(None, (_ASKED[name](instrument_id) for name in sorted(_ASKED))))

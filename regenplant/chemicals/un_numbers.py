"""UN numbers as typed and as read. Goods that are not dangerous for transport, such as brine, have none; that is said and not left empty."""

from __future__ import annotations

NO_UN_NUMBER = "none"


def normal_un(text: str) -> str:
    """ "un 1789" is "UN1789"; digits alone get their letters; "None" is "none"."""
    found = "".join(text.upper().split())
    if found == NO_UN_NUMBER.upper():
        return NO_UN_NUMBER
    return f"UN{found}" if found.isdigit() else found


def un_words(number: str) -> str:
    """The number as a person reads it."""
    return "no UN number" if number == NO_UN_NUMBER else number

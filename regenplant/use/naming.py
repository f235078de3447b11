"""How a group of the audit is called, on the page, in the file and on paper."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from regenplant.core.process.vocabulary import ResinFamily, SegregationClass
from regenplant.tanks.models import Customer
from regenplant.use.models import UseShare
from regenplant.use.selectors.question import By

NONE_WORDS = {
    By.CUSTOMER: "no customer on record",
    By.RESIN_LOT: "resin of no lot on record",
    By.CHEMICAL_LOT: "no lot on record",
}


def names_of(by: By, keys: Iterable[str]) -> dict[str, str]:
    """Names by key; one query for customers, none for the rest."""
    wanted = list(dict.fromkeys(keys))
    customers: Mapping[str, str] = {}
    if by is By.CUSTOMER:
        customers = dict(Customer.objects.filter(code__in=wanted).values_list("code", "name"))
    return {key: _name(by, key, customers) for key in wanted}


def chart_name(by: By, key: str, names: Mapping[str, str]) -> str:
    """The name that has room on a narrow drawing: of a customer the code alone, of a class its letter."""
    if by in (By.CUSTOMER, By.CLASS) and key:
        return key
    return names[key]


def _name(by: By, key: str, customers: Mapping[str, str]) -> str:
    if by.value in UseShare.Kind.values and not key:
        return NONE_WORDS[by]
    if by is By.FAMILY:
        return ResinFamily(key).abbreviation
    if by is By.CLASS:
        return f"class {key} · {SegregationClass(key).label}"
    if by is By.CUSTOMER:
        return f"{customers[key]} ({key})" if key in customers else key
    return key


NARROWED_WORDS = {
    "chemical": "chemical",
    "family": "resin family",
    "segregation_class": "segregation class",
    "vessel": "vessel",
    "shift": "shift",
    "customer": "customer",
    "resin_lot": "resin lot",
    "chemical_lot": "chemical lot",
}


def narrowed_words(pairs: Iterable[tuple[str, str]]) -> str:
    """ "chemical lot L-31, family SAC-H"; "" for nothing narrowed."""
    said = []
    for name, value in pairs:
        shown = ResinFamily(value).abbreviation if name == "family" else value
        said.append(f"{NARROWED_WORDS[name]} {shown}")
    return ", ".join(said)

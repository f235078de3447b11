"""Which price holds for a chemical lot, and what a mass of it cost."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation

from regenplant.chemicals.models import ChemicalLot
from regenplant.core.errors import OutOfRange
from regenplant.plant.selectors import plant_day
from regenplant.use.models import ChemicalPrice

LEAST_PRICE, MOST_PRICE = Decimal("0.001"), Decimal("10000")


def milli_of(text: str) -> int:
    """A price as typed, in thousandths. A decimal point or a decimal comma; no more than three decimals.

    Raises: OutOfRange with the allowed range.
    """
    plain = text.strip().replace(" ", "")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        price = Decimal(plain) if all(c.isascii() and (c.isdigit() or c == ".") for c in plain) else None
    except InvalidOperation:
        price = None
    if price is None or not plain:
        raise OutOfRange(
            f"“{text[:20]}” is no price. Write the amount per kg, for example 0.385.",
            field="price",
            code="no_price",
        )
    if not LEAST_PRICE <= price <= MOST_PRICE or price * 1000 != int(price * 1000):
        raise OutOfRange(
            f"A price of {plain[:20]} per kg cannot be kept; allowed is from {LEAST_PRICE} to {MOST_PRICE}, with at most three decimals.",
            field="price",
        )
    return int(price * 1000)


class PriceList:
    """The prices as they stand, read once. A lot's own price comes first; else, of those for its supplier or for every supplier that count
    from a day not after its receipt, the one with the latest day; of the same day the supplier's own, then the newest entry."""

    def __init__(self) -> None:
        self._prices = list(ChemicalPrice.objects.order_by("entered_at", "id"))
        self._milli: dict[str, Decimal | None] = {}

    @property
    def currency(self) -> str:
        """ISO 4217; "" while no price is entered."""
        return self._prices[-1].currency if self._prices else ""

    def price_of(self, lot: ChemicalLot) -> ChemicalPrice | None:
        """The price that holds for this lot; None where none is entered."""
        own = [price for price in self._prices if price.lot_id == lot.pk]
        if own:
            return own[-1]
        supplier = lot.data_sheet.supplier.casefold() if lot.data_sheet is not None else None
        received = plant_day(lot.received_at)
        usable = [
            (price.from_day, bool(price.supplier), number, price)
            for number, price in enumerate(self._prices)
            if price.lot_id is None
            and price.chemical == lot.chemical
            and price.from_day <= received
            and price.supplier.casefold() in ("", supplier)
        ]
        return max(usable)[-1] if usable else None

    def milli_per_kg_100(self, lot: ChemicalLot) -> Decimal | None:
        """Thousandths of the currency per kg as 100 %: a price of product divided by the certificate's strength, which is what was paid for."""
        price = self.price_of(lot)
        if price is None:
            return None
        if price.basis == ChemicalPrice.Basis.PURE:
            return Decimal(price.milli_per_kg)
        return Decimal(price.milli_per_kg) / Decimal(repr(lot.certificate_strength_frac))

    def cost_milli(self, code: str, grams: int) -> int | None:
        """What this mass of a lot cost, in whole thousandths of the currency; None without a price."""
        if not self._prices or not code:
            return None
        if code not in self._milli:
            lot = ChemicalLot.objects.select_related("data_sheet").get(code=code)
            self._milli[code] = self.milli_per_kg_100(lot)
        milli = self._milli[code]
        if milli is None:
            return None
        return int((milli * grams / 1000).to_integral_value(ROUND_HALF_EVEN))

    def lots_priced(self, lots: Iterable[ChemicalLot]) -> dict[str, Decimal | None]:
        """Price per kg as 100 % by code of lot, for a listing."""
        return {lot.code: self.milli_per_kg_100(lot) for lot in lots}

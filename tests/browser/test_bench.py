"""The bench calculator in a real browser: at three widths, accessible, by keyboard, and understood while typing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.people.models import Person
from tests.browser.hands import (
    WIDTHS,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)

ASKED = (
    "/bench/bed_expansion/?units=metric&bead_diameter=0.65+mm&bead_density=1280+kg%2Fm3&settled_void=0.38"
    "&velocity=16+gpm%2Fft2&temperature=41+F"
)
WATER = (  # its answers beside the main one are long in two unit systems, its choice of a bed is long too
    "/bench/effluent_resistivity/?units=metric&stage=cation&calcium=1.1&magnesium=0.35&sodium=0.8&chloride=0.78"
    "&sulfate=0.35&total_inorganic_carbon=2.27&sodium_leak=2+mg%2FL&temperature=25+degC"
)
REFUSED = "/bench/stock_volume/?units=us&chemical=hcl&resin_volume=3.5&dose=6&stock_strength=95+furlongs&strength=5&stock_temperature=300"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("screen", WIDTHS)
def test_the_bench_fits_and_is_accessible(
    open_page: Callable[..., Page], operator: Person, screen: str, dark: bool
) -> None:
    page = open_page(screen, dark=dark)
    page.watch.expect(422)  # type: ignore[attr-defined]
    sign_in(page, operator)
    for name, address in (("list", "/bench/"), ("answer", ASKED), ("water", WATER), ("refused", REFUSED)):
        page.goto(address)
        assert_accessible(page)
        assert_fits(page)
        assert_targets_are_large(page)
        shot(page, f"bench-{name}-{screen}-{'dark' if dark else 'light'}")


def test_a_quantity_is_worked_out_by_keyboard_alone(page: Page, operator: Person) -> None:
    sign_in(page, operator)
    page.goto("/bench/density/")
    page.get_by_label("Chemical").select_option("hcl")
    page.get_by_label("Strength, weight per weight").press_sequentially("32 wt%")
    expect(page.locator("#id_strength-understood")).to_contain_text("32")
    page.keyboard.press("Enter")
    expect(page.locator(".q.xl b")).to_have_text("1\u202f159.4")  # CRC Handbook, 102nd ed.
    assert "strength=32+wt%25" in page.url
    page.locator(".working summary").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".working .sum").first).to_contain_text("Source:")

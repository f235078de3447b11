"""Signing in and out in a real browser; also the proof that pages are watched."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.people.models import Person
from tests.browser.hands import (
    WIDTHS,
    Watch,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("screen", WIDTHS)
def test_the_sign_in_page_fits_and_is_accessible(
    open_page: Callable[..., Page], screen: str, dark: bool
) -> None:
    page = open_page(screen, dark=dark)
    page.goto("/sign-in/")
    expect(page.locator("h1")).to_have_text("Sign in")
    assert_accessible(page)
    assert_fits(page)
    assert_targets_are_large(page)
    shot(page, f"sign-in-{screen}-{'dark' if dark else 'light'}")


def test_an_operator_signs_in_and_lands_on_the_floor(page: Page, operator: Person) -> None:
    sign_in(page, operator)
    assert page.url.endswith("/floor/")
    expect(page.locator("details.menu summary")).to_contain_text(operator.full_name)


def test_a_wrong_password_is_refused_beside_the_form_and_the_name_stays(page: Page, operator: Person) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(operator.username)
    page.get_by_label("Password").fill("not the password")
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_text("Name and password do not fit together.")).to_be_visible()
    expect(page.get_by_label("Name")).to_have_value(operator.username)


def test_a_page_without_sign_in_leads_to_the_sign_in_page_and_back(page: Page, operator: Person) -> None:
    page.goto("/preferences/")
    assert "/sign-in/?next=/preferences/" in page.url


def test_the_watch_sees_what_is_said_on_the_console_and_asked_of_other_machines(
    page: Page, live_server
) -> None:  # type: ignore[no-untyped-def]
    watch = Watch(page, live_server.url)
    page.goto("/sign-in/")
    page.evaluate("console.error('spoken'); fetch('http://127.0.0.1:9/elsewhere').catch(() => 0)")
    page.wait_for_timeout(200)
    assert any("spoken" in problem for problem in watch.problems)
    assert any("elsewhere" in problem for problem in watch.problems)
    page.watch.problems.clear()  # type: ignore[attr-defined]

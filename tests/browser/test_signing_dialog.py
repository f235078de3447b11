"""The signature in a real browser: Enter and scanners never sign, the password can be looked at, nothing typed is lost."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.people.authority import BUILT_IN, plain_of
from regenplant.people.models import AuthorityVersion, Person
from regenplant.people.services import draft_authority
from regenplant.tanks.models import Customer
from tests import factories
from tests.browser.hands import (
    WIDTHS,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)
from tests.browser.walking import sign

Open = Callable[..., Page]


@pytest.fixture
def draft(live_server: Any, supervisor: Person) -> AuthorityVersion:
    """Something that waits for a signature."""
    made: AuthorityVersion = draft_authority(
        by=factories.By(factories.first_administrator(), timezone.now(), "tests"),
        rights={**plain_of(BUILT_IN), "tank.ship": {"planner": ["*"]}},
        reason="Planners ship.",
    ).result
    return made


@pytest.fixture
def dialog(open_page: Open, draft: AuthorityVersion, supervisor: Person) -> Callable[..., Page]:
    """``dialog("tablet", script=False)``: the page with the signature, the supervisor signed in."""

    def make(screen: str = "tablet", **how: Any) -> Page:
        page = open_page(screen, **how)
        sign_in(page, supervisor)
        page.goto(f"/authority/{draft.number}/approve/")
        return page

    return make


def is_signed() -> bool:
    return AuthorityVersion.objects.get().state == "approved"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("screen", WIDTHS)
def test_the_dialog_fits_and_is_accessible(dialog: Callable[..., Page], screen: str, dark: bool) -> None:
    page = dialog(screen, dark=dark)
    expect(page.locator(".sign")).to_contain_text("meaning: approval of the authority matrix")
    assert_accessible(page)
    assert_fits(page)
    assert_targets_are_large(page)
    shot(page, f"signature-{screen}-{'dark' if dark else 'light'}")


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_enter_never_signs_the_button_does(
    dialog: Callable[..., Page], supervisor: Person, script: bool
) -> None:
    page = dialog(script=script)
    page.locator(".sign input[name=username]").fill(supervisor.username)
    page.locator(".sign input[name=password]").fill(factories.PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert page.url.endswith("/approve/") and not is_signed()
    page.get_by_role("button", name="Approve and sign").click()
    expect(page.locator(".receipt")).to_contain_text("Signed: version 1")
    assert is_signed()


def test_a_scanned_code_is_taken_out_of_the_password_again(
    dialog: Callable[..., Page], supervisor: Person
) -> None:
    page = dialog()
    page.locator(".sign input[name=username]").fill(supervisor.username)
    password = page.locator(".sign input[name=password]")
    password.fill(factories.PASSWORD)
    password.focus()
    page.keyboard.type("T-20417", delay=2)
    page.keyboard.press("Enter")
    expect(page.locator("[data-scan-refused]")).to_be_visible()
    expect(password).to_have_value(factories.PASSWORD)
    assert not is_signed()


def test_the_password_can_be_looked_at_while_it_is_typed(dialog: Callable[..., Page]) -> None:
    page = dialog()
    field = page.locator(".sign input[name=password]")
    field.fill("seen")
    page.get_by_role("button", name="Show the password").click()
    assert field.get_attribute("type") == "text"
    page.get_by_role("button", name="Hide the password").click()
    assert field.get_attribute("type") == "password"


def test_without_a_script_there_is_no_button_that_does_nothing(dialog: Callable[..., Page]) -> None:
    page = dialog(script=False)
    expect(page.get_by_role("button", name="Show the password")).to_be_hidden()
    sign(page, "Approve and sign")
    expect(page.locator(".receipt")).to_contain_text("Signed: version 1")


def nobody_touched_it(minutes: float) -> None:
    """Every terminal stood alone for so long."""
    for row in Session.objects.all():
        session = SessionStore(row.session_key)
        session["touched_at"] = int(time.time() - 60 * minutes)
        session.save()


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_what_was_typed_before_the_time_out_is_sent_on_after_signing_in_again(
    open_page: Open, live_server: Any, supervisor: Person, script: bool
) -> None:
    page = open_page("tablet", script=script)
    sign_in(page, supervisor)
    page.goto("/customers/new/")
    page.locator("main [name=code]").fill("NOR")
    page.locator("main [name=name]").fill("North Clinic")
    nobody_touched_it(31)
    page.watch.expect(401)  # type: ignore[attr-defined]
    page.locator("main form button[type=submit]").click()
    expect(page.locator("h1")).to_have_text("You are signed out; what you typed is kept")
    if script:  # axe is a script itself
        assert_accessible(page)
    shot(page, f"kept-{'script' if script else 'plain'}")
    page.get_by_label("Password").fill(factories.PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.locator("main")).to_contain_text("North Clinic")
    page.get_by_role("button", name="Send it on").click()
    expect(page.locator(".receipt")).to_contain_text("NOR")
    assert Customer.objects.get().name == "North Clinic"


def test_a_page_warns_a_minute_before_and_staying_is_one_press(
    open_page: Open, live_server: Any, supervisor: Person
) -> None:
    page = open_page("tablet")
    sign_in(page, supervisor)
    page.clock.install()
    page.goto("/customers/new/")
    bar = page.locator("#leaving")
    expect(bar).to_be_hidden()
    page.clock.run_for(29.5 * 60 * 1000)
    expect(bar).to_be_visible()
    expect(bar).to_contain_text("You will be signed out in a minute.")
    nobody_touched_it(29.5)
    page.get_by_role("button", name="Stay signed in").click()
    page.wait_for_timeout(300)
    page.clock.run_for(6000)
    expect(bar).to_be_hidden()
    touched = [SessionStore(row.session_key)["touched_at"] for row in Session.objects.all()]
    assert max(touched) > time.time() - 60

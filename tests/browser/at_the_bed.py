"""Working at a bed through its step cards, by what stands on them: two cards while the legs of a mixed bed run side by side."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import zip_longest

from playwright.sync_api import Locator, Page, expect

from regenplant.batches.frozen import judged_rinses, plan_of
from regenplant.batches.models import Batch
from regenplant.batches.rinse import specification_of
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.plan import EntrySpec, PlannedStep
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.web.presenters.bed import lower_first
from tests import factories
from tests.browser.walking import PlantClock, reading


def planned_steps(number: str) -> list[PlannedStep]:
    """The steps of a batch as its frozen plan has them."""
    return list(plan_of(Batch.objects.get(number=number)).steps)


def step_of(number: str, kind: StepKind, leg: Leg = Leg.WHOLE) -> PlannedStep:
    """The first step of this kind in this leg."""
    return next(step for step in planned_steps(number) if step.kind is kind and step.leg is leg)


def card(page: Page, step: PlannedStep) -> Locator:
    """The card of a step that can be worked on, by its heading."""
    return page.get_by_role("article", name=f"{step.number} · {step.name}", exact=True)


def start(page: Page, step: PlannedStep) -> None:
    """Tick and write what stands before the step, then start it; the first one is the start of the loading."""
    write_down(page, step, is_before=True)
    card(page, step).get_by_role("button", name=re.compile(rf"^Start (loading|step {step.number})$")).click()
    expect(card(page, step)).to_contain_text(re.compile("running since", re.I))


def finish(page: Page, step: PlannedStep) -> None:
    """Write what the running step asks for, then end it."""
    write_down(page, step, is_before=False)
    card(page, step).get_by_role("button", name=re.compile("^Step done")).click()
    expect(page.locator(".receipt")).to_contain_text(f"step {step.number}, {step.name}, done")


def write_down(page: Page, step: PlannedStep, *, is_before: bool) -> None:
    """Every required entry: ticks together, then one number or word after the other, as the card asks for them."""
    wanted = [spec for spec in step.entries if spec.is_before == is_before and spec.is_required]
    here = card(page, step)
    ticks = [spec for spec in wanted if spec.kind == "confirm"]
    for spec in ticks:
        here.get_by_label(re.compile(rf"^{re.escape(spec.name)}")).check()
    if ticks:
        here.get_by_role("button", name="Write the ticks down").click()
        expect(page.locator(".receipt")).to_contain_text(f"at {step.name}, by you")
    for spec in (spec for spec in wanted if spec.kind != "confirm"):
        write(page, step, spec, factories.text_for(spec))


def write(page: Page, step: PlannedStep, spec: EntrySpec, text: str) -> None:
    """One entry into the field that the card shows: it stands for what is asked for next."""
    here = card(page, step)
    name = lower_first(spec.name)
    here.get_by_role("textbox", name=re.compile(rf"^Write down: {re.escape(name)}")).fill(text)
    here.get_by_role("button", name="Write it down", exact=True).click()
    if is_critical(spec):
        again = here.get_by_role("textbox", name=re.compile(rf"^Once more: {re.escape(name)}"))
        expect(again).to_have_value("")
        again.fill(text)
        here.get_by_role("button", name="Write it down", exact=True).click()
    expect(page.locator(".receipt")).to_contain_text(f"Written: {name} ")


def work(page: Page, number: str, step: PlannedStep, clock: PlantClock) -> None:
    """One step from its start to its end, with its readings where it is a rinse that is judged."""
    start(page, step)
    clock.forward(seconds=step.value("duration_s"))
    judged = judged_rinses(plan_of(Batch.objects.get(number=number)))
    if step.number in judged:
        rinse_down(page, number, clock, is_last=step.number == judged[-1])
    page.reload()
    finish(page, step)


def work_through(page: Page, number: str, clock: PlantClock, steps: Iterable[PlannedStep]) -> None:
    for step in steps:
        work(page, number, step, clock)


def work_side_by_side(page: Page, number: str, clock: PlantClock) -> None:
    """Both legs at once: the same step of each is started, and each is ended when its own time is up, the shorter one first.

    An injection that is left running until the longer one is through is a deviation, which opens by itself.
    """
    steps = planned_steps(number)
    legs = [[step for step in steps if step.leg is leg] for leg in (Leg.CATION, Leg.ANION)]
    for pair in zip_longest(*legs):
        both = [step for step in pair if step is not None]
        for step in both:
            start(page, step)
        for step in both:
            expect(card(page, step)).to_contain_text("running since")
        waited_s = 0.0
        for step in sorted(both, key=lambda step: step.value("duration_s")):
            clock.forward(seconds=step.value("duration_s") - waited_s)
            waited_s = step.value("duration_s")
            page.reload()
            finish(page, step)


def rinse_down(page: Page, number: str, clock: PlantClock, *, is_last: bool) -> None:
    """Readings on the page of the rinse-down: falling in the first rinse, inside the limit and held in the last."""
    limit = specification_of(Batch.objects.get(number=number)).limit("conductivity")
    page.get_by_role("link", name="Readings of the rinse-down").click()
    if limit is None or limit.high is None:
        expect(page.locator("main")).to_contain_text("judged by its volume")
    elif is_last:
        specification = specification_of(Batch.objects.get(number=number))
        # half the limit, or just inside it where half of it would be purer than water can be
        inside = limit.high * 1e4 * (0.5 if limit.high > 2e-5 else 0.9)
        for index in range(int(specification.hold_time_s // 240) + 2):
            clock.forward(minutes=4)
            reading(page, number, f"{inside * (1 - 0.001 * index):.4g} us/cm")
    else:
        for times in (40.0, 6.0):
            clock.forward(minutes=4)
            reading(page, number, f"{times * limit.high * 1e4:.4g} us/cm")
        expect(page.locator("#rinse-head")).to_contain_text("Not at its end point yet")
    page.get_by_role("link", name=f"Batch {number}").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(number)

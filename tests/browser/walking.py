"""Walking one batch through the screens, as the people of the plant would: by what they read on the page."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, RinseReading
from regenplant.batches.rinse import specification_of
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.plan import EntrySpec
from regenplant.people.models import Person
from regenplant.web.presenters.words import counted, sentence_case
from tests import factories


class PlantClock:
    """The server's clock, so that a hold of a quarter of an hour need not be waited for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._real, self._ahead = timezone.now, timedelta(0)
        monkeypatch.setattr(timezone, "now", self.now)

    def now(self) -> datetime:
        return self._real() + self._ahead

    def forward(self, **delta: float) -> None:
        self._ahead += timedelta(**delta)

    def catch_up(self, moment: datetime) -> None:
        """Stand at least here: what was written through the services ahead of the pages has then happened."""
        self._ahead += max(moment - self.now(), timedelta(0))


def press(page: Page, name: str | re.Pattern[str]) -> None:
    page.get_by_role("button", name=name).first.click()


def receive_and_accept(page: Page, serial: str, customer: str, *, segregation_class: str = "D") -> None:
    """Scan the tag, receive, look over, accept: as the receiving operator."""
    page.goto("/intake/")
    page.get_by_label("Tank that came back").fill(serial.lower())
    press(page, "Go to the tank")
    page.get_by_label("From").select_option(label=customer)
    page.get_by_role("radio", name="exhausted").check()
    press(page, f"Receive {serial}")
    for name, value in (
        ("shell", "sound"),
        ("head_and_fittings", "sound"),
        ("odour", "none"),
        ("water_colour", "clear"),
        ("oxidizer_strip", "none"),
    ):
        page.locator(f"input[name={name}][value={value}]").check()
    page.get_by_label(re.compile("first drain", re.I)).first.fill("7.1")
    press(page, "Write it down")
    press(page, f"Accept to class {segregation_class}")
    expect(page.locator("main")).to_contain_text(re.compile("accepted", re.I))


def start_batch(page: Page, type_id: int) -> str:
    """From the waiting list to a numbered batch; returns its number."""
    page.goto(f"/start/?type={type_id}&class=D")
    page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    press(page, "Start batch")
    page.wait_for_url(re.compile(r"/batches/B-\d+/"))
    return re.search(r"B-\d+", page.url)[0]  # type: ignore[index]


def run_steps(page: Page, number: str, clock: PlantClock) -> None:
    """Every step of the batch by the operator: ticks, numbers, start, done; the rinse with its readings."""
    batch = Batch.objects.get(number=number)
    for step in plan_of(batch).steps:
        write_entries(page, number, step.entries, before=True)
        press(page, re.compile(r"^Start (loading|step)"))
        expect(page.locator(".step .mark").first).to_contain_text("Running")
        if step.kind == "fast_rinse":
            rinse_down(page, batch, clock)
            page.goto(f"/batches/{number}/")
        else:
            clock.forward(seconds=step.value("duration_s"))
            page.reload()
        write_entries(page, number, step.entries, before=False)
        press(page, "Step done")
    expect(page.locator("main")).to_contain_text("Awaiting QC")


def write_entries(page: Page, number: str, entries: tuple[EntrySpec, ...], *, before: bool) -> None:
    wanted = [spec for spec in entries if spec.is_before == before and spec.is_required]
    ticks = [spec for spec in wanted if spec.kind == "confirm"]
    for spec in ticks:
        page.locator(f"#tick-{spec.key}").check()
    if ticks:
        press(page, "Write the ticks down")
    for spec in (spec for spec in wanted if spec.kind != "confirm"):
        page.goto(f"/batches/{number}/?entry={spec.key}")
        write_value(page, spec, factories.text_for(spec))


def write_value(page: Page, spec: EntrySpec, text: str) -> None:
    """One value into the open field; a critical one is asked for once more, into an empty field."""
    field = page.locator("#write input[name=value]")
    field.fill(text)
    press(page, "Write it down")
    if is_critical(spec):
        expect(page.locator("#write")).to_contain_text("Once more, into the empty field.")
        expect(field).to_have_value("")
        field.fill(text)
        press(page, "Write it down")
    expect(page.locator(".receipt, .said").first).to_contain_text(re.compile("Written", re.I))


def rinse_down(page: Page, batch: Batch, clock: PlantClock) -> None:
    """Readings until the end point holds."""
    specification = specification_of(batch)
    limit = specification.limit("conductivity")
    step = next(step for step in plan_of(batch).steps if step.kind == "fast_rinse")
    clock.forward(seconds=step.value("duration_s"))
    if limit is None:
        return
    value = (limit.high or 0.0) * 1e4 * 0.5
    for index in range(int(specification.hold_time_s // 240) + 2):
        clock.forward(minutes=4)
        page.goto(f"/batches/{batch.number}/rinse/")
        temperature = "77 F" if index % 2 else "25 °C"
        reading(page, batch.number, f"{value * (1 - 0.002 * index):.4g} us/cm", temperature=temperature)
    expect(page.locator("main")).to_contain_text(re.compile("met", re.I))


def reading(page: Page, number: str, value: str, *, temperature: str = "25 °C") -> None:
    """One reading on the page of the rinse-down; ends when it stands in the table."""
    before = RinseReading.objects.filter(batch__number=number).count()
    form = page.locator("#reading-form")
    form.locator("input[name=value]").fill(value)
    form.locator("input[name=temperature]").fill(temperature)
    form.locator("select[name=instrument]").select_option(index=_cell(form))
    form.get_by_role("button", name="Write it down").click()
    said = f"{sentence_case(counted(before + 1, 'reading'))} by"
    once_more = form.get_by_text("Once more, into the empty field.")
    expect(page.locator("#rinse-table caption").get_by_text(said).or_(once_more)).to_be_visible()
    if once_more.is_visible():  # by this reading the end point holds
        expect(form.locator("input[name=value]")).to_have_value("")
        form.locator("input[name=value]").fill(value)
        form.get_by_role("button", name="Write it down").click()
    expect(page.locator("#rinse-table caption")).to_contain_text(said)


def _cell(form: Any) -> int:
    labels = [text.strip() for text in form.locator("select[name=instrument] option").all_inner_texts()]
    return next(index for index, text in enumerate(labels) if text.startswith("CELL"))


def measure_and_pass(page: Page, number: str) -> None:
    """The QC technician measures what the specification asks for and signs."""
    batch = Batch.objects.get(number=number)
    for limit in specification_of(batch).limits:
        if limit.measurement == "conductivity":
            continue
        page.goto(f"/batches/{number}/qc/")
        form = page.locator(f"form[action*='/measure/{limit.measurement}/']").first
        high = limit.high if limit.high is not None else (limit.low or 1.0) * 2
        middle = (limit.low + high) / 2 if limit.low else high / 2
        form.locator("input[name$=value]").fill(factories.units.format_quantity(middle, limit.kind))
        form.locator("select[name$=instrument]").select_option(label=_kit(form))
        form.get_by_role("button", name=re.compile("Write it down")).click()
    keep_sample(page, number)
    page.goto(f"/batches/{number}/qc/")
    sign(page, "Pass and sign")
    expect(page.locator("main")).to_contain_text("Passed")


def keep_sample(page: Page, number: str) -> None:
    """The QC technician keeps a sample, where the class of the batch asks for one."""
    page.goto(f"/batches/{number}/qc/")
    kept = page.get_by_role("region", name="Retained sample")
    if kept.count() == 0:
        return
    kept.get_by_role("link", name="Write a sample down").click()
    page.locator("input[name=volume]").fill("0.5 L")
    page.locator("[name=place]").fill("Shelf 3, left")
    page.locator("main form button[type=submit]:not([disabled])").last.click()
    expect(page.locator(".receipt")).to_contain_text("is kept until")


def _kit(form: Any) -> str:
    labels = [text.strip() for text in form.locator("select[name$=instrument] option").all_inner_texts()]
    return next(text for text in labels if text.startswith(("KIT", "PH")))


def sign(page: Page, button: str) -> None:
    """Sign as whoever the menu names; the first signature of a session asks for the user name as well."""
    name = page.locator(".sign input[name=username]")
    if name.count():
        shown = page.locator("details.menu summary").inner_text().split("·")[0].strip()
        name.fill(Person.objects.get(full_name=shown).username)
    page.locator(".sign input[type=password]").fill(factories.PASSWORD)
    press(page, button)


def review(page: Page, number: str) -> None:
    """Look through the whole record and sign that it was reviewed."""
    page.goto(f"/batches/{number}/review/")
    page.get_by_role("link", name="Open it all").click()
    # what is typed before the new page stands is lost with the old one
    page.wait_for_url(re.compile(r"open=all"))
    sign(page, "Reviewed, sign")
    expect(page.locator(".receipt")).to_contain_text(f"the record of {number} was reviewed")


def fill_tanks(page: Page, number: str, *, volume: str = "3.6 ft3") -> None:
    """Inspect each shell and fill each tank, then say that filling is done."""
    page.goto(f"/batches/{number}/fill/")
    for _ in range(Batch.objects.get(number=number).tank_links.filter(is_current=True).count()):
        form = page.locator("article.step form").first
        form.get_by_role("radio", name=re.compile("^sound", re.I)).check()
        form.get_by_role("button", name="Write it down").click()
        form.locator("input[name=volume]").fill(volume)
        form.get_by_role("button", name="Write it down").click()
        expect(page.locator(".receipt")).to_contain_text(re.compile("filled", re.I))
    press(page, "Filling is done")
    expect(page.locator(".receipt")).to_be_visible()


def codes_on(pdf: bytes) -> set[str]:
    """Every code that a scanner finds on the printed pages, at 200 dots per inch."""
    found: set[str] = set()
    document = pypdfium2.PdfDocument(pdf)
    for index in range(len(document)):
        picture = document[index].render(scale=200 / 72).to_pil()
        found |= {code.text for code in zxingcpp.read_barcodes(picture)}
    return found


def open_pdf(page: Page, path: str) -> bytes:
    """The paper behind a link, with the person's own session."""
    answer = page.request.get(path)
    assert answer.ok, f"{path} answered {answer.status}"
    assert answer.headers["content-type"] == "application/pdf"
    return bytes(answer.body())


def keep(folder: Path, name: str, data: bytes) -> None:
    (folder / name).write_bytes(data)

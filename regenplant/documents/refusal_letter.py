"""The letter about a refused tank as a paper: words from the core, facts from the visit. The same visit and issue give the same bytes."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.errors import RecordRefused
from regenplant.core.process.drains import Destination, Drained, is_metal, refusal
from regenplant.core.process.intake import names_metals
from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.refusal_letter import Letter, Refused, refusal_letter
from regenplant.documents.batch_sheet_setting import margin_word, section
from regenplant.documents.faces import BODY, LEAD, STRONG, Face, Span, Style
from regenplant.documents.flow import Item, paragraph, rich, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LETTER, Frame, Furniture, PageSize, printed
from regenplant.documents.parts import writing_lines
from regenplant.documents.texts import grouped
from regenplant.plant.selectors import plant_day, profile
from regenplant.safety.selectors import refused_visits
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import findings_against

SIZES = (A4, LETTER)
KIND = "refusal_letter"
_TITLE = Style(Face.BOOK_BOLD, 20, 24)


@dataclass(frozen=True, slots=True)
class LetterContent:
    """Everything the paper says."""

    plant: str
    number: str
    """Of the visit."""
    to: tuple[str, ...]
    letter: Letter
    issue: Issue


def refused_visit(number: str) -> TankVisit:
    """The refused tank of this visit. Raises: RecordRefused for one that is not known, or not refused."""
    found = TankVisit.objects.filter(number__iexact=number.strip()).select_related("tank").first()
    if found is None:
        raise RecordRefused(f"There is no visit {number[:24]} here.", code="unknown_visit")
    if found.state != VisitState.REFUSED:
        raise RecordRefused(
            f"{found.tank.serial} is {found.state}, not refused. The letter is written for a refused tank.", code="not_refused"
        )  # fmt: skip
    return refused_visits().get(pk=found.pk)


def letter_of(visit: TankVisit) -> Letter:
    """The letter as the record stands now."""
    look = visit.inspections.order_by("-inspected_at", "-id").first()
    away = getattr(visit, "refused_away", None)
    seen = tuple(look.findings_that_stop) if look is not None else ()
    own = visit.segregation_class or visit.tank.segregation_class
    return refusal_letter(
        Refused(
            plant=profile().name,
            customer=visit.customer.name,
            serial=visit.tank.serial,
            size=visit.tank.size.code,
            resin=visit.resin_type.code,
            came_on=plant_day(visit.received_at).isoformat(),
            reason=visit.reason,
            findings=tuple(dict.fromkeys((*seen, *findings_against(visit)))),
            site=visit.site.name if visit.site else "",
            declared_service=visit.customer.declared_service,
            stands_at=visit.bay,
            left_on=away.left_on.isoformat() if away is not None else "",
            drain_refusal=_drain_refusal(visit, own),
        )
    )


def _drain_refusal(visit: TankVisit, own_class: str) -> str:
    """Of a tank that served metals, or is of their class: why its drain may not go to the waste tank; "" of any other."""
    served = names_metals(visit.customer.declared_service, visit.customer_words)
    if not is_metal(own_class, has_metal_flag=served):
        return ""
    return refusal(own_class, Drained.REGENERANT, Destination.NEUTRALIZATION, has_metal_flag=True)


def letter_content(number: str, issue: Issue) -> LetterContent:
    """The letter of a refused tank. Raises: RecordRefused."""
    visit = refused_visit(number)
    to = (
        visit.customer.name,
        visit.customer.contact,
        visit.site.name if visit.site else "",
        visit.site.address if visit.site else "",
    )
    return LetterContent(profile().name, visit.number, tuple(filter(None, to)), letter_of(visit), issue)


def draw_letter(content: LetterContent, size: PageSize) -> bytes:
    """The letter as PDF."""
    frame = Frame(size)
    width, letter, issue = frame.width, content.letter, content.issue
    items = [
        Item(stacked([paragraph(line, BODY, width) for line in content.to], 1), margin=margin_word("To")),
        Item(paragraph(letter.subject, _TITLE, width), gap=16, margin=margin_word("About"), keep=True),
        *(Item(paragraph(words, LEAD, width), gap=5) for words in letter.opening),
    ]
    if letter.findings:
        items += [section("What was found", width, margin_word("Found")), *_points(letter.findings, width)]
    items += [
        section("Please tell us in writing, as soon as you can", width, margin_word("We ask")),
        *_points(letter.asks, width),
        section("Until then", width, margin_word("Care")),
        *(Item(paragraph(words, BODY, width), gap=4) for words in letter.closing),
        Item(writing_lines("For the plant: name, day, signature", width, 2), gap=22, margin=margin_word("Signed")),
    ]  # fmt: skip
    furniture = Furniture(
        plant=content.plant,
        paper="Refused tank",
        number=content.number,
        foot=(
            f"{letter.subject}, visit {content.number}",
            f"Record {issue.chain_number}: {grouped(issue.chain_head)}",
            f"Print {issue.number}, {issue.printed_at} by {issue.printed_by}",
        ),
        title=f"{letter.subject}, print {issue.number}",
    )
    return printed(items, frame, furniture)


def _points(lines: tuple[str, ...], width: float) -> list[Item]:
    return [
        Item(rich((Span("– ", STRONG), Span(line, BODY)), width, leading=BODY.leading), gap=2)
        for line in lines
    ]


__all__ = ["KIND", "SIZES", "draw_letter", "letter_content", "letter_of", "refused_visit"]

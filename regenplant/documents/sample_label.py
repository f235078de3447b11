"""The label on a retained sample: its number with a code that scans to its page, the batch, when and by whom taken, kept until when."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass
from regenplant.documents import codes
from regenplant.documents.faces import BODY, SMALL, STRONG, Face, Style
from regenplant.documents.flow import Block, beside, paragraph, stacked
from regenplant.documents.issue import Issue
from regenplant.documents.label_frame import Sheet, draw_labels
from regenplant.documents.page import LABEL, PageSize
from regenplant.documents.parts import Named, grid
from regenplant.documents.texts import moment, own
from regenplant.plant.selectors import profile
from regenplant.quality.retained import sample_numbered

SIZES = (LABEL,)
KIND = "sample_label"
_NUMBER = Style(Face.BOLD, 27, 31)
_UNTIL = Style(Face.BOLD, 16, 20)


@dataclass(frozen=True, slots=True)
class SampleLabelContent:
    """Everything the label says, but for the print it comes from."""

    plant: str
    number: str
    batch: str
    resin: str
    segregation_class: str
    class_label: str
    volume_m3: float
    place: str
    taken_at: str
    taken_by: str
    keep_until: str
    issue: Issue


def sample_label_content(number: str, issue: Issue) -> SampleLabelContent:
    """The label of a sample. Raises: RecordRefused for an unknown number, and for a sample that was discarded."""
    row = sample_numbered(number)
    if row is None:
        raise RecordRefused(f"There is no sample {number[:20]}.", code="unknown")
    if hasattr(row, "discard"):
        raise RecordRefused(f"{row.number} was discarded; it gets no label.", code="discarded")
    plant = profile()
    return SampleLabelContent(
        plant=plant.name,
        number=row.number,
        batch=row.batch.number,
        resin=ResinFamily(row.batch.resin_type.family).label,
        segregation_class=row.batch.segregation_class,
        class_label=SegregationClass(row.batch.segregation_class).label,
        volume_m3=row.volume_m3,
        place=row.place,
        taken_at=moment(row.taken_at.astimezone(ZoneInfo(plant.time_zone))),
        taken_by=row.taken_by.full_name,
        keep_until=row.keep_until.isoformat(),
        issue=issue,
    )


def draw_sample_label(content: SampleLabelContent, size: PageSize, system: str) -> bytes:
    """One label as PDF. The same content gives the same bytes."""
    sheet = Sheet("Retained sample", lambda width: _body(content, width, system), scales=(1.0,))
    title = f"Label of sample {content.number}, issue {content.issue.number}"
    return draw_labels([sheet], size, title, content.plant, content.issue)


def _body(content: SampleLabelContent, room: float, system: str) -> Block:
    side = codes.qr_side(content.number)
    words = stacked([
        paragraph(content.number, _NUMBER, room - side),
        paragraph(f"Keep until {content.keep_until}", _UNTIL, room - side),
        paragraph(content.resin, BODY, room - side - 4),
    ])  # fmt: skip
    head = beside([(0, words), (room - side + codes.QR_QUIET * codes.MODULE_PT, codes.qr(content.number))])
    facts = [
        Named("Batch", content.batch),
        Named("Class", f"{content.segregation_class} · {content.class_label}"),
        Named("Volume", own(content.volume_m3, "liquid_volume", "", system)),
        Named("Taken", content.taken_at),
        Named("By", content.taken_by),
        Named("Place", content.place),
    ]
    note = paragraph(
        "Not for use. It is opened for tests of its batch only, and discarded by a person with the right for it.",
        SMALL,
        room,
    )
    return stacked([head, grid(facts, room, 3, gap=2.5, value_style=STRONG), note], 6)

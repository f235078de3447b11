"""Tank tags: charged only when released, told apart in black and white, readable by scanner and person."""

from dataclasses import replace

import pypdfium2
import pytest

from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.documents import handling
from regenplant.documents.issue import Issue
from regenplant.documents.page import A4, LABEL, LETTER
from regenplant.documents.tank_tag import TagReading, TagState, TankTagContent, draw_tank_tags
from tests.documents.reading import (
    Code,
    character_boxes,
    codes_by_page,
    overprinted,
    page_sizes,
    page_texts,
    plain,
)

ISSUE = Issue(3, "2026-03-12 09:20-06:00", "J. Fenn", 4190, "ab" * 32, 3)
CHARGED = TankTagContent(
    plant="Alder Quay",
    state=TagState.CHARGED,
    state_words="Regenerated, passed by QC and released.",
    serial="T-20417",
    visit_number="V-30012",
    size="14 × 47",
    resin_family="Strong-base anion type 1, hydroxide form",
    resin_abbreviation="SBA1-OH",
    resin_type="A-1 gel, invented",
    segregation_class="D",
    class_label="Industrial",
    dedicated_to="",
    neck_band="blue over white",
    batch_number="B-10412",
    lot_code="L-0044",
    resin_volume_m3=0.099,
    resin_form="as filled",
    released_on="2026-03-12",
    readings=(
        TagReading("Conductivity", 1.12e-5, "conductivity", "at 25 °C, end of rinse"),
        TagReading("Silica", 6e-5, "concentration", ""),
    ),
    handling=handling.handling_of_charged(ResinFamily.SBA_TYPE_1),
    cautions=(handling.caution_of_content(ResinFamily.SBA_TYPE_1),),
    call="Call 555, then the supervisor.",
    issue=ISSUE,
)
WAITING = replace(
    CHARGED,
    state=TagState.NOT_RELEASED,
    state_words="The tank is refilled. Do not ship, do not connect.",
    released_on="",
    readings=(),
    handling=handling.handling_of_stopped(ResinFamily.SBA_TYPE_1),
    cautions=(handling.NOT_TESTED,),
)
HELD = replace(
    WAITING,
    state=TagState.HELD,
    state_words="First drain pH 3.1, at least 4.",
    cautions=(handling.UNKNOWN_CONTENT,),
)
REFUSED = replace(HELD, state=TagState.REFUSED, state_words="Oxidizer strip colored.", serial="T-20420")
WORDS = {TagState.CHARGED: "CHARGED", TagState.NOT_RELEASED: "NOT RELEASED", TagState.HELD: "HELD", TagState.REFUSED: "REFUSED"}  # fmt: skip
ALL = (CHARGED, WAITING, HELD, REFUSED)


@pytest.mark.parametrize("content", ALL, ids=lambda content: content.state.value)
@pytest.mark.parametrize("size", [LABEL, A4, LETTER], ids=lambda size: size.key)
def test_the_state_is_said_and_no_other(content, size):
    text = page_texts(draw_tank_tags((content,), size, "metric"))[0]
    assert WORDS[content.state] in text
    assert ("CHARGED" in text) == (content.state is TagState.CHARGED)
    assert "EXCHANGED" not in text
    assert plain(content.state_words) in text


def test_a_charged_tag_says_what_is_in_the_tank_and_what_was_measured():
    text = page_texts(draw_tank_tags((CHARGED,), LABEL, "metric"))[0]
    for words in (
        "T-20417",
        "V-30012",
        "SBA1-OH",
        "D · Industrial",
        "B-10412",
        "L-0044",
        "2026-03-12",
        "99.0 L",
        "3.50 ft³",
        "band: blue over white",
    ):
        assert words in text, words
    # 0.112 µS/cm is 1/0.112 MΩ·cm
    assert "0.112 µS/cm" in text and "8.93 MΩ·cm" in text and "at 25 °C, end of rinse" in text
    assert AUTHORITY in text
    assert "Call 555, then the supervisor." in text
    assert "Issue 3, 2026-03-12 09:20-06:00, J. Fenn" in text


def tag_of(family: ResinFamily) -> TankTagContent:
    """A released tag of this family."""
    return replace(
        CHARGED,
        state=TagState.EXCHANGED if family.is_exchanged else TagState.CHARGED,
        state_words="Filled with new carbon, passed by QC and released."
        if family.is_exchanged
        else CHARGED.state_words,
        resin_family=family.label,
        resin_abbreviation=family.abbreviation,
        handling=handling.handling_of_charged(family),
        cautions=(handling.caution_of_content(family),),
        is_carbon=family.is_exchanged,
    )


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("family", list(ResinFamily))
def test_each_family_has_its_own_caution_and_handling(family, system):
    tag = tag_of(family)
    pdf = draw_tank_tags((tag,), LABEL, system)
    text = page_texts(pdf)[0]
    caution = tag.cautions[0]
    assert caution.signal.value.upper() in text
    assert plain(caution.headline) in text
    assert all(plain(measure) in text for measure in caution.measures)
    assert all(plain(sentence) in text for sentence in tag.handling)
    assert AUTHORITY in tag.handling
    assert overprinted(pdf) == []
    assert codes_by_page(pdf)[0] == {Code("QR Code", "T-20417"), Code("Code 128", "T-20417")}


def test_families_are_handled_by_what_they_are():
    said = {family: " ".join(handling.handling_of_charged(family)) for family in ResinFamily}
    assert {family for family in said if "Never backwash it" in said[family]} == {ResinFamily.MIXED_BED, ResinFamily.MIXED_BED_POLISHING}  # fmt: skip
    assert {family for family in said if "It swells in use" in said[family]} == {ResinFamily.WAC_HYDROGEN, ResinFamily.WBA}  # fmt: skip
    assert {family for family in said if "Wet it through" in said[family]} == {ResinFamily.CARBON}
    assert {family for family in said if "Usual practice: use it within" not in said[family]} == {ResinFamily.CARBON}  # fmt: skip


def test_carbon_is_exchanged_and_never_regenerated():
    tags = (tag_of(ResinFamily.CARBON), replace(tag_of(ResinFamily.CARBON), state=TagState.NOT_RELEASED, handling=handling.handling_of_stopped(ResinFamily.CARBON)))  # fmt: skip
    for size in (LABEL, A4):
        text = " ".join(page_texts(draw_tank_tags(tags, size, "metric")))
        assert "EXCHANGED" in text and "CHARGED" not in text.split()
        assert "Carbon lot" in text and "Resin lot" not in text
        assert "regenerat" not in text.lower() and "beads" not in text.lower()


@pytest.mark.parametrize("size", [LABEL, A4, LETTER], ids=lambda size: size.key)
def test_both_codes_of_a_tag_give_its_serial(size):
    read = codes_by_page(draw_tank_tags((CHARGED,), size, "us"))[0]
    assert read == {Code("QR Code", "T-20417"), Code("Code 128", "T-20417")}


def test_five_tags_are_five_labels_or_two_sheets():
    five = tuple(replace(WAITING, serial=f"T-{number}") for number in range(20401, 20406))
    labels, sheets = draw_tank_tags(five, LABEL, "metric"), draw_tank_tags(five, A4, "metric")
    assert len(page_sizes(labels)) == 5
    assert page_sizes(labels)[0] == pytest.approx((100 / 25.4 * 72, 150 / 25.4 * 72), abs=0.1)
    read = codes_by_page(sheets)
    assert [len(page) for page in read] == [8, 2]
    assert {code.payload for page in read for code in page} == {tag.serial for tag in five}


def test_states_are_told_apart_without_colour():
    """Ink in the state band in grey: a charged tag is open paper around its word, all others are hatched."""

    def ink_of(content) -> float:
        page = pypdfium2.PdfDocument(draw_tank_tags((content,), LABEL, "metric"))[0]
        image = page.render(scale=2, grayscale=True).to_pil()
        width, height = image.size
        corner = image.crop((int(width * 0.06), int(height * 0.09), int(width * 0.11), int(height * 0.14)))
        shades = corner.tobytes()
        return 1 - sum(shades) / (255 * len(shades))

    assert ink_of(CHARGED) < 0.02
    assert all(ink_of(content) > 0.15 for content in (WAITING, HELD, REFUSED))


@pytest.mark.parametrize("size", [LABEL, A4, LETTER], ids=lambda size: size.key)
def test_the_longest_words_that_records_allow_are_set_smaller_and_never_over_the_code(size):
    long = replace(
        HELD,
        serial="T-2041700000000000000000",
        state_words="The shell is cracked near the neck and the first drain is yellow. " * 5,
        dedicated_to="Moonlight Lens Polish and Daughters of the Upper Valley " * 2,
        class_label="Dedicated, customer's own resin",
        plant="A very long name of a plant that nobody could read aloud in one breath",
        resin_type="A-TYPE-CODE-OF-24-SIGNS-X",
        call="Call 555, then the supervisor of the shift, then the safety lead at home; " * 2,
    )
    pdf = draw_tank_tags((long,), size, "metric")
    assert Code("QR Code", long.serial) in codes_by_page(pdf, 300)[0]
    width, height = page_sizes(pdf)[0]
    for left, bottom, right, top in character_boxes(pdf)[0]:
        assert left >= 8 and right <= width - 8
        assert bottom >= 8 and top <= height - 8


@pytest.mark.parametrize("size", [LABEL, A4, LETTER], ids=lambda size: size.key)
def test_a_tag_bears_the_head_of_the_chain(size):
    """Nobody can cut acts off the record, or write it anew, without a tag out at a customer's saying otherwise."""
    text = page_texts(draw_tank_tags((CHARGED,), size, "metric"))[0]
    assert "record 4190: abab abab" in text


def test_the_same_contents_give_the_same_bytes():
    assert draw_tank_tags(ALL, A4, "metric") == draw_tank_tags(ALL, A4, "metric")

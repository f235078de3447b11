"""Paper forms: a number is used once, two people stand behind each transcription, and until then the batch stays."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from regenplant.audit import locks
from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.selectors import story
from regenplant.audit.verifying.registry import Finding, Look
from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping import services
from regenplant.keeping.models import PaperForm, PaperScan
from regenplant.keeping.scans import LARGEST, ScanFile
from regenplant.keeping.selectors import content_of, transcribed_acts, unconfirmed_forms
from regenplant.keeping.verification import check_forms
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import RELEASE_MEANING
from tests import factories

PNG = b"\x89PNG\r\n\x1a\n" + b"the picture of a form"
BACKWASHED = "the network was down"


def issued(
    plant: factories.SmallPlant, batch: Batch | None = None, *, kind: str = "step_record", count: int = 1
) -> list[PaperForm]:
    found: list[PaperForm] = services.issue_form(
        by=plant.by(), kind=kind, count=count, batch_id=batch.pk if batch else None
    ).result
    return found


def taken_up(plant: factories.SmallPlant, batch: Batch) -> PaperForm:
    form = issued(plant, batch)[0]
    found: PaperForm = services.transcribe(by=plant.by(), form_id=form.pk).result
    return found


def entered(plant: factories.SmallPlant, form: PaperForm) -> PaperForm:
    """With a scan and the first signature; nothing was written on it, and the remark says so."""
    services.add_scan(by=plant.by(), form_id=form.pk, scan=ScanFile("form.png", PNG + form.number.encode()))
    permit = factories.permit(plant, "operator", services.TRANSCRIBED_MEANING)
    found: PaperForm = services.finish_transcription(
        by=plant.by(), form_id=form.pk, permit=permit, remarks="Nothing was written on it."
    ).result
    return found


def confirm(plant: factories.SmallPlant, form: PaperForm, who: str = "supervisor") -> PaperForm:
    permit = factories.permit(plant, who, services.CONFIRMED_MEANING)
    found: PaperForm = services.confirm_transcription(by=plant.by(who), form_id=form.pk, permit=permit).result
    return found


def from_paper(
    plant: factories.SmallPlant, form: PaperForm, happened: datetime | None = None, who: str = "operator"
) -> By:
    """Somebody who writes down what stands on the form."""
    return replace(plant.by(who), paper_form=form.number, occurred_at=happened)


def findings() -> list[str]:
    return [one.sentence for one in check_forms(Look()) if isinstance(one, Finding)]


# --- issuing --------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-30")
def test_a_pad_has_numbers_in_a_row_and_says_where_the_record_stood(plant: factories.SmallPlant) -> None:
    forms = issued(plant, kind="rinse_log", count=3)
    numbers = [int(form.number.removeprefix("P-")) for form in forms]
    assert numbers == [numbers[0], numbers[0] + 1, numbers[0] + 2]
    assert {form.pad for form in forms} == {forms[0].number}
    content = content_of(forms[1])
    assert content.number == forms[1].number and len(content.chain_head) == 64 and content.chain_number > 0
    assert issued(plant)[0].number == f"P-{numbers[-1] + 1}"


@pytest.mark.parametrize("kind", PaperForm.Kind.values)
def test_every_kind_is_issued_empty_and_for_a_batch(
    plant: factories.SmallPlant, ready: Batch, kind: str
) -> None:
    empty = content_of(issued(plant, kind=kind)[0])
    if kind == "intake":
        with pytest.raises(RecordRefused, match="not about a batch"):
            issued(plant, ready, kind=kind)
        return
    own = content_of(issued(plant, ready, kind=kind)[0])
    assert empty.batch_number == "" and own.batch_number == ready.number
    assert all(section.rows or section.lines for content in (empty, own) for section in content.sections)
    assert ready.plan_digest[:8] in own.batch_words


def test_a_step_record_carries_the_steps_their_limits_in_both_systems_and_their_cautions(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    content = content_of(issued(plant, ready)[0])
    injection = next(section for section in content.sections if "injection" in section.title.lower())
    assert any(caution.signal.value.lower() == "danger" for caution in injection.cautions)
    flow = next(row for row in injection.rows if "flow" in row.name.lower())
    assert "L/min" in flow.limits and "gpm" in flow.limits
    assert injection.closing.startswith("No hold point") and not injection.no_pause
    factories.run_to(plant, ready, StepKind.INJECT)
    later = content_of(issued(plant, ready)[0])
    assert len(later.sections) < len(content.sections), "steps that are done are not printed again"


def test_a_form_without_a_batch_still_warns_of_acid_and_caustic(plant: factories.SmallPlant) -> None:
    section = content_of(issued(plant, kind="chemical_draw")[0]).sections[0]
    said = " ".join(caution.headline.lower() for caution in section.cautions)
    assert "acid" in said and ("caustic" in said or "hydroxide" in said)


@pytest.mark.parametrize("count", [0, services.MOST_FORMS + 1])
def test_a_pad_has_its_size(plant: factories.SmallPlant, count: int) -> None:
    with pytest.raises(RecordRefused, match="a pad has 1 to 30"):
        issued(plant, count=count)


# --- once -----------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-30")
def test_a_number_is_used_once(plant: factories.SmallPlant, ready: Batch) -> None:
    form = taken_up(plant, ready)
    for who in ("operator", "operator 2", "supervisor"):
        with pytest.raises(RecordRefused, match="A number is used once"):
            services.transcribe(by=plant.by(who), form_id=form.pk)
    confirm(plant, entered(plant, form))
    with pytest.raises(RecordRefused, match="A number is used once"):
        services.transcribe(by=plant.by(), form_id=form.pk)
    with pytest.raises(RecordRefused, match="not printed again"):
        services.print_form(by=plant.by(), form_ids=[form.pk])
    with pytest.raises(RecordRefused):
        services.close_form(
            by=plant.by("supervisor"), form_id=form.pk, state="missing", reason="It cannot be found."
        )


@pytest.mark.requirement("ER-30")
@pytest.mark.parametrize("state", ["spoiled", "missing"])
def test_a_spoiled_or_missing_form_is_never_used(plant: factories.SmallPlant, state: str) -> None:
    form = issued(plant)[0]
    with pytest.raises(RecordRefused, match="at least 10"):
        services.close_form(by=plant.by("supervisor"), form_id=form.pk, state=state, reason="wet")
    services.close_form(
        by=plant.by("supervisor"), form_id=form.pk, state=state, reason="It fell into the sump."
    )
    with pytest.raises(RecordRefused, match="A number is used once"):
        services.transcribe(by=plant.by(), form_id=form.pk)


def test_an_operator_does_not_write_a_form_off(plant: factories.SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        services.close_form(
            by=plant.by(), form_id=issued(plant)[0].pk, state="missing", reason="It cannot be found."
        )


def test_each_print_is_counted(plant: factories.SmallPlant) -> None:
    form = issued(plant)[0]
    prints = [services.print_form(by=plant.by(), form_ids=[form.pk]).result[0].prints for _ in range(2)]
    assert prints == [1, 2]


# --- entering ---------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-30")
def test_what_is_entered_carries_the_number_and_the_time_on_the_paper(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    step = factories.run_to(plant, ready, StepKind.BACKWASH)
    form = taken_up(plant, ready)
    happened = plant.forward(minutes=1)
    plant.forward(hours=3)
    spec = next(spec for spec in plan_of(ready).step(step.number).entries if spec.key == "flow")
    batch_services.write_entry(
        by=from_paper(plant, form, happened), step_id=step.pk, key="flow", text=factories.text_for(spec),
        late=Reason("other", BACKWASHED),
    )  # fmt: skip
    acts = transcribed_acts(form)
    assert [line.event for line in acts] == ["entry.written"]
    assert acts[0].occurred_at == happened and acts[0].is_late
    newest = story([("batch", ready.number)], newest_first=True)[0]
    assert newest.facts["facts"]["paper_form"] == form.number


def test_only_the_transcriber_enters_and_only_into_the_batch_of_the_form(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    form = taken_up(plant, ready)
    other = factories.frozen_batch(plant, "sba_1")
    with pytest.raises(RecordRefused, match="took up form"):
        batch_services.open_deviation(
            by=from_paper(plant, form, who="operator 2"),
            batch_id=ready.pk,
            what="The gauge sticks.",
            severity="minor",
        )
    with pytest.raises(RecordRefused, match="is not what form"):
        batch_services.open_deviation(
            by=from_paper(plant, form), batch_id=other.pk, what="The gauge sticks.", severity="minor"
        )
    assert transcribed_acts(form) == []


def test_nothing_is_entered_from_a_form_that_is_not_taken_up(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    form = issued(plant, ready)[0]
    with pytest.raises(RecordRefused, match="Nothing is entered from it now"):
        batch_services.open_deviation(
            by=from_paper(plant, form), batch_id=ready.pk, what="The gauge sticks.", severity="minor"
        )


def test_an_empty_form_says_which_batch_it_is_about_when_it_is_taken_up(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    form = issued(plant)[0]
    services.transcribe(by=plant.by(), form_id=form.pk, batch_id=ready.pk)
    assert unconfirmed_forms(ready) == [form]
    printed_for_another = issued(plant, factories.frozen_batch(plant, "sba_1"))[0]
    with pytest.raises(RecordRefused, match="it is entered there"):
        services.transcribe(by=plant.by(), form_id=printed_for_another.pk, batch_id=ready.pk)


# --- scans ------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"GIF89a", "media_type"),
        (b"<svg/>", "media_type"),
        (PNG + b"0" * LARGEST, "too_large"),
    ],
    ids=["empty", "gif", "svg", "too large"],
)
def test_a_scan_is_a_pdf_png_or_jpeg_of_a_bearable_size(
    plant: factories.SmallPlant, ready: Batch, content: bytes, code: str
) -> None:
    form = taken_up(plant, ready)
    with pytest.raises(RecordRefused) as refused:
        services.add_scan(by=plant.by(), form_id=form.pk, scan=ScanFile("form.png", content))
    assert refused.value.code == code and not form.scans.exists()


def test_a_scan_is_kept_once_with_its_digest(plant: factories.SmallPlant, ready: Batch) -> None:
    form = taken_up(plant, ready)
    scan = ScanFile("form.pdf", b"%PDF-1.7 a form")
    row: PaperScan = services.add_scan(by=plant.by(), form_id=form.pk, scan=scan).result
    assert (row.media_type, row.size, row.sha256) == ("application/pdf", 15, scan.sha256)
    with pytest.raises(RecordRefused, match="kept already"):
        services.add_scan(by=plant.by(), form_id=form.pk, scan=scan)


def test_without_a_scan_nothing_is_signed(plant: factories.SmallPlant, ready: Batch) -> None:
    form = taken_up(plant, ready)
    permit = factories.permit(plant, "operator", services.TRANSCRIBED_MEANING)
    with pytest.raises(RecordRefused, match="No scan"):
        services.finish_transcription(
            by=plant.by(), form_id=form.pk, permit=permit, remarks="Nothing was written on it."
        )


def test_without_an_entry_or_a_word_nothing_is_signed(plant: factories.SmallPlant, ready: Batch) -> None:
    form = taken_up(plant, ready)
    services.add_scan(by=plant.by(), form_id=form.pk, scan=ScanFile("form.png", PNG))
    permit = factories.permit(plant, "operator", services.TRANSCRIBED_MEANING)
    with pytest.raises(RecordRefused, match="Nothing was written down"):
        services.finish_transcription(by=plant.by(), form_id=form.pk, permit=permit)


# --- two people -----------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-30")
def test_the_transcriber_does_not_confirm(plant: factories.SmallPlant, ready: Batch) -> None:
    form = entered(plant, taken_up(plant, ready))
    with pytest.raises(RecordRefused, match="another person confirms"):
        confirm(plant, form, "operator")
    with pytest.raises(SignatureRefused):
        services.confirm_transcription(
            by=plant.by("supervisor"),
            form_id=form.pk,
            permit=factories.permit(plant, "operator", services.CONFIRMED_MEANING),
        )
    done = confirm(plant, form, "operator 2")
    assert done.state == "confirmed" and findings() == []


def test_a_transcription_that_differs_goes_back_and_is_signed_anew(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    form = entered(plant, taken_up(plant, ready))
    services.send_back(by=plant.by("supervisor"), form_id=form.pk, reason="Line 3 reads 4.1, not 4.7.")
    form.refresh_from_db()
    assert form.state == "entering" and form.transcription_signature is None
    with pytest.raises(RecordRefused, match="being entered"):
        confirm(plant, form)
    again: PaperForm = services.finish_transcription(
        by=plant.by(), form_id=form.pk, permit=factories.permit(plant, "operator", services.TRANSCRIBED_MEANING),
        remarks="Line 3 corrected.",
    ).result  # fmt: skip
    assert confirm(plant, again).state == "confirmed"


@pytest.mark.requirement("ER-30")
def test_a_batch_with_an_open_form_is_not_released(plant: factories.SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    form = issued(plant, batch)[0]

    def release() -> None:
        permit = factories.permit(plant, "qc 2", RELEASE_MEANING)
        quality_services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit)

    factories.reviewed(plant, batch)
    with pytest.raises(TransitionRefused, match=f"Paper form {form.number} was printed for it"):
        release()
    services.transcribe(by=plant.by(), form_id=form.pk)
    with pytest.raises(TransitionRefused, match="is being entered"):
        release()
    entered(plant, form)
    with pytest.raises(TransitionRefused, match="not confirmed by a second person"):
        release()
    confirm(plant, form, "operator 2")
    assert unconfirmed_forms(batch) == []
    release()
    batch.refresh_from_db()
    assert batch.state == "released"


# --- altered ----------------------------------------------------------------------------------------------------------------------
def test_an_altered_form_or_scan_is_named(plant: factories.SmallPlant, ready: Batch) -> None:
    form = entered(plant, taken_up(plant, ready))
    assert findings() == []
    locks.remove()
    try:
        PaperScan.objects.update(content=PNG + b"another picture")
        PaperForm.objects.filter(pk=form.pk).update(content=form.content.replace(form.number, "P-99999"))
        found = findings()
    finally:
        locks.install()
    assert any("What is printed on paper form" in line for line in found)
    assert any("A scan of paper form" in line for line in found)


def test_time_passes_between_issue_and_use(plant: factories.SmallPlant) -> None:
    form = issued(plant)[0]
    plant.forward(days=90)
    taken: PaperForm = services.transcribe(by=plant.by(), form_id=form.pk).result
    assert taken.taken_up_at is not None and taken.taken_up_at - form.issued_at >= timedelta(days=90)

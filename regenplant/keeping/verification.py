"""Paper forms: printed content and scans against their digests, and that two people stand behind each confirmed one."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.canonical import digest
from regenplant.keeping.models import PaperForm, PaperScan


def check_forms(look: Look) -> Iterator[Finding]:
    """Each form with its scans and its two signatures."""
    rows = PaperForm.objects.select_related("transcription_signature", "confirmation_signature")
    for form in rows.order_by("pk").iterator(500):
        look.saw()
        if digest(form.content) != form.digest:
            yield Finding(
                "paper_form", f"What is printed on paper form {form.number} does not fit its digest."
            )
        yield from _signatures(form)
    for scan in PaperScan.objects.select_related("form").order_by("pk").iterator(20):
        look.saw()
        if hashlib.sha256(bytes(scan.content)).hexdigest() != scan.sha256 or len(scan.content) != scan.size:
            yield Finding("paper_form", f"A scan of paper form {scan.form.number} does not fit its digest.")


def _signatures(form: PaperForm) -> Iterator[Finding]:
    given = (
        ("transcription", form.transcription_signature, form.transcriber_id),
        ("confirmation", form.confirmation_signature, form.confirmed_by_id),
    )
    for what, signature, person_id in given:
        if signature is None:
            continue
        if (signature.record_kind, signature.record_key) != (f"paper_form_{what}", form.number):
            yield Finding(
                "paper_form",
                f"The {what} of paper form {form.number} bears a signature given on something else.",
            )
        if signature.person_id != person_id:
            yield Finding(
                "paper_form",
                f"The {what} of paper form {form.number} bears the signature of {signature.printed_name}.",
            )
        if json.loads(signature.content).get("paper") != form.digest:
            yield Finding(
                "paper_form", f"The {what} of paper form {form.number} was signed over another paper."
            )


register(Check("paper_form", "Paper forms", "forms and scans", check_forms), place=80)

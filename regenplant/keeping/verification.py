"""Paper forms: printed content and scans against their digests, and that two people stand behind each confirmed one.

Purges: what went is what two people signed for, none of it stands again, and nothing of a batch went in any other way.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from regenplant.audit import sealed, seals
from regenplant.audit.naming import what_is
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.canonical import digest
from regenplant.keeping import purging
from regenplant.keeping.models import PaperForm, PaperScan, Purge, PurgedRow


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


def check_purges(look: Look) -> Iterator[Finding]:
    """Each purge against its signatures and tombstones; then every row of a batch that any act removed."""
    named: set[tuple[str, str]] = set()
    rows = Purge.objects.select_related("signature", "confirmation_signature")
    for purge in rows.order_by("pk").iterator(200):
        look.saw()
        name = f"Purge {purge.number} of batch {purge.batch_number}"
        for signature, person_id in (
            (purge.signature, purge.purged_by_id),
            (purge.confirmation_signature, purge.confirmed_by_id),
        ):
            own = (signature.record_kind, signature.record_key, signature.person_id, signature.content)
            if own != ("purge", purge.number, person_id, purge.content):
                yield Finding("purge", f"{name} bears a signature that was not given on it.")
        stones = list(purge.rows.all())
        named |= {(stone.table_name, stone.row_key) for stone in stones}
        signed = json.loads(purge.content)
        said = (signed["batch"], signed["copy_sha256"], signed["rows_sha256"])
        if said != (purge.batch_number, purge.copy_sha256, purging.digest_of_rows(stones)):
            yield Finding("purge", f"{name} no longer says what was signed: batch, copy or rows are others.")
        yield from _standing_again(name, stones)
    owned = {purging.table_of(label) for label in purging.OWN}
    for (table, key), (number, event) in look.replay.removed.items():
        if table in owned and not (event == purging.PURGED and (table, key) in named):
            yield Finding(
                "purge",
                f"The {what_is(table)} {key} was removed by event {number}, and no purge names it.",
            )


def _standing_again(name: str, stones: list[PurgedRow]) -> Iterator[Finding]:
    by_table: dict[str, list[str]] = {}
    for stone in stones:
        by_table.setdefault(stone.table_name, []).append(stone.row_key)
    for table, keys in by_table.items():
        for key in seals.digests_of(sealed.tables()[table], keys):
            yield Finding("purge", f"{name}: the {what_is(table)} {key} stands in the record again.")


register(Check("purge", "Purges", "purges", check_purges), place=85)

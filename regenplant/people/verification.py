"""Signatures: the content that was signed against the digest, and the person they belong to; versions against their approvals."""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps

from regenplant.audit.naming import name_of
from regenplant.audit.selectors import acts_about
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.version_model import Version
from regenplant.people import approvals
from regenplant.people.models import Signature
from regenplant.people.signing import holds

MOST_SAID = 20
_DONE = {approvals.APPROVAL: "approved", approvals.WITHDRAWAL: "withdrawn"}


def check_signatures(look: Look) -> Iterator[Finding]:
    """Each signature covers kind, key and version of its record together with the content."""
    for signature in Signature.objects.order_by("pk").iterator(500):
        look.saw()
        if not holds(signature):
            yield Finding(
                "signature",
                f"The signature of {signature.printed_name} on {signature.record_kind} {signature.record_key} no longer fits "
                "what was signed.",
            )


def check_approvals(look: Look) -> Iterator[Finding]:
    """Each version against the signatures of its approval and its withdrawal; and no such signature without its version."""
    given = set(Signature.objects.filter(record_kind__regex=approvals.KINDS).values_list("pk", flat=True))
    older: list[str] = []
    for model in apps.get_models():
        if issubclass(model, Version):
            rows = model._default_manager.select_related(None).order_by("pk")
            for row in rows.iterator(200):
                look.saw(row.approved_by_id is not None)
                given -= {row.signature_id, row.withdrawal_signature_id}
                name = name_of(model._meta.db_table, str(row.pk))
                for flaw in approvals.flaws(row):
                    yield Finding("approval", f"The {name} {flaw}.")
                for act in approvals.unsigned(row):
                    if event := _unsigned_act(row, act):
                        older.append(f"{name} (event {event})")
                    else:
                        done = _DONE[act]
                        yield Finding(
                            "approval", f"The {name} is {done}, and the signature of its {act} is missing."
                        )
    if older:
        more = f" and {len(older) - MOST_SAID} more" if len(older) > MOST_SAID else ""
        yield Finding(
            "approval",
            f"Approved or withdrawn when that was not signed yet, so that nobody’s signature stands under it: "
            f"{', '.join(older[:MOST_SAID])}{more}.",
            is_notice=True,
        )
    for lost in Signature.objects.filter(pk__in=given).order_by("pk"):
        yield Finding(
            "approval",
            f"The signature of {lost.printed_name} under the {lost.meaning} stands in the record, and no version bears it.",
        )


def _unsigned_act(version: Version, act: str) -> int:
    """The act in the log that approved or withdrew this version and bore no signature either, as an older program asked for none; else 0."""
    kind, key, _ = version.subject
    acts = [
        line
        for line in acts_about([(kind, key)], [f"{kind}.version_{_DONE[act]}"])
        if line.facts.get("facts", {}).get("version") == version.number
    ]
    return acts[-1].number if acts and "signature" not in acts[-1].facts else 0


register(Check("signature", "Signatures", "signatures", check_signatures), place=30)
register(Check("approval", "Approvals of versions", "approvals", check_approvals), place=36)

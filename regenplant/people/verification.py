"""Signatures: the content that was signed against the digest, and the person they belong to."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.people.models import Signature
from regenplant.people.signing import holds


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


register(Check("signature", "Signatures", "signatures", check_signatures), place=30)

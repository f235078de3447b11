"""What is kept of a meter feed's token."""

from __future__ import annotations

import hashlib


def digest_of(token: str) -> str:
    """The SHA-256 of a token in hexadecimal digits. A token is 256 bits of chance, so its digest needs no salt."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()

"""The container of a copy: one ZIP with record, print, verifier, a word to the reader, and the digests of all of them.

The same files give the same bytes: names in order, one date, one way of packing.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from pathlib import Path

from regenplant.keeping import verify_copy
from regenplant.keeping.verify_copy import DIGESTS, PAPER, RECORD

VERIFIER, README = "verify_copy.py", "READ-ME.txt"
_DATE = (1980, 1, 1, 0, 0, 0)
_READABLE = 0o644 << 16


def packed(record: bytes, paper: bytes, batch_number: str, plant: str) -> bytes:
    """The ZIP of a copy."""
    files = {
        RECORD: record,
        PAPER: paper,
        VERIFIER: Path(verify_copy.__file__).read_bytes(),
        README: read_me(record, batch_number, plant).encode(),
    }
    files[DIGESTS] = listed(files).encode()
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as container:
        for name in sorted(files):
            info = zipfile.ZipInfo(name, _DATE)
            info.compress_type, info.external_attr, info.create_system = zipfile.ZIP_DEFLATED, _READABLE, 3
            container.writestr(info, files[name])
    return buffer.getvalue()


def listed(files: dict[str, bytes]) -> str:
    """The list of digests, as ``sha256sum --check`` takes it."""
    return "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))


def file_name(batch_number: str, digest: str) -> str:
    """ "B-10001-copy-3f1c9a02.zip": the batch, and the beginning of the record's digest."""
    safe = "".join(c if c.isascii() and c.isalnum() else "-" for c in batch_number)
    return f"{safe}-copy-{digest[:8]}.zip"


def read_me(record: bytes, batch_number: str, plant: str) -> str:
    return f"""Complete copy of the record of batch {batch_number}, made by {plant}

{RECORD}       the record for machines: every row, every act, every signature, with their digests
{PAPER}        the same record for people
{VERIFIER}   looks whether the copy is whole; plain Python 3.9 or later, nothing to install
{DIGESTS}       SHA-256 of each file; "sha256sum --check {DIGESTS}" compares them

How to verify

1. Unpack the copy into an empty folder, or leave it packed.
2. Run: python {VERIFIER} {RECORD}      (or: python {VERIFIER} the-copy.zip)
   It says what it looked at, and names each thing that does not hold.
3. The copy proves that it is whole in itself. That it is the copy {plant} made, only {plant} can say. Ask for the digest
   that was written down when the copy was made, by a way that this file did not come, and compare it with this one:

   {hashlib.sha256(record).hexdigest()}  {RECORD}

If you do not trust the verifier that came with the copy, take one from another copy, or write your own: every digest is
SHA-256 over UTF-8 text, and canonical text is JSON with names in order, no spaces, and floats in their shortest exact form.
   an act:        digest before, a line feed, the payload
   a row:         canonical text of its columns, key and table, as the act that wrote it last names it under "rows"
   a signature:   kind, key, version and content of the signed record, a line feed between them
   a plan, a recipe version, a specification version: its text

Whether the plant's customers may be named to you is for the plant to say: the copy names every customer whose tanks were in
the batch. Keep it accordingly.
"""

"""Acts on papers: issuing them, counted and hashed; copies of a batch; certificates of quality."""

from regenplant.documents.services.certificates import issue_certificate, withdraw_certificate
from regenplant.documents.services.papers import (
    BATCH_RECORD,
    CERTIFICATE,
    PAPERS,
    CopiedBatch,
    IssuedDocument,
    Paper,
    copy_batch,
    issue_paper,
    print_chemical_label,
    print_connection_label,
)

__all__ = [
    "BATCH_RECORD",
    "CERTIFICATE",
    "PAPERS",
    "CopiedBatch",
    "IssuedDocument",
    "Paper",
    "copy_batch",
    "issue_certificate",
    "issue_paper",
    "print_chemical_label",
    "print_connection_label",
    "withdraw_certificate",
]

from typing import Any

from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "regenplant.documents"
    label = "documents"

    def ready(self) -> None:
        import regenplant.documents.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.documents import services  # noqa: F401  registers its use cases and their wording
        from regenplant.documents.copied import certificates_of, papers_of
        from regenplant.keeping.parts import Acts, Part, declare

        locks.declare(
            locks.Lock("documents_issuedpaper"),
            locks.Lock("documents_certificate"),
            locks.Lock("documents_certifiedtank"),
            locks.Lock("documents_certificatewithdrawal"),
        )
        declare(
            Part("papers issued", "documents.IssuedPaper", also=papers_of, subject=_subject_of_paper),
            Part(
                "certificates",
                "documents.Certificate",
                also=certificates_of,
                acts=Acts.ALL,
                subject=lambda row: ("certificate", row.number),
            ),
            Part("tanks certified", "documents.CertifiedTank", belongs_to=("certificate",)),
            Part("certificates withdrawn", "documents.CertificateWithdrawal", belongs_to=("certificate",)),
        )


def _subject_of_paper(paper: Any) -> tuple[str, str]:
    """What the act that issued a paper is about."""
    kinds = {"tank_tag": "tank", "sample_label": "retained_sample", "certificate": "certificate"}
    return (kinds.get(paper.kind, "batch"), paper.subject_key)

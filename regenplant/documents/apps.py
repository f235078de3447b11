from typing import Any

from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "regenplant.documents"
    label = "documents"

    def ready(self) -> None:
        import regenplant.documents.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.documents import services  # noqa: F401  registers its use cases and their wording
        from regenplant.documents.copied import papers_of
        from regenplant.keeping.parts import Part, declare

        locks.declare(locks.Lock("documents_issuedpaper"))
        declare(Part("papers issued", "documents.IssuedPaper", also=papers_of, subject=_subject_of_paper))


def _subject_of_paper(paper: Any) -> tuple[str, str]:
    """What the act that issued a paper is about."""
    kinds = {"tank_tag": "tank", "sample_label": "retained_sample"}
    return (kinds.get(paper.kind, "batch"), paper.subject_key)

from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "regenplant.documents"
    label = "documents"

    def ready(self) -> None:
        from regenplant.audit import locks
        from regenplant.documents import services  # noqa: F401  registers its use cases and their wording

        locks.declare(locks.Lock("documents_issuedpaper"))

from django.apps import AppConfig


class KeepingConfig(AppConfig):
    name = "regenplant.keeping"
    label = "keeping"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.keeping.services
        import regenplant.keeping.verification  # noqa: F401
        from regenplant.audit import gone, locks, paper, sealed
        from regenplant.audit.version_model import FROZEN
        from regenplant.keeping.handed_on import paper_section
        from regenplant.keeping.paper_rules import refuse_unfit
        from regenplant.keeping.purging import OWN, TOMBSTONES, table_of
        from regenplant.keeping.selectors import purged_numbers, unconfirmed_words
        from regenplant.plant import handed_on
        from regenplant.quality import guards

        paper.ask(refuse_unfit)
        guards.register("paper_forms", unconfirmed_words)
        gone.ask(purged_numbers)
        locks.let_go(TOMBSTONES, *(table_of(label) for label in OWN))
        handed_on.register("paper_forms", paper_section)
        sealed.leave_out_columns(
            "keeping_paperscan",
            "content",
            why="its digest stands beside it, is sealed, and is worked out anew",
        )
        locks.declare(
            locks.Lock(
                "keeping_paperform",
                columns=("number", "kind", "pad", "content", "digest", "issued_by_id", "issued_at"),
            ),
            locks.Lock("keeping_paperscan"),
            locks.Lock("keeping_purge"),
            locks.Lock("keeping_purgedrow"),
            locks.Lock("keeping_retentionversion", when="OLD.state <> 'draft'", columns=FROZEN),
            locks.Lock(
                "keeping_legalhold",
                columns=("number", "subject_kind", "subject_key", "reason", "placed_by_id", "placed_at"),
            ),
        )

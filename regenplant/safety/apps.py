from django.apps import AppConfig


class SafetyConfig(AppConfig):
    name = "regenplant.safety"
    label = "safety"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.safety.services
        import regenplant.safety.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.plant import handed_on
        from regenplant.safety.handed_on import near_miss_section

        handed_on.register("near_misses", near_miss_section)
        locks.declare(
            locks.Lock("safety_refusedaway"),
            locks.Lock("safety_washtest"),
            locks.Lock("safety_washstation", columns=("code",)),
            locks.Lock(
                "safety_nearmiss",
                columns=(
                    "number",
                    "kind",
                    "what",
                    "spot",
                    "about",
                    "done_at_once",
                    "told_by",
                    "happened_at",
                    "reported_by_id",
                    "reported_at",
                ),
            ),
        )

from django.apps import AppConfig


class ResinsConfig(AppConfig):
    name = "regenplant.resins"
    label = "resins"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.resins.services
        import regenplant.resins.verification  # noqa: F401
        from regenplant.audit import classes, locks
        from regenplant.resins.classes import FINDERS

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        locks.declare(
            locks.Lock("resins_lotparent"),
            locks.Lock("resins_lotcapacity"),
            locks.Lock("resins_lotmovement"),
            # a lot is a body of resin with one past; what is made of it is another lot, and it can only be scrapped
            locks.Lock(
                "resins_resinlot",
                columns=(
                    "code",
                    "resin_type_id",
                    "segregation_class",
                    "volume_m3",
                    "volume_form",
                    "made_at",
                    "origin",
                    "cycles",
                    "capacity_factor",
                    "parts",
                    "delivered_on",
                    "dedicated_to",
                ),
            ),
        )

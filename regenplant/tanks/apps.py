from django.apps import AppConfig


class TanksConfig(AppConfig):
    name = "regenplant.tanks"
    label = "tanks"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.tanks.services
        import regenplant.tanks.verification  # noqa: F401
        from regenplant.audit import classes, locks
        from regenplant.resins import elsewhere
        from regenplant.tanks.classes import FINDERS
        from regenplant.tanks.selectors.resin_inside import in_tanks

        elsewhere.register("tanks", in_tanks)

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        locks.declare(
            locks.Lock("tanks_intakeinspection"),
            locks.Lock("tanks_tank", columns=("serial",)),
            locks.Lock(
                "tanks_expectedtank",
                columns=("number", "tank_id", "customer_id", "entered_by_id", "entered_at"),
            ),
            locks.Lock("tanks_customerrush", columns=("customer_id", "reason", "made_by_id", "made_at")),
            locks.Lock("tanks_tankvisit", columns=("number", "tank_id", "received_at", "received_by_id")),
        )

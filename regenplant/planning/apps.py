from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "regenplant.planning"
    label = "planning"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.planning.services
        import regenplant.planning.verification  # noqa: F401
        from regenplant.audit import classes, locks, sealed
        from regenplant.planning.classes import FINDERS
        from regenplant.planning.handed_on import plan_section
        from regenplant.plant import handed_on

        handed_on.register("day_plan", plan_section)

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        for table in ("planning_dayplan", "planning_decision", "planning_latetankanswer"):
            sealed.leave_out(
                table,
                why="a draft that can be made again; what was accepted stands in planning_planacceptance",
            )
        locks.declare(
            locks.Lock("planning_planningsettings"),
            locks.Lock("planning_planacceptance"),
            locks.Lock(
                "planning_plannedbatch",
                columns=(
                    "code", "acceptance_id", "plan_batch", "resin_type_id", "segregation_class", "vessel_id",
                    "anion_vessel_id", "recipe_version_id", "starts_at", "ready_at",
                ),
            ),
            locks.Lock("planning_plannedtank", columns=("planned_id", "visit_id", "position")),
            locks.Lock("planning_plannedexpected", columns=("planned_id", "expected_id", "position")),
        )  # fmt: skip

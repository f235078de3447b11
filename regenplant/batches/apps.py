from django.apps import AppConfig


class BatchesConfig(AppConfig):
    name = "regenplant.batches"
    label = "batches"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.batches.services
        import regenplant.batches.verification  # noqa: F401
        from regenplant.audit import classes, locks, sealed
        from regenplant.batches.classes import FINDERS
        from regenplant.batches.instruments_in_use import rinse_reading_with
        from regenplant.batches.resin_volumes import in_vessels, stops
        from regenplant.plant import in_use
        from regenplant.resins import elsewhere

        elsewhere.register("batches", in_vessels)
        elsewhere.register_stop("batches", stops)
        in_use.register("rinse", rinse_reading_with)

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        frozen_plan = (
            "number", "resin_type_id", "segregation_class", "vessel_id", "anion_vessel_id", "recipe_version_id", "specification_version_id", "specification_text",
            "parent_id", "rework_cause", "rework_cause_category", "rework_same_recipe_reason", "resin_volume_m3", "resin_volume_form", "plan_text", "plan_digest", "core_version",
            "planned_by_id", "planned_at",
        )  # fmt: skip
        sealed.leave_out_columns(
            "batches_batch", "plan_text", why="its digest stands beside it, is sealed, and is worked out anew"
        )
        for table in ("batches_rinsestanding", "batches_forecastmade"):
            sealed.leave_out(table, why="derived from the readings, and built again from them at any time")
        locks.declare(
            locks.Lock("batches_batch", columns=frozen_plan),
            locks.Lock("batches_stepentry"),
            locks.Lock("batches_batchtopup"),
            locks.Lock("batches_rinsereading"),
            locks.Lock("batches_meterlog"),
            locks.Lock("batches_meterlogsetaside"),
            locks.Lock("batches_entrycheck"),
            locks.Lock("batches_deviation", when="OLD.decided_at IS NOT NULL"),
            locks.Lock("batches_steprun", when="OLD.state IN ('done', 'skipped')"),
            locks.Lock("batches_hold", when="OLD.resumed_at IS NOT NULL"),
            locks.Lock("batches_batchtank", columns=("batch_id", "visit_id", "resin_volume_m3", "position")),
        )

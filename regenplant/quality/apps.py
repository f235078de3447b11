from django.apps import AppConfig


class QualityConfig(AppConfig):
    name = "regenplant.quality"
    label = "quality"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.quality.services
        import regenplant.quality.verification
        import regenplant.quality.verification_ageing
        import regenplant.quality.verification_versions
        import regenplant.quality.verification_ways  # noqa: F401
        from regenplant.audit import classes, locks, sealed
        from regenplant.batches import allowances, given_up, reopened
        from regenplant.plant import handed_on
        from regenplant.quality import guards as held_against
        from regenplant.quality import retained, ways
        from regenplant.quality.classes import FINDERS
        from regenplant.quality.handed_on import drift_section
        from regenplant.quality.services._outcomes import keep_given_up
        from regenplant.quality.standing import against_shipping, is_open_for_correction
        from regenplant.tanks import guards

        for argument, finder in FINDERS.items():
            classes.class_by(argument, finder)

        guards.register("quality", against_shipping)
        held_against.register("retained_sample", retained.against_release)
        held_against.register("downgrade", ways.against_release)
        reopened.ask(is_open_for_correction)
        allowances.ask(ways.allowance_of)
        given_up.tell(keep_given_up)
        handed_on.register("drift", drift_section)
        sealed.leave_out(
            "quality_rinseoutcome",
            why="derived from the record at each judgement, and written anew at any time",
        )
        locks.declare(
            locks.Lock("quality_qcmeasurement"),
            locks.Lock("quality_qcdecision"),
            locks.Lock("quality_recordreopening"),
            locks.Lock("quality_recordreview"),
            locks.Lock("quality_release"),
            locks.Lock("quality_rinsecontinuation"),
            locks.Lock("quality_reworkproposal"),
            locks.Lock("quality_downgrade"),
            locks.Lock("quality_downgradeorder"),
            locks.Lock("quality_retainedsample"),
            locks.Lock("quality_samplediscard"),
            locks.Lock("quality_resinsample"),
            locks.Lock("quality_resinfigure"),
            locks.Lock("quality_lotlook"),
            locks.Lock(
                "quality_trendalert",
                columns=(
                    "line",
                    "recipe",
                    "limit_siemens_per_m",
                    "batch",
                    "rules",
                    "rinsed_bv",
                    "centre_bv",
                    "upper_bv",
                    "level_bv",
                    "baseline",
                    "raised_at",
                ),
            ),
        )

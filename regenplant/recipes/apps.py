from django.apps import AppConfig


class RecipesConfig(AppConfig):
    name = "regenplant.recipes"
    label = "recipes"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.recipes.services  # noqa: F401
        from regenplant.audit import locks
        from regenplant.audit.version_model import FROZEN

        for table, owner in (
            ("recipes_recipeversion", "recipe_id"),
            ("recipes_specificationversion", "specification_id"),
        ):
            locks.declare(locks.Lock(table, when="OLD.state <> 'draft'", columns=(*FROZEN, owner)))
        said = (
            "product_id",
            "customer_id",
            "specification_id",
            "reason",
            "looser_reason",
            "made_by_id",
            "made_at",
        )
        locks.declare(locks.Lock("recipes_customerspecification", columns=said))

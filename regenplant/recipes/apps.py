from django.apps import AppConfig


class RecipesConfig(AppConfig):
    name = "regenplant.recipes"
    label = "recipes"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.recipes.services  # noqa: F401
        from regenplant.audit import locks

        frozen = ("number", "content", "digest", "made_by_id", "made_at", "approved_by_id", "approved_at")
        for table, owner in (
            ("recipes_recipeversion", "recipe_id"),
            ("recipes_specificationversion", "specification_id"),
        ):
            locks.declare(locks.Lock(table, when="OLD.state <> 'draft'", columns=(*frozen, owner)))

"""The one Django app."""

from django.apps import AppConfig


class CollectionConfig(AppConfig):
    """Everything Levelbook keeps and shows."""

    name = "collection"
    verbose_name = "Levelbook"

    def ready(self) -> None:
        """Register the configuration checks, and who writes down sign-ins, once the app is loaded."""
        from collection import signins  # noqa: F401
        from collection.checks import database, public, stored  # noqa: F401

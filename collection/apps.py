"""The one Django app."""

from django.apps import AppConfig


class CollectionConfig(AppConfig):
    """Everything Levelbook keeps and shows."""

    name = "collection"
    verbose_name = "Levelbook"

    def ready(self) -> None:
        """Register the configuration checks once the app is loaded."""
        from collection import checks  # noqa: F401

"""Sites: the addresses where machines stand."""

from django.db import models

from collection.models.base import MOST_VERSION, Editable, in_range, texts_fit


class Site(Editable):
    """An address with one or more floors. Days and times of its machines are shown in its time zone."""

    name = models.CharField(max_length=80)
    address = models.CharField(max_length=200, blank=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    notes = models.TextField(max_length=2000, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organization", "name"],
                condition=models.Q(archived_at__isnull=True),
                name="site_name_unique",
            ),
            in_range("site", "version", 1, MOST_VERSION),
            texts_fit("site", name=80, address=200, time_zone=64, notes=2000),
        ]
        indexes = [models.Index(fields=["organization", "name"], name="site_by_name")]

    def __str__(self) -> str:
        return self.name

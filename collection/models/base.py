"""What every row has: an organization, a client-made UUID, and who made it when; and how rows may be reached."""

import hashlib
import uuid
from typing import Any, Self

from django.db import models
from django.db.models import Q

#: Both databases hold whole numbers up to here.
MOST_VERSION = 2**31 - 1


class AppendOnlyError(TypeError):
    """Someone tried to change or delete a row that is part of the record."""


class OrganizationQuerySet(models.QuerySet[Any]):
    """Rows of one organization: tenant tables are read through `for_org` and nothing else."""

    def for_org(self, organization: Any) -> Self:
        """Return only the rows of this organization."""
        return self.filter(organization=organization)

    def live(self) -> Self:
        """Return only the rows that are not archived."""
        return self.filter(archived_at__isnull=True)


class AppendOnlyQuerySet(OrganizationQuerySet):
    """Rows of the record: they can be read and added, never changed or deleted."""

    def update(self, **kwargs: Any) -> int:
        raise AppendOnlyError("Rows of the record are not changed. Add a correction that names the old row.")

    def delete(self) -> tuple[int, dict[str, int]]:
        raise AppendOnlyError("Rows of the record are not deleted.")


class Row(models.Model):
    """A row that belongs to an organization. Its key is made by the client: sent twice, it is stored once."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organization = models.ForeignKey("collection.Organization", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey("collection.User", on_delete=models.PROTECT, related_name="+")

    objects = OrganizationQuerySet.as_manager()

    class Meta:
        abstract = True


class Versioned(Row):
    """A row that people change: the version refuses a stale edit."""

    version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True


class Editable(Versioned):
    """A row that people edit: archiving stands for deleting."""

    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True


class Recorded(Row):
    """A row of the record, such as a survey: append-only, a correction names what it supersedes and why."""

    objects = AppendOnlyQuerySet.as_manager()  # type: ignore[misc]  # the base class has the laxer one

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise AppendOnlyError("Rows of the record are not changed. Add a correction that names the old row.")
        super().save(*args, **{**kwargs, "force_insert": True})

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise AppendOnlyError("Rows of the record are not deleted.")


@models.CharField.register_lookup
@models.TextField.register_lookup
class Fits(models.Lookup):
    """``name__fits=80``: a text of at most so many characters, none of them NUL.

    SQLite holds no text to its column's length, and its own length() ends at a NUL, which PostgreSQL never stores.
    """

    lookup_name = "fits"
    prepare_rhs = False

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        return f"length({column}) <= {int(self.rhs)}", tuple(params)

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        """Return the same for SQLite."""
        column, params = self.process_lhs(compiler, connection)
        return f"length({column}) <= {int(self.rhs)} AND instr({column}, char(0)) = 0", (*params, *params)


def hash_of(secret: str) -> str:
    """Return what is kept of the secret in an address. It is random, so a plain digest gives nothing away."""
    return hashlib.sha256(secret.encode()).hexdigest()


def texts_fit(table: str, **longest: int) -> models.CheckConstraint:
    """Return the constraint that each text of a table is no longer than its column, in both databases."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__fits": length for field, length in longest.items()}), name=f"{table}_texts_fit"
    )


def in_range(table: str, field: str, low: float, high: float) -> models.CheckConstraint:
    """Return the constraint that a number is empty or inside a closed range, in both databases."""
    inside = Q(**{f"{field}__gte": low, f"{field}__lte": high})
    return models.CheckConstraint(condition=inside | Q(**{f"{field}__isnull": True}), name=f"{table}_{field}_in_range")


def one_of(table: str, field: str, words: tuple[str, ...]) -> models.CheckConstraint:
    """Return the constraint that a word is one of those allowed, in both databases."""
    return models.CheckConstraint(condition=Q(**{f"{field}__in": words}), name=f"{table}_{field}_known")

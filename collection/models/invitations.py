"""Invitations: who may join an organization, as what, by a link that was sent by e-mail."""

import datetime

from django.db import models
from django.db.models import F, Q

from collection.models.base import MOST_VERSION, Versioned, in_range, one_of, texts_fit
from collection.models.people import ROLE_WORDS, ROLES, User


class Invitation(Versioned):
    """A place held for whoever opens the link. Of the link's token only the SHA-256 is kept: reading this table opens
    no door.
    """

    email = models.EmailField()
    role = models.CharField(max_length=10)
    sites = models.ManyToManyField("collection.Site", blank=True, related_name="+")
    token_sha256 = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("invitation", "role", ROLES),
            in_range("invitation", "version", 1, MOST_VERSION),
            texts_fit("invitation", email=254, token_sha256=64),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True, accepted_by__isnull=True)
                | Q(accepted_at__isnull=False, accepted_by__isnull=False, withdrawn_at__isnull=True),
                name="invitation_ends_in_one_way",
            ),
            models.CheckConstraint(condition=Q(expires_at__gt=F("created_at")), name="invitation_lasts"),
            models.UniqueConstraint(
                fields=["organization", "email"],
                condition=Q(accepted_at__isnull=True, withdrawn_at__isnull=True),
                name="invitation_once_per_address",
            ),
        ]

    @property
    def is_standing(self) -> bool:
        """Whether nobody accepted or withdrew it."""
        return self.accepted_at is None and self.withdrawn_at is None

    def is_open(self, at: datetime.datetime) -> bool:
        """Whether its link still works."""
        return self.is_standing and at < self.expires_at

    @property
    def role_words(self) -> str:
        """The role as pages show it."""
        return ROLE_WORDS[self.role]

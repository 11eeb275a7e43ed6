"""Reads about invitations."""

import datetime

from django.db import models
from django.db.models import Q, QuerySet

from collection.access import visible
from collection.models import Invitation, Membership, User


def invitations_of(*, member: Membership) -> QuerySet[Invitation]:
    """Return the invitations that nobody accepted or withdrew, the newest first, with who sent them."""
    return (
        visible(member, Invitation)
        .filter(accepted_at__isnull=True, withdrawn_at__isnull=True)
        .select_related("created_by")
        .order_by("-created_at", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def invitation_by_link(*, sha256: str, user: User | None, at: datetime.datetime) -> Invitation | None:
    """Return the invitation whose link was opened, if it works at this moment, or if this very user accepted it."""
    works = Q(accepted_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=at)
    if user is not None:
        works |= Q(accepted_by=user)
    rows = Invitation._default_manager.filter(works, token_sha256=sha256)
    return rows.select_related("organization", "created_by").prefetch_related("sites").first()

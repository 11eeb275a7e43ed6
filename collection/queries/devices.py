"""Reads about devices: the browsers that are signed in to an account."""

import datetime

from allauth.usersessions.models import UserSession
from django.contrib.auth import HASH_SESSION_KEY
from django.contrib.sessions.models import Session
from django.utils import timezone

from collection.models import User


def signed_in_since(*, session_key: str) -> datetime.datetime | None:
    """Return when a session began on its device, or None if the device was never noted."""
    return UserSession.objects.filter(session_key=session_key).values_list("created_at", flat=True).first()


def devices_of(*, user: User) -> list[UserSession]:
    """Return the devices that are signed in to the user's account at this moment, the last seen first.

    A session that ran out, or was opened with a former password, opens nothing any more and is left out.
    """
    seen = list(UserSession.objects.filter(user=user).order_by("-last_seen_at"))
    kept = Session.objects.filter(session_key__in=[device.session_key for device in seen])
    proofs = {user.get_session_auth_hash(), *user.get_session_auth_fallback_hash()}
    valid = {
        session.session_key
        for session in kept.filter(expire_date__gt=timezone.now())
        if session.get_decoded().get(HASH_SESSION_KEY) in proofs
    }
    return [device for device in seen if device.session_key in valid]

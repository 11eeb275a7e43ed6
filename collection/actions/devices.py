"""Writes about devices: that one was here, and ending what is signed in on them. They belong to a person, not to an
organization, so its history has no line about them."""

from collections.abc import Sequence
from typing import Any

from allauth.usersessions.internal.flows import sessions
from allauth.usersessions.models import UserSession
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone

from collection.models import User


@transaction.atomic
def see_device(*, request: Any) -> None:
    """Note when a device was here, from which address and with which browser."""
    UserSession.objects.create_from_request(request)


@transaction.atomic
def end_devices(*, request: Any, devices: Sequence[UserSession]) -> None:
    """Sign out on these devices, on this one too if it is among them."""
    sessions.end_sessions(request, devices)


@transaction.atomic
def end_everywhere(*, user: User) -> int:
    """Sign a person out on every device, also on those that were never noted; return how many there were.

    Sessions that ran out are no devices any more, and stay where they are.
    """
    theirs = [
        session.session_key
        for session in Session.objects.filter(expire_date__gt=timezone.now()).iterator()
        if session.get_decoded().get(SESSION_KEY) == str(user.pk)
    ]
    UserSession.objects.filter(user=user).delete()
    return Session.objects.filter(session_key__in=theirs).delete()[0]

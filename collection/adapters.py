"""Where allauth meets us: it makes the account, our action makes the organization."""

from typing import Any
from uuid import uuid4

from allauth.account.adapter import DefaultAccountAdapter
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from collection.actions.people import found_organization
from collection.models import User


class AccountAdapter(DefaultAccountAdapter):
    """Founds the organization that was named on the sign-up page, in the same transaction as the account."""

    @transaction.atomic
    def save_user(self, request: HttpRequest, user: User, form: Any, commit: bool = True) -> User:
        """Store the new user and the organization they named."""
        saved: User = super().save_user(request, user, form, commit=commit)
        if commit:
            found_organization(user=saved, name=form.cleaned_data["organization"], at=timezone.now(), key=uuid4())
        return saved

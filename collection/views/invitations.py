"""Pages about invitations: an owner sends one; whoever opens its link joins, with an account or a new one.

The token stands in the address of the link alone. It is opened once and leaves the address bar for the session, which
holds what the database holds: its SHA-256.
"""

import logging
from typing import Any
from uuid import UUID

from allauth.account.adapter import get_adapter
from allauth.account.utils import complete_signup
from allauth.core.context import request_context
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.views import redirect_to_login
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from collection import access
from collection.actions import invitations as actions
from collection.forms import invitations as forms
from collection.models import Invitation, Membership
from collection.models.base import hash_of
from collection.presets import INVITATION_DAYS
from collection.queries import invitations as queries
from collection.queries.people import has_account, is_address_of, standing_of, unsure_beside
from collection.queries.sites import site_names
from collection.views.doors import acted, author, fingerprint, member_view, page, posted

LOG = logging.getLogger(__name__)
#: Where the session keeps the SHA-256 of the link that was opened.
OPENED = "invitation"


@member_view("GET", "POST", owner=True)
def invitation_new(request: Any) -> HttpResponse:
    """Invite someone by e-mail, as an owner."""
    form = forms.InvitationForm(posted(request), sites=site_names(member=request.member))
    sent = acted(form, lambda: actions.send_invitation(by=author(request, form), send=_by_mail(request), **form.values))
    if sent:
        return redirect("organization")
    return page(request, "invitations/form.html", {"form": form, "days": INVITATION_DAYS})


@member_view("GET", "POST", owner=True)
def invitation_send(request: Any, pk: UUID) -> HttpResponse:
    """Send the mail of an invitation again, with another link, as an owner."""
    invitation = access.invitation_for(request.member, pk)
    form = forms.InvitationEditForm(posted(request), initial={"version": invitation.version})
    sent = acted(
        form,
        lambda: actions.send_invitation_again(
            by=author(request, form), invitation=invitation, version=form.cleaned_data["version"],
            send=_by_mail(request),
        ),
    )  # fmt: skip
    if sent:
        return redirect("organization")
    return page(request, "invitations/send.html", {"form": form, "invitation": invitation, "days": INVITATION_DAYS})


@member_view("GET", "POST", owner=True)
def invitation_withdraw(request: Any, pk: UUID) -> HttpResponse:
    """Withdraw an invitation, as an owner."""
    invitation = access.invitation_for(request.member, pk)
    form = forms.InvitationEditForm(posted(request), initial={"version": invitation.version})
    withdrawn = acted(
        form,
        lambda: actions.withdraw_invitation(
            by=author(request, form), invitation=invitation, version=form.cleaned_data["version"]
        ),
    )
    if withdrawn:
        messages.success(request, f"The invitation of {withdrawn.email} is withdrawn.")
        return redirect("organization")
    return page(request, "invitations/withdraw.html", {"form": form, "invitation": invitation})


@require_safe
@never_cache
def invitation_open(request: Any, token: str) -> HttpResponse:
    """Open the link of a mail: it writes nothing, and takes its token out of the address."""
    sha256 = hash_of(token)
    if _invitation(request, sha256) is None:
        return _gone(request)
    request.session[OPENED] = sha256
    return redirect("invitation_accept")


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def invitation_accept(request: Any) -> HttpResponse:
    """Say who invites whom to what, and let the person who is signed in join."""
    invitation = _invitation(request, request.session.get(OPENED, ""))
    if invitation is None:
        return _gone(request)
    if not request.user.is_authenticated:
        return _for_a_stranger(request, invitation)
    member = standing_of(user=request.user, organization=invitation.organization)
    if invitation.accepted_at:  # by this very person, who pressed twice or opened the link again
        return _welcomed(request, member) if member else _gone(request)
    form, gone = forms.AcceptForm(posted(request)), unsure_beside(user=request.user, email=invitation.email)
    joined = acted(
        form,
        lambda: actions.accept_invitation(
            user=request.user, invitation=invitation, at=timezone.now(), key=form.key, sent=fingerprint(request, form)
        ),
    )
    if joined:
        if gone:
            messages.info(
                request, f"{', '.join(gone)} went from your account: {invitation.email} was not confirmed yet."
            )
        return _welcomed(request, joined)
    is_theirs = is_address_of(user=request.user, email=invitation.email)
    context = {"invitation": invitation, "form": form, "standing": member, "is_theirs": is_theirs}
    return page(request, "invitations/accept.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@sensitive_post_parameters("password")
def invitation_account(request: Any) -> HttpResponse:
    """Make an account for the invited address, and join with it."""
    invitation = _invitation(request, request.session.get(OPENED, ""))
    if invitation is None:
        return _gone(request)
    if request.user.is_authenticated:
        return redirect("invitation_accept")
    known = {"email": invitation.email, "organization": invitation.organization.name}
    form = forms.AccountForm(posted(request), initial=known)
    joined = acted(
        form,
        lambda: actions.accept_with_account(
            invitation=invitation, password=form.cleaned_data["password"], at=timezone.now(), key=form.key,
            sent=fingerprint(request, form),
        ),
    )  # fmt: skip
    if joined:
        return complete_signup(request, joined.user, None, _welcomed(request, joined).url)
    return page(request, "invitations/account.html", {"invitation": invitation, "form": form})


@require_POST
def invitation_sign_out(request: Any) -> HttpResponse:
    """Sign out somebody else, and come back to the invitation, whose link may be in no window any more."""
    sha256 = request.session.get(OPENED)
    logout(request)
    if sha256:
        request.session[OPENED] = sha256
    return redirect("invitation_accept")


def _invitation(request: Any, sha256: str) -> Invitation | None:
    """Return the invitation of a link, if it works or this very person accepted it."""
    user = request.user if request.user.is_authenticated else None
    return queries.invitation_by_link(sha256=sha256, user=user, at=timezone.now())


def _for_a_stranger(request: Any, invitation: Invitation) -> HttpResponse:
    """Show the invitation to somebody who must sign in first, or make an account."""
    if request.method == "POST":
        return redirect_to_login(reverse("invitation_accept"))
    context = {"invitation": invitation, "has_account": has_account(email=invitation.email)}
    return page(request, "invitations/accept.html", context)


def _welcomed(request: Any, member: Membership) -> HttpResponseRedirect:
    """Let somebody who joined begin work in their new organization."""
    request.session["organization"] = str(member.organization_id)
    messages.success(request, f"You work in {member.organization.name} now, as {member.role_words}.")
    return HttpResponseRedirect(reverse("today"))


def _gone(request: Any) -> HttpResponse:
    """Answer to a link that is wrong, used, withdrawn or too old: all look the same."""
    return render(request, "invitations/gone.html", status=404)


def _by_mail(request: Any) -> actions.Send:
    """Return what sends the link of an invitation, and tells the owner what became of the mail."""

    def send(invitation: Invitation, token: str) -> None:
        link = request.build_absolute_uri(reverse("invitation_open", args=[token]))
        context = {"invitation": invitation, "link": link, "organization": request.member.organization,
                   "inviter": request.user.email, "sites": list(invitation.sites.all())}  # fmt: skip
        try:
            with request_context(request):
                get_adapter(request).send_mail("invitations/email/invitation", invitation.email, context)
        except OSError:  # of the mail server; the invitation is stored
            LOG.exception("The mail of an invitation could not be sent.")
            messages.error(request, "The invitation is kept, but its mail could not be sent. Send it again later.")
        else:
            messages.success(request, f"A mail with the link is on its way to {invitation.email}.")

    return send

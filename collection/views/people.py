"""Pages about people and their organization."""

from typing import Any
from uuid import UUID

from allauth.account import views as library
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms.models import model_to_dict
from django.http import Http404, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from collection import access
from collection.access import must_own
from collection.actions import people as actions
from collection.actions.record import was_written
from collection.forms import people as forms
from collection.forms.base import WriteForm
from collection.models import Membership
from collection.queries import invitations as invitation_queries
from collection.queries import people as queries
from collection.queries.sites import site_names
from collection.views.doors import acted, actor, author, fingerprint, member_view, page, posted, pressed


@require_safe
@never_cache
def acting(request: Any) -> JsonResponse:
    """Who acts here, and a fresh token: what a page asks before it sends what it kept on the device."""
    return JsonResponse({"member": request.member.signature if request.member else "", "token": get_token(request)})


def addresses(request: Any) -> HttpResponse:
    """The library's page of one's addresses, which alone would let an unconfirmed one be the first, even another's."""
    wanted = request.POST.get("email", "") if "action_primary" in request.POST else ""
    if request.user.is_authenticated and wanted:
        refused = queries.why_not_first(user=request.user, email=wanted)
        if refused:
            messages.error(request, refused)
            return redirect("account_email")
    answer: HttpResponse = library.email(request)
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def organization_new(request: Any) -> HttpResponse:
    """Found an organization: for someone who is signed in and belongs to none, or wants another."""
    form = forms.FoundForm(posted(request))
    member = acted(
        form,
        lambda: actions.found_organization(
            user=request.user, at=timezone.now(), key=form.key, sent=fingerprint(request, form), **form.values
        ),
    )
    if member:
        request.session["organization"] = str(member.organization_id)
        return redirect("today")
    return page(request, "people/organization_form.html", {"form": form})


@member_view("GET")
def organization(request: Any) -> HttpResponse:
    """The organization: its people and units, whom it invited, and the other organizations one belongs to."""
    owner = request.member.is_owner
    context = {
        "organization": request.member.organization,
        "members": queries.members_of(member=request.member),
        "memberships": queries.organizations_of(user=request.user),
        "invitations": invitation_queries.invitations_of(member=request.member) if owner else [],
        "now": timezone.now(),
    }
    return page(request, "people/organization.html", context)


@member_view("GET", "POST", owner=True)
def organization_edit(request: Any) -> HttpResponse:
    """Change the organization's name or the units that its pages show, as an owner."""
    form = forms.OrganizationForm(posted(request), initial=model_to_dict(request.member.organization))
    changed = acted(
        form,
        lambda: actions.change_organization(
            by=author(request, form), version=form.cleaned_data["version"], **form.values
        ),
    )
    if changed:
        return redirect("organization")
    return page(request, "people/organization_edit.html", {"form": form})


@pressed("organization")
@login_required
def organization_choose(request: Any) -> HttpResponse:
    """Work in another of one's organizations."""
    form = forms.ChooseOrganizationForm(request.POST)
    if not form.is_valid():
        raise Http404
    chosen = form.cleaned_data["organization"]
    mine = queries.organizations_of(user=request.user)
    member = next((member for member in mine if member.organization_id == chosen), None)
    if member is None:
        raise Http404
    request.session["organization"] = str(chosen)
    messages.success(request, f"You work in {member.organization.name} now, as {member.role_words}.")
    return redirect("today")


@member_view("GET", "POST")
def organization_leave(request: Any) -> HttpResponse:
    """Leave the organization that one works in now."""
    form = forms.LeaveForm(posted(request))
    left = acted(form, lambda: actions.leave_organization(by=actor(request, form, why=form.cleaned_data["why"])))
    if left:
        messages.success(request, f"You left {left.organization.name}.")
        return redirect("today")
    return page(request, "people/organization_leave.html", {"form": form})


@member_view("GET", "POST")
def colleague_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change what a colleague does here and which sites a site viewer reads, as an owner."""
    _must_own(request)
    colleague = _colleague(request, pk)
    initial = {
        "version": colleague.version,
        "role": colleague.role,
        "sites": [site.pk for site in colleague.sites.all()],
    }
    form = forms.ColleagueForm(posted(request), initial=initial, sites=site_names(member=request.member))
    changed = acted(
        form,
        lambda: actions.change_colleague(
            by=author(request, form), colleague=colleague, version=form.cleaned_data["version"], **form.values
        ),
    )
    if changed:
        return redirect("organization")
    return page(request, "people/colleague_edit.html", {"form": form, "colleague": colleague})


@member_view("GET", "POST", owner=True)
def colleague_end(request: Any, pk: UUID) -> HttpResponse:
    """Let a colleague belong to the organization no more, as an owner."""
    colleague = _colleague(request, pk)
    if colleague.pk == request.member.pk:
        return redirect("organization_leave")
    form = forms.EndForm(posted(request), initial={"version": colleague.version})
    ended = acted(
        form,
        lambda: actions.end_membership(
            by=author(request, form, why=form.cleaned_data["why"]), colleague=colleague,
            version=form.cleaned_data["version"],
        ),
    )  # fmt: skip
    if ended:
        messages.success(request, f"{ended.user.email} does not belong to {ended.organization.name} any more.")
        return redirect("organization")
    return page(request, "people/colleague_end.html", {"form": form, "colleague": colleague})


@member_view("GET", "POST")
def colleague_hand_over(request: Any, pk: UUID) -> HttpResponse:
    """Hand the organization over: a colleague becomes an owner, and oneself a technician."""
    _must_own(request)
    colleague = _colleague(request, pk)
    form = forms.HandOverForm(posted(request), initial={"version": colleague.version})
    given = acted(
        form,
        lambda: actions.hand_over(by=author(request, form), colleague=colleague, version=form.cleaned_data["version"]),
    )
    if given:
        messages.success(request, f"{given.user.email} is an owner now, and you are a technician.")
        return redirect("organization")
    return page(request, "people/colleague_hand_over.html", {"form": form, "colleague": colleague})


def _must_own(request: Any) -> None:
    """Close a page to all but owners, save for what its sender sent while still an owner: it is answered again."""
    form = WriteForm(posted(request))
    done = form.is_valid() and was_written(request.member.organization_id, fingerprint(request, form))
    if not done:
        must_own(request.member)


def _colleague(request: Any, pk: UUID) -> Membership:
    """Return who the page is about. Someone who left has none; only what was sent about them is answered in words."""
    colleague = access.colleague_for(request.member, pk)
    if colleague.ended_at and request.method != "POST":
        raise Http404
    return colleague

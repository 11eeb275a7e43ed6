"""Pages about people and their organization."""

from typing import Any

from django.contrib.auth.decorators import login_required
from django.forms.models import model_to_dict
from django.http import Http404, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from collection.actions import people as actions
from collection.forms.people import ChooseOrganizationForm, FoundForm, OrganizationForm
from collection.queries import people as queries
from collection.views.doors import acted, author, fingerprint, member_view, page, posted


@require_safe
@never_cache
def acting(request: Any) -> JsonResponse:
    """Who acts here, and a fresh token: what a page asks before it sends what it kept on the device."""
    return JsonResponse({"member": request.member.signature if request.member else "", "token": get_token(request)})


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def organization_new(request: Any) -> HttpResponse:
    """Found an organization: for someone who is signed in and belongs to none, or wants another."""
    form = FoundForm(posted(request))
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
    """The organization: its people and units, and the other organizations one belongs to."""
    context = {
        "organization": request.member.organization,
        "members": queries.members_of(member=request.member),
        "memberships": queries.organizations_of(user=request.user),
    }
    return page(request, "people/organization.html", context)


@member_view("GET", "POST", owner=True)
def organization_edit(request: Any) -> HttpResponse:
    """Change the organization's name or the units that its pages show, as an owner."""
    form = OrganizationForm(posted(request), initial=model_to_dict(request.member.organization))
    changed = acted(
        form,
        lambda: actions.change_organization(
            by=author(request, form), version=form.cleaned_data["version"], **form.values
        ),
    )
    if changed:
        return redirect("organization")
    return page(request, "people/organization_edit.html", {"form": form})


@require_POST
@login_required
def organization_choose(request: Any) -> HttpResponse:
    """Work in another of one's organizations."""
    form = ChooseOrganizationForm(request.POST)
    if not form.is_valid():
        raise Http404
    chosen = form.cleaned_data["organization"]
    mine = queries.organizations_of(user=request.user)
    if not any(member.organization_id == chosen for member in mine):
        raise Http404
    request.session["organization"] = str(chosen)
    return redirect("today")

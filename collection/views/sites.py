"""Pages about sites."""

from typing import Any
from uuid import UUID

from django.forms.models import model_to_dict
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from collection import access
from collection.actions import sites as actions
from collection.forms.sites import SiteEditForm, SiteForm
from collection.queries import floors as floor_queries
from collection.queries import sites as queries
from collection.queries.machines_list import by_need
from collection.views.doors import acted, author, member_view, page, paginated, posted, search_words
from collection.views.lists import machine_rows


@member_view("GET")
def site_list(request: Any) -> HttpResponse:
    """All sites, with how many machines stand there and how many are out of spec."""
    search = search_words(request)
    rows = paginated(request, queries.sites_in_order(member=request.member, search=search))
    return page(request, "sites/list.html", {"rows": rows, "search": search}, piece="site-rows")


@member_view("GET", "POST", write=True)
def site_new(request: Any) -> HttpResponse:
    """Add a site."""
    form = SiteForm(posted(request))
    site = acted(form, lambda: actions.create_site(by=author(request, form), **form.values))
    if site:
        return redirect("site", pk=site.pk)
    return page(request, "sites/form.html", {"form": form})


@member_view("GET")
def site_detail(request: Any, pk: UUID) -> HttpResponse:
    """One site: its floors with how they fall, and its machines, narrowed by words and verdict."""
    site = access.site_for(request.member, pk)
    machines = machine_rows(request, order=by_need, at=site)
    context = {
        "site": site,
        "floors": floor_queries.floors_and_slopes(member=request.member, site=site),
        "machines": machines,
        "any_machines": machines["is_filtered"] or any(machines["counts"].values()),
    }
    return page(request, "sites/detail.html", context, piece="site-machines")


@member_view("GET")
def site_sheet(request: Any, pk: UUID) -> HttpResponse:
    """All machines of a site on paper, with room for notes and a QR code that leads back to the site."""
    site = access.site_for(request.member, pk)
    machines = queries.machines_at(member=request.member, site=site)
    address = request.build_absolute_uri(reverse("site", args=[site.pk]))
    context = {"site": site, "machines": machines, "address": address, "printed_at": timezone.now()}
    return page(request, "sites/sheet.html", context)


@member_view("GET", "POST", write=True)
def site_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change a site's name, address, time zone or notes."""
    site = access.site_for(request.member, pk)
    form = SiteEditForm(posted(request), initial=model_to_dict(site))
    saved = acted(
        form,
        lambda: actions.change_site(
            by=author(request, form), site=site, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("site", pk=site.pk)
    return page(request, "sites/form.html", {"form": form, "site": site})

"""Pages about sites."""

from typing import Any
from uuid import UUID

from django.forms.models import model_to_dict
from django.http import HttpResponse
from django.shortcuts import redirect

from collection import access
from collection.actions import sites as actions
from collection.forms.sites import SiteEditForm, SiteForm
from collection.queries import floors as floor_queries
from collection.queries import sites as queries
from collection.views.doors import acted, author, member_view, page, paginated, posted, search_words


@member_view("GET")
def site_list(request: Any) -> HttpResponse:
    """All sites, with how many machines stand there and how many are out of spec."""
    search = search_words(request)
    rows = paginated(request, queries.sites_of(member=request.member, search=search))
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
    """One site with its floors."""
    site = access.site_for(request.member, pk)
    floors = floor_queries.floors_of(member=request.member, site=site)
    return page(request, "sites/detail.html", {"site": site, "floors": floors})


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

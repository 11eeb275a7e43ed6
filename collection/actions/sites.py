"""Writes about sites."""

from django.db import transaction

from collection.actions.record import ActionRefused, Author, add, already_done, change
from collection.models import Site


@transaction.atomic
def create_site(*, by: Author, name: str, address: str, time_zone: str, notes: str) -> Site:
    """Add a site. Refuses a name that another site has."""
    if found := already_done(Site, by):
        return found
    _refuse_same_name(by, name)
    return add(by, Site(id=by.key, name=name, address=address, time_zone=time_zone, notes=notes))


@transaction.atomic
def change_site(*, by: Author, site: Site, version: int, name: str, address: str, time_zone: str, notes: str) -> Site:
    """Change a site's own words. Refuses a stale edit and a name that another site has."""
    _refuse_same_name(by, name, but=site)
    return change(by, site, version=version, name=name, address=address, time_zone=time_zone, notes=notes)


def _refuse_same_name(by: Author, name: str, but: Site | None = None) -> None:
    others = Site.objects.for_org(by.member.organization_id).live().filter(name=name)
    if but is not None:
        others = others.exclude(pk=but.pk)
    if others.exists():
        raise ActionRefused("Another site has this name. Choose a name that tells them apart.", field="name")

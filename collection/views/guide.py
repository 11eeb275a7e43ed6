"""The guide: the job in six steps, for anyone."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from collection.queries import quick as queries
from collection.views.doors import page


@require_safe
def guide(request: HttpRequest) -> HttpResponse:
    """Words and pictures, and how sure a usual level is."""
    return page(request, "guide/page.html", {"example": queries.example(), "asked": queries.EXAMPLE_QUERY})

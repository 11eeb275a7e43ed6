"""The quick answer: what to turn, for anyone, with nothing stored. Its address is the whole question."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_safe

from collection.forms.quick import QuickForm
from collection.queries import quick as queries
from collection.views.doors import page


@require_safe
def quick(request: Any) -> HttpResponse:
    """Ask and answer on one page; htmx gets the answer alone, and the address that stands for it."""
    form = QuickForm(request.GET)
    answered = form.is_bound and form.is_valid()
    address = f"{reverse('quick')}?{form.query}" if answered else ""
    if address and not request.htmx and not all(request.GET.values()):
        return redirect(address)  # a form without a script sends its empty fields too; the browser keeps #turns
    seen = queries.quick_page(**form.values) if answered else None
    context = {
        "form": form,
        "seen": seen,
        "address": address,
        "still": (0.0,) * 4,
        "unit_doubt": form.unit_doubt if answered else "",
        "doubts": form.doubts if request.htmx else [],  # a whole page says it beside each field
    }
    response = page(request, "quick/page.html", context, piece="quick-answer")
    if address and request.htmx:
        response["HX-Replace-Url"] = address
    return response

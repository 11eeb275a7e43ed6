"""What the page's script needs to ask for a passkey."""

import json
from typing import Any

from django import template
from django.core.serializers.json import DjangoJSONEncoder

register = template.Library()


@register.filter
def as_json(value: Any) -> str:
    """``data-ask="{{ js_data.request_options|as_json }}"``: a value as JSON, for an attribute that a script reads."""
    return json.dumps(value, cls=DjangoJSONEncoder)

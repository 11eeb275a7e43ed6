"""Fill in which foot was light: until now the stance itself named it."""

from typing import Any

from django.db import migrations
from django.db.models import F


def fill(apps: Any, schema_editor: Any) -> None:
    apps.get_model("collection", "Survey").objects.filter(stance__in=("FL", "FR", "RL", "RR")).update(
        light_foot=F("stance")
    )


class Migration(migrations.Migration):
    dependencies = [("collection", "0006_survey_weights")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]

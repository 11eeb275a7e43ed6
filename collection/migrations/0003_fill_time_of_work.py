from django.db import migrations
from django.db.models import F


def fill(apps, schema_editor):
    """So far everything was sent at once."""
    apps.get_model("collection", "Adjustment")._base_manager.update(turned_at=F("created_at"))
    apps.get_model("collection", "ZeroCheck")._base_manager.update(checked_at=F("created_at"))


class Migration(migrations.Migration):
    dependencies = [("collection", "0002_time_of_work")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]

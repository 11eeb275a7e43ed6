from django.db import migrations, models


class Migration(migrations.Migration):
    """When a leg was turned and a zero was checked, beside when that reached us."""

    dependencies = [("collection", "0001_first_tables")]

    operations = [
        migrations.AddField("adjustment", "turned_at", models.DateTimeField(null=True)),
        migrations.AddField("zerocheck", "checked_at", models.DateTimeField(null=True)),
    ]

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("collection", "0003_fill_time_of_work")]

    operations = [
        migrations.AlterField("adjustment", "turned_at", models.DateTimeField()),
        migrations.AlterField("zerocheck", "checked_at", models.DateTimeField()),
        migrations.RemoveIndex("zerocheck", "zerocheck_latest"),
        migrations.AddIndex("zerocheck", models.Index(fields=["instrument", "checked_at"], name="zerocheck_latest")),
    ]

"""The digest of the secret on a label is called as an invitation's is."""

from django.db import migrations, models


class Migration(migrations.Migration):
    """Rename the column, and the constraint on its length with it."""

    dependencies = [("collection", "0013_history_that_stays")]

    operations = [
        migrations.RemoveConstraint("reportlink", "reportlink_texts_fit"),
        migrations.RenameField("reportlink", "token_hash", "token_sha256"),
        migrations.AddConstraint(
            "reportlink",
            models.CheckConstraint(condition=models.Q(("token_sha256__fits", 64)), name="reportlink_texts_fit"),
        ),
    ]

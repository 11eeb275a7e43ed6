"""Lines of the history get numbers that say which came first, and what they lacked; then the record is guarded."""

from django.db import migrations, models

from collection.models.guards import guard

#: Parts that came with a row and were in its line without their keys, or not at all.
PARTS = {
    "survey": ("readings", "Reading", "survey"),
    "plan": ("legs", "PlanLeg", "plan"),
    "floorslope": ("readings", "FloorReading", "slope"),
}
STAMPS = {"id", "organization", "created_at", "created_by", "version"}


def copy(apps, schema_editor):
    """Write each line again, in the order of time, with what it lacked so far."""
    Line = apps.get_model("collection", "Line")
    lines = []
    for change in apps.get_model("collection", "Change")._base_manager.order_by("created_at", "id").iterator():
        line = {field.attname: getattr(change, field.attname) for field in change._meta.fields if field.name != "id"}
        line["old"], line["new"] = _named(change.old), _completed(apps, change)
        lines.append(Line(**line))
        if change.noun == "organization" and change.verb == "founded":
            lines += _first_members(apps, Line, change)
        if len(lines) > 500:
            Line._base_manager.bulk_create(lines)
            lines = []
    Line._base_manager.bulk_create(lines)


def _named(values):
    """A column goes by the name of its field."""
    return {"signed_off_by" if name == "signed_off_by_id" else name: value for name, value in values.items()}


def _completed(apps, change):
    new = _named(change.new)
    if change.noun == "organization" and change.verb == "founded":
        return {"angle_unit": "deg", "length_unit": "mm", **new}
    if change.noun in PARTS and change.verb in ("added", "corrected"):
        name, table, parent = PARTS[change.noun]
        rows = apps.get_model("collection", table)._base_manager.filter(**{parent: change.row_id}).order_by("place")
        new[name] = [_values(row, but=parent) for row in rows]
    return new


def _values(row, but):
    own = (field for field in row._meta.fields if field.name not in STAMPS and field.name != but)
    return {"id": str(row.pk), **{field.name: getattr(row, field.attname) for field in own}}


def _first_members(apps, Line, change):
    """Whoever belongs to an organization so far: nobody wrote down how they came in."""
    for member in apps.get_model("collection", "Membership").objects.filter(organization=change.organization_id):
        yield Line(
            organization_id=change.organization_id, created_at=member.created_at, created_by_id=member.user_id,
            noun="membership", row_id=member.pk, verb="added", write=change.write, old={},
            new={
                "user": str(member.user_id), "role": member.role,
                "ended_at": str(member.ended_at) if member.ended_at else None,
                "sites": [str(site.pk) for site in member.sites.all()],
            },
        )


class Migration(migrations.Migration):
    dependencies = [("collection", "0012_report_links")]

    operations = [
        migrations.CreateModel(
            name="Line",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("created_at", models.DateTimeField()),
                ("noun", models.CharField(max_length=20)),
                ("row_id", models.UUIDField()),
                ("verb", models.CharField(max_length=40)),
                ("why", models.CharField(blank=True, max_length=400)),
                ("write", models.UUIDField()),
                ("old", models.JSONField(default=dict)),
                ("new", models.JSONField(default=dict)),
                ("created_by", models.ForeignKey(on_delete=models.deletion.PROTECT, related_name="+", to="collection.user")),
                ("organization", models.ForeignKey(on_delete=models.deletion.PROTECT, related_name="+", to="collection.organization")),
            ],
            options={"abstract": False},
        ),
        migrations.RunPython(copy),
        migrations.DeleteModel(name="Change"),
        migrations.RenameModel(old_name="Line", new_name="Change"),
        migrations.AddIndex(
            model_name="change", index=models.Index(fields=["organization", "row_id"], name="change_by_row")
        ),
        migrations.AddIndex(
            model_name="change", index=models.Index(fields=["organization", "-id"], name="change_newest")
        ),
        migrations.AddIndex(model_name="change", index=models.Index(fields=["write"], name="change_by_write")),
        migrations.AddConstraint(
            model_name="change",
            constraint=models.CheckConstraint(
                condition=models.Q(("noun__fits", 20), ("verb__fits", 40), ("why__fits", 400)), name="change_texts_fit"
            ),
        ),
        guard(
            "collection_adjustment", "collection_change", "collection_floorreading", "collection_floorslope",
            "collection_instrumentevent", "collection_planleg", "collection_quickcheck", "collection_reading",
            "collection_spec", "collection_standing", "collection_survey", "collection_vialpair",
            "collection_zerocheck",
        ),
    ]

"""The record is guarded once all its tables and indexes stand: a guard tells by them what would be written over."""

from django.db import migrations

from collection.models.guards import guard


class Migration(migrations.Migration):
    """Guard each table of the record; one that is guarded already gets the same guard again."""

    dependencies = [("collection", "0014_one_name_for_digests")]

    operations = [
        guard(
            "collection_adjustment", "collection_change", "collection_floorreading", "collection_floorslope",
            "collection_instrumentevent", "collection_planleg", "collection_quickcheck", "collection_reading",
            "collection_spec", "collection_standing", "collection_survey", "collection_vialpair",
            "collection_zerocheck",
        ),
    ]

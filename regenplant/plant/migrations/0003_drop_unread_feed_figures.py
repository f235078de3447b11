"""Hardness and alkalinity of the feed fed no plan: the feed analysis says both and more. What stood there stays in the trail."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0002_feed_and_mixed_bed_equipment"),
    ]

    operations = [
        migrations.RemoveField(model_name="plantprofile", name="feed_hardness_kg_per_m3"),
        migrations.RemoveField(model_name="plantprofile", name="feed_alkalinity_kg_per_m3"),
    ]

"""Which chemicals are piped to a vessel. Empty for every vessel that stands: nothing is ruled out until somebody writes it."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0003_drop_unread_feed_figures"),
    ]

    operations = [
        migrations.AddField(
            model_name="vessel",
            name="chemicals",
            field=models.JSONField(default=list),
        ),
    ]

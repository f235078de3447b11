"""Which vessels take the anion leg of a mixed bed only. No vessel that stands is one until somebody says so."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0004_vessel_chemicals"),
    ]

    operations = [
        migrations.AddField(
            model_name="vessel",
            name="takes_anion_leg_only",
            field=models.BooleanField(default=False),
        ),
    ]

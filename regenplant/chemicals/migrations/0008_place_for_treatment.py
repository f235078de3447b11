from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("chemicals", "0007_storage_spills_thresholds"),
    ]

    operations = [
        migrations.AlterField(
            model_name="place",
            name="kind",
            field=models.CharField(choices=[('supplier', 'supplier'), ('bulk_tank', 'bulk tank'), ('batch', 'used in batches'), ('treatment', 'used to treat waste'), ('drain', 'drained unused'), ('spilled', 'spilled'), ('unexplained', 'unexplained')], max_length=12),
        ),
    ]

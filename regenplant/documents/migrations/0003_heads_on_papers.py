from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("documents", "0002_initial")]
    operations = [
        migrations.AddField(
            model_name="issuedpaper", name="chain_head", field=models.CharField(blank=True, max_length=64)
        ),
        migrations.AddField(
            model_name="issuedpaper", name="chain_number", field=models.BigIntegerField(default=0)
        ),
    ]

from django.db import migrations


def take_off(apps, schema_editor):
    """PostgreSQL alters no column that a trigger names. The locks are made anew after every migrate."""
    from regenplant.audit import locks

    locks.remove()


class Migration(migrations.Migration):

    dependencies = [
        ('batches', '0002_initial'),
    ]

    operations = [
        migrations.RunPython(take_off, migrations.RunPython.noop),
    ]

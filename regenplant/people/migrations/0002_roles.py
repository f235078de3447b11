"""The roles of the plant as groups."""

from django.db import migrations

ROLES = ("operator", "QC technician", "supervisor", "planner", "safety lead", "administrator")


def add(apps, schema_editor):
    group = apps.get_model("auth", "Group")
    for name in ROLES:
        group.objects.get_or_create(name=name)


def take_away(apps, schema_editor):
    apps.get_model("auth", "Group").objects.filter(name__in=ROLES).delete()


class Migration(migrations.Migration):
    dependencies = [("people", "0001_initial"), ("auth", "0012_alter_user_first_name_max_length")]
    operations = [migrations.RunPython(add, take_away)]

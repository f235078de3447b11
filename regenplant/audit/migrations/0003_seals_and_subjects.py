import json

from django.db import migrations, models

NOTES = """
CREATE UNLOGGED TABLE audit_touchedrow (
    id bigserial PRIMARY KEY, table_name text NOT NULL, row_key text NOT NULL, before text
)
"""


def make_notes(apps, schema_editor):
    """PostgreSQL: where triggers note the rows of the act that is open. Empty outside an act. SQLite needs no table."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(NOTES)


def drop_notes(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP TABLE audit_touchedrow")


def list_subjects(apps, schema_editor):
    """Acts from before are found by the same table as later ones."""
    event = apps.get_model("audit", "AuditEvent")
    subject = apps.get_model("audit", "EventSubject")
    rows = []
    for number, payload in event.objects.order_by("number").values_list("number", "payload").iterator(2000):
        recorded = json.loads(payload)
        own = (recorded["subject"]["kind"], recorded["subject"]["key"])
        pairs = dict.fromkeys([own, *((kind, key) for kind, key in recorded["related"])])
        rows += [subject(event=number, kind=kind, key=key) for kind, key in pairs]
        if len(rows) >= 2000:
            subject.objects.bulk_create(rows)
            rows = []
    subject.objects.bulk_create(rows)


class Migration(migrations.Migration):
    dependencies = [("audit", "0002_initial")]
    operations = [
        migrations.CreateModel(
            name="RowShape",
            fields=[
                ("id", models.CharField(max_length=16, primary_key=True, serialize=False)),
                ("table_name", models.CharField(max_length=64)),
                ("content", models.TextField()),
            ],
            options={"ordering": ["table_name", "id"]},
        ),
        migrations.AlterField(model_name="auditevent", name="related", field=models.TextField(blank=True)),
        migrations.CreateModel(
            name="EventSubject",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("event", models.BigIntegerField()),
                ("kind", models.CharField(max_length=40)),
                ("key", models.CharField(max_length=64)),
            ],
            options={"ordering": ["id"]},
        ),
        migrations.AddConstraint(
            model_name="eventsubject",
            constraint=models.UniqueConstraint(fields=("kind", "key", "event"), name="event_subject_once"),
        ),
        migrations.RunPython(make_notes, drop_notes),
        migrations.RunPython(list_subjects, migrations.RunPython.noop),
    ]

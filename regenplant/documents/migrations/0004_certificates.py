import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("documents", "0003_heads_on_papers"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]
    operations = [
        migrations.CreateModel(
            name="Certificate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=16, unique=True)),
                (
                    "scope",
                    models.CharField(choices=[("tank", "one tank"), ("delivery", "a delivery")], max_length=8),
                ),
                ("customer_code", models.CharField(max_length=24)),
                ("content", models.TextField()),
                ("digest", models.CharField(max_length=64)),
                ("issued_at", models.DateTimeField()),
                (
                    "issued_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="documents.certificate",
                    ),
                ),
            ],
            options={
                "ordering": ["-issued_at", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("scope__in", ["tank", "delivery"])), name="certificate_scope_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("content", ""), _negated=True), name="certificate_says_something"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CertifiedTank",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                ("tank_serial", models.CharField(max_length=24)),
                ("visit_number", models.CharField(max_length=16)),
                ("batch_number", models.CharField(max_length=16)),
                ("decision_version", models.PositiveSmallIntegerField()),
                ("release_version", models.PositiveSmallIntegerField()),
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tanks", to="documents.certificate"
                    ),
                ),
            ],
            options={
                "ordering": ["certificate", "position"],
                "indexes": [
                    models.Index(fields=["batch_number"], name="certified_batch"),
                    models.Index(fields=["tank_serial"], name="certified_tank"),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("certificate", "visit_number"), name="tank_once_on_certificate"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CertificateWithdrawal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("reason_category", models.CharField(max_length=10)),
                ("reason", models.CharField(max_length=300)),
                ("withdrawn_at", models.DateTimeField()),
                (
                    "certificate",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="documents.certificate",
                    ),
                ),
                (
                    "withdrawn_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="withdrawn_certificate_has_reason"
                    )
                ],
            },
        ),
    ]

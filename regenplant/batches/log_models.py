"""Logs of meters, and what is derived from readings so that a page need not read them all."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.reasons import LONGEST_CATEGORY


class MeterLog(models.Model):
    """One packet of readings of one instrument in one judged rinse, as received, for good. Append-only.

    A packet is one row and one act, whether it holds one reading or a hundred thousand. What was received stands in
    ``received_text``; ``columns`` holds the same readings worked out, so that they need not be read from the text each time.
    """

    class Source(models.TextChoices):
        """Which way a packet came."""

        FILE = "file", "file of a logger"
        PASTE = "paste", "pasted from a logger"
        HTTP = "http", "in-line meter, over HTTP"
        MQTT = "mqtt", "in-line meter, over MQTT"

    batch = models.ForeignKey("batches.Batch", on_delete=models.PROTECT, related_name="meter_logs")
    step = models.ForeignKey("batches.StepRun", on_delete=models.PROTECT, related_name="meter_logs")
    instrument = models.ForeignKey("plant.Instrument", on_delete=models.PROTECT, related_name="meter_logs")
    source = models.CharField(max_length=6, choices=Source.choices)
    name = models.CharField(max_length=120, blank=True)
    """Of the file, or of the feed."""
    received_text = models.TextField()
    """Exactly as received: values, units and times as the meter or the person's file had them."""
    time_zone = models.CharField(max_length=64, blank=True)
    """Zone of the clocks that showed its times, where they come without an offset."""
    counted_from_at = models.DateTimeField(null=True)
    """When it began, where its times are counted from there."""
    counter_at_start_m3 = models.FloatField(default=0.0)
    """What its counter of water showed when the rinse began."""
    unit_as_typed = models.CharField(max_length=20)
    meter_compensation = models.CharField(max_length=10)
    """What the meter had already done: "none", "neutral", "acid", "base", "flat_2"."""
    water_kind = models.CharField(max_length=10)
    """The kind of water at this stage: "neutral", "acid", "base"."""
    cell_constant_per_cm = models.FloatField(null=True)
    """Of the cell on that day."""
    instrument_was_valid = models.BooleanField()
    """In calibration on the day of the first and of the last reading; else the packet informs and proves nothing."""
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    count = models.PositiveIntegerField()
    """Readings kept."""
    check_count = models.PositiveIntegerField(default=0)
    """How many of them point to the instrument instead of the water; they are kept and never counted."""
    known_already = models.PositiveIntegerField(default=0)
    """Readings received again, or twice: of this instrument at a moment that is kept already."""
    outside = models.PositiveIntegerField(default=0)
    """Readings received that lie outside the rinse."""
    columns = models.TextField()
    """Base64 of zlib of float64: time [s since the epoch], rinsed [BV], conductivity as shown [S/m], temperature [K], and the
    conductivity at 25 °C [S/m], one column after the other."""
    digest = models.CharField(max_length=64)
    """SHA-256 over ``received_text`` and ``columns``."""
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    is_late = models.BooleanField(default=False)
    """Received longer after its last reading than the plant's limit of that day allowed."""
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    """Why it came late, where somebody said so."""

    class Meta:
        ordering = ["first_at", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(count__gt=0), name="meter_log_holds_readings"),
            models.CheckConstraint(
                condition=Q(last_at__gte=F("first_at")), name="meter_log_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(source__in=["file", "paste", "http", "mqtt"]), name="meter_log_source_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} readings"

    @property
    def is_of_a_meter(self) -> bool:
        """Sent by the meter's own device account; a person had no hand in it."""
        return self.source in (MeterLog.Source.HTTP, MeterLog.Source.MQTT)


class MeterLogSetAside(models.Model):
    """A packet, or a stretch of it, that counts no more, and why. Append-only; the readings stay readable."""

    log = models.ForeignKey(MeterLog, on_delete=models.PROTECT, related_name="set_asides")
    from_at = models.DateTimeField(null=True)
    """First moment that counts no more; null, with ``until_at``, for the whole packet."""
    until_at = models.DateTimeField(null=True)
    """Last moment that counts no more."""
    set_aside_at = models.DateTimeField()
    set_aside_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY)
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ["set_aside_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="set_aside_log_has_reason"),
            models.CheckConstraint(
                condition=Q(from_at__isnull=True, until_at__isnull=True)
                | Q(from_at__isnull=False, until_at__isnull=False, until_at__gte=F("from_at")),
                name="set_aside_stretch_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.reason


class RinseStanding(models.Model):
    """How a rinse stands, derived from its readings, so that a page need not read them all. Never trusted for a decision: those
    judge the readings themselves. It may be thrown away and built again at any time."""

    batch = models.OneToOneField("batches.Batch", on_delete=models.CASCADE, related_name="rinse_standing")
    basis = models.CharField(max_length=64)
    """What it was worked out from, as a digest: when that no longer fits, it is out of date."""
    points = models.PositiveIntegerField(default=0)
    """How many readings stand."""
    logs = models.PositiveIntegerField(default=0)
    """How many packets of meters there are, set aside or not."""
    newest_at = models.DateTimeField(null=True)
    curve = models.JSONField(default=list)
    """At most ``standing.MOST_ROWS`` rows of (minutes since the rinse began, rinsed [BV], conductivity at 25 °C [S/m], as shown [S/m],
    temperature [K]), oldest first; the highest and the lowest of each stretch are kept. Readings that point to their instrument
    are not in it."""
    end_point = models.JSONField(default=dict)
    """Plain data of ``rinse.EndPoint``."""
    forecast = models.JSONField(default=dict)
    """Plain data of what was forecast from it, see ``forecasts.forecast_of``; empty where nothing can be forecast."""
    forecast_at = models.DateTimeField(null=True)
    """When that was forecast."""
    grade = models.CharField(max_length=40, blank=True)
    """Of the resin, as the plan was frozen with; with ``lot_code`` the pool whose history a forecast looks at."""
    lot_code = models.CharField(max_length=40, blank=True)
    endpoint_bv = models.FloatField(null=True)
    """Bed volumes when the limit was first held; null while it is not."""
    decade_bv = models.FloatField(null=True)
    """Bed volumes of the tenfold fall before it; null where the readings do not show it."""
    renewed_at = models.DateTimeField()
    seen_version = models.PositiveIntegerField(default=0)
    """Version of the batch when it was worked out."""

    def __str__(self) -> str:
        return f"{self.points} readings"


class ForecastMade(models.Model):
    """What was forecast when: the history that a decision looks back on. Derived; at most one for each minute and each reading by hand."""

    batch = models.ForeignKey("batches.Batch", on_delete=models.CASCADE, related_name="forecasts_made")
    at = models.DateTimeField()
    minutes = models.FloatField()
    """Since the rinse began, of the newest reading [min]."""
    rinsed_bv = models.FloatField()
    p05_bv = models.FloatField(null=True)
    p50_bv = models.FloatField(null=True)
    p95_bv = models.FloatField(null=True)
    """Bed volumes at the end point, 5, 50 and 95 %; null where the readings cannot say."""
    p_never = models.FloatField(null=True)
    enough_data = models.BooleanField()
    model = models.CharField(max_length=40)
    """Version of what forecast it."""

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["batch", "at"], name="forecast_batch_time")]

    def __str__(self) -> str:
        return f"{self.minutes:.0f} min"

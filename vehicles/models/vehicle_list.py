"""A list of vehicles on its way in: the file, its columns, its staged rows."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from dealership.models import Job, Store, Upload
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.rules.standing import ListState, RowState


LIST_STATE_WORDS = {
    ListState.WAITING: _("being read"),
    ListState.STAGED: _("to be reviewed"),
    ListState.APPLYING: _("being applied"),
    ListState.APPLIED: _("applied"),
    ListState.ABANDONED: _("abandoned"),
    ListState.FAILED: _("could not be read"),
}
ROW_STATE_WORDS = {
    RowState.NEW: _("new"),
    RowState.CHANGED: _("changed"),
    RowState.SAME: _("unchanged"),
    RowState.ASK: _("to be decided"),
    RowState.REFUSED: _("refused"),
    RowState.LEFT_OUT: _("left out"),
}


class VehicleListQuerySet(StoreScopedQuerySet["VehicleList"]):
    """Lists, by store."""


class VehicleList(models.Model):
    """One uploaded list of vehicles and owners."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    upload = models.ForeignKey(Upload, on_delete=models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    state = models.CharField(
        max_length=10, choices=choices_of(LIST_STATE_WORDS), default=ListState.WAITING
    )
    header_row = models.PositiveIntegerField(default=1)
    headers = models.JSONField(default=list)
    # field -> column index; what was guessed, then what the person made of it
    mapping = models.JSONField(default=dict)
    guesses = models.JSONField(default=list)
    # field -> "day" or "month" first, where a person settled it
    date_orders = models.JSONField(default=dict)
    sheet_notes = models.JSONField(default=list)
    # what a person said of the whole list: kind, source of the addresses, sheet,
    # header row, model years where the VIN allows two
    choices = models.JSONField(default=dict)
    # how the file was read: encoding, separator, sheets, how each date column stands
    reading = models.JSONField(default=dict)
    counts = models.JSONField(default=dict)
    error = models.TextField(blank=True)
    staged_rows_done = models.PositiveIntegerField(default=0)
    applied_up_to_row = models.PositiveIntegerField(default=0)
    packed_rows_applied = models.PositiveIntegerField(default=0)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True)

    objects = VehicleListQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [known("state", ListState, "vehicle_list_state_is_known")]

    def __str__(self) -> str:
        return f"{self.pk} {self.state}"

    @property
    def is_begun(self) -> bool:
        """Whether rows of it were applied."""
        return bool(self.applied_up_to_row or self.packed_rows_applied)


class StagedPack(models.Model):
    """Many rows of one list about new vehicles, cleaned, with nothing wrong in them.

    They wait here together, column by column, until they are applied; then they go.
    """

    vehicle_list = models.ForeignKey(
        VehicleList, on_delete=models.CASCADE, related_name="packs"
    )
    first_row = models.PositiveIntegerField()
    last_row = models.PositiveIntegerField()
    rows = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        ordering = ["first_row"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle_list", "first_row"], name="one_staged_pack_per_row"
            ),
            models.CheckConstraint(
                condition=models.Q(last_row__gte=models.F("first_row"))
                & models.Q(rows__gte=1),
                name="staged_pack_holds_rows",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle_list_id}:{self.first_row}-{self.last_row}"


class StagedRow(models.Model):
    """One row of the file, cleaned, with what is wrong with it."""

    vehicle_list = models.ForeignKey(
        VehicleList, on_delete=models.CASCADE, related_name="rows"
    )
    row_number = models.PositiveIntegerField()
    state = models.CharField(max_length=8, choices=choices_of(ROW_STATE_WORDS))
    vin = models.CharField(max_length=40, blank=True)
    raw = models.JSONField(default=list)
    record = models.JSONField(default=dict)
    faults = models.JSONField(default=list)
    # only shown: it is counted with the list and applied with its pack
    is_sample = models.BooleanField(default=False)

    class Meta:
        ordering = ["row_number"]
        constraints = [
            known("state", RowState, "staged_row_state_is_known"),
            models.UniqueConstraint(
                fields=["vehicle_list", "row_number"], name="one_staged_row_per_line"
            ),
        ]
        indexes = [
            models.Index(
                fields=["vehicle_list", "state", "row_number"],
                name="staged_row_by_state",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle_list_id}:{self.row_number}"

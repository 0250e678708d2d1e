"""A round in pieces: chunks that are being set, files to print, sheets set again."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.letter import LetterRound
from dealership.models import Job
from dealership.models.scope import StoreScopedQuerySet


class LetterChunkQuerySet(StoreScopedQuerySet["LetterChunk"]):
    """Chunks, by store."""

    store_path = "letter_round__store"


class LetterChunk(models.Model):
    """Letters that one worker sets together; gone when the round is bound.

    ``whole``: the layout engine sets each of the ``positions``. Otherwise the letters
    from ``first`` to ``last`` are filled in, and ``positions`` are those left over.
    """

    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.CASCADE, related_name="chunks"
    )
    number = models.PositiveIntegerField()
    first = models.PositiveIntegerField()
    last = models.PositiveIntegerField()
    whole = models.BooleanField(default=False)
    positions = models.JSONField(default=list)
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    taken_at = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    file = models.CharField(max_length=200, blank=True)

    objects = LetterChunkQuerySet.as_manager()

    class Meta:
        ordering = ["letter_round", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["letter_round", "number"], name="one_letter_chunk_per_number"
            ),
            models.CheckConstraint(
                condition=Q(first__lte=F("last")), name="letter_chunk_is_a_stretch"
            ),
            models.CheckConstraint(
                condition=Q(done_at__isnull=True, file="")
                | (Q(done_at__isnull=False) & ~Q(file="")),
                name="letter_chunk_done_with_its_file",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.number}"


class LetterFileQuerySet(StoreScopedQuerySet["LetterFile"]):
    """Files of letters, by store."""

    store_path = "letter_round__store"


class LetterFile(models.Model):
    """One PDF of a round, to be printed in one go."""

    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.PROTECT, related_name="files"
    )
    number = models.PositiveIntegerField()
    pdf = models.FileField(upload_to="letters/%Y/%m")
    first = models.PositiveIntegerField()
    last = models.PositiveIntegerField()
    sheets = models.PositiveIntegerField()

    objects = LetterFileQuerySet.as_manager()

    class Meta:
        ordering = ["letter_round", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["letter_round", "number"], name="one_letter_file_per_number"
            ),
            models.CheckConstraint(
                condition=Q(first__lte=F("last")), name="letter_file_is_a_stretch"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.number}"


class LetterReprintQuerySet(StoreScopedQuerySet["LetterReprint"]):
    """Sheets printed again, by store."""

    store_path = "letter_round__store"


class LetterReprint(models.Model):
    """Sheets of a round that were printed again, and why (only added to)."""

    key = models.CharField(max_length=100, unique=True)
    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.PROTECT, related_name="reprints"
    )
    codes = models.JSONField(_("letters"))
    why = models.CharField(max_length=200)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    objects = LetterReprintQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(why=""), name="letter_reprint_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.pk}"

"""Owner letters: texts in versions, rounds, letters, and who was left out."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.population import CampaignVehicle
from campaigns.models.words import (
    CLASS_WORDS,
    OMISSION_WORDS,
    ROUND_KIND_WORDS,
    ROUND_WORDS,
)
from campaigns.rules.lifecycle import (
    CampaignClass,
    OmissionReason,
    RoundKind,
    RoundState,
)
from dealership.models import Job, Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.models import Address, Party


class LetterText(models.Model):
    """One version of a letter's text. Kept for ever once a letter was printed."""

    campaign_class = models.CharField(
        _("class"), max_length=16, choices=choices_of(CLASS_WORDS)
    )
    kind = models.CharField(
        _("letter"), max_length=10, choices=choices_of(ROUND_KIND_WORDS)
    )
    language = models.CharField(_("language"), max_length=8, default="en")
    number = models.PositiveIntegerField(_("version"))
    subject = models.CharField(_("subject line"), max_length=160)
    body = models.TextField(_("paragraphs, an empty line between two"))
    effective_from = models.DateField(_("in force from"))
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["campaign_class", "kind", "language", "-number"]
        constraints = [
            known("campaign_class", CampaignClass, "letter_text_class_is_known"),
            known("kind", RoundKind, "letter_text_kind_is_known"),
            models.UniqueConstraint(
                fields=["campaign_class", "kind", "language", "number"],
                name="one_letter_text_per_version",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_class} {self.kind} {self.language} v{self.number}"


class LetterRoundQuerySet(StoreScopedQuerySet["LetterRound"]):
    """Rounds, by store."""


class LetterRound(models.Model):
    """Letters of one campaign that one store sends together."""

    key = models.CharField(max_length=100, unique=True)
    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="rounds"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="rounds")
    kind = models.CharField(max_length=10, choices=choices_of(ROUND_KIND_WORDS))
    number = models.PositiveIntegerField()
    text = models.ForeignKey(LetterText, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(
        max_length=10, choices=choices_of(ROUND_WORDS), default=RoundState.DRAWN_UP
    )
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    pdf = models.FileField(upload_to="letters/%Y/%m", blank=True)
    sheets = models.PositiveIntegerField(default=0)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    printed_on = models.DateField(null=True)
    posted_on = models.DateField(null=True)

    objects = LetterRoundQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("kind", RoundKind, "letter_round_kind_is_known"),
            known("state", RoundState, "letter_round_state_is_known"),
            models.UniqueConstraint(
                fields=["campaign", "store", "number"], name="one_round_per_number"
            ),
            models.UniqueConstraint(
                fields=["campaign", "store"],
                condition=Q(state__in=["drawn_up", "printing", "printed"]),
                name="one_round_in_work",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.store_id} {self.number}"


class LetterQuerySet(StoreScopedQuerySet["Letter"]):
    """Letters, by store."""

    store_path = "letter_round__store"


class Letter(models.Model):
    """One letter about one vehicle. Names nobody: person and address by id."""

    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.PROTECT, related_name="letters"
    )
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="letters"
    )
    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="letters")
    address = models.ForeignKey(
        Address, on_delete=models.PROTECT, related_name="letters"
    )
    code = models.CharField(max_length=16, unique=True)
    position = models.PositiveIntegerField()
    page = models.PositiveIntegerField(null=True)
    address_fits = models.BooleanField(default=True)
    printed_on = models.DateField(null=True)
    posted_on = models.DateField(null=True)
    returned_on = models.DateField(null=True)
    returned_why = models.CharField(max_length=40, blank=True)

    objects = LetterQuerySet.as_manager()

    class Meta:
        ordering = ["letter_round", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["letter_round", "campaign_vehicle"],
                name="one_letter_per_round_and_vehicle",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LetterOmission(models.Model):
    """An open vehicle that got no letter in a round, and why."""

    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.CASCADE, related_name="omissions"
    )
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=20, choices=choices_of(OMISSION_WORDS))

    class Meta:
        ordering = ["reason", "id"]
        constraints = [
            known("reason", OmissionReason, "omission_reason_is_known"),
            models.UniqueConstraint(
                fields=["letter_round", "campaign_vehicle"],
                name="one_omission_per_round_and_vehicle",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.reason}"

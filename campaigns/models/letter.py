"""Owner letters: texts in versions, rounds, letters, and who was left out."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.population import CampaignVehicle
from campaigns.models.words import (
    ANSWER_WORDS,
    CHANNEL_WORDS,
    CLASS_WORDS,
    OMISSION_WORDS,
    POSTED_BY_WORDS,
    PURPOSE_WORDS,
    RETURN_STEP_WORDS,
    ROUND_KIND_WORDS,
    ROUND_SCOPE_WORDS,
    ROUND_WORDS,
)
from campaigns.rules.letter_text import OWNER_FIELDS
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import (
    CampaignClass,
    ContactChannel,
    ExportPurpose,
    OmissionReason,
    OwnerAnswer,
    PostedBy,
    ReturnStep,
    RoundKind,
    RoundScope,
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
    posted_by = models.CharField(
        _("whose letter"),
        max_length=12,
        choices=choices_of(POSTED_BY_WORDS),
        default=PostedBy.STORE,
    )
    language = models.CharField(
        _("language"), max_length=8, default="en", choices=LANGUAGES
    )
    number = models.PositiveIntegerField(_("version"))
    subject = models.CharField(_("subject line"), max_length=160)
    body = models.TextField(_("paragraphs, an empty line between two"))
    effective_from = models.DateField(_("in force from"))
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["campaign_class", "posted_by", "kind", "language", "-number"]
        constraints = [
            known("campaign_class", CampaignClass, "letter_text_class_is_known"),
            known("kind", RoundKind, "letter_text_kind_is_known"),
            known("posted_by", PostedBy, "letter_text_posted_by_is_known"),
            models.CheckConstraint(
                condition=Q(language__in=[code for code, _words in LANGUAGES]),
                name="letter_text_language_is_known",
            ),
            models.UniqueConstraint(
                fields=["campaign_class", "kind", "posted_by", "language", "number"],
                name="one_letter_text_per_version",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_class} {self.kind} {self.language} v{self.number}"

    @property
    def names_the_owner(self) -> bool:
        """Tell whether a paragraph names the owner, who differs in every letter."""
        return any(f"{{{name}}}" in self.body for name in OWNER_FIELDS)


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
    posted_by = models.CharField(
        max_length=12, choices=choices_of(POSTED_BY_WORDS), default=PostedBy.STORE
    )
    scope = models.CharField(
        max_length=10, choices=choices_of(ROUND_SCOPE_WORDS), default=RoundScope.ALL
    )
    number = models.PositiveIntegerField()
    text = models.ForeignKey(LetterText, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(
        max_length=10, choices=choices_of(ROUND_WORDS), default=RoundState.DRAWN_UP
    )
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    # the first of the files, once all are bound
    pdf = models.FileField(upload_to="letters/%Y/%m", blank=True)
    sheets = models.PositiveIntegerField(default=0)
    letters_per_file = models.PositiveIntegerField(default=0)
    # how many the layout engine set one by one; how many were compared both ways
    set_whole = models.PositiveIntegerField(default=0)
    compared = models.PositiveIntegerField(default=0)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    printed_on = models.DateField(null=True)
    printed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    posted_on = models.DateField(null=True)
    taken_to_post_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = LetterRoundQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("kind", RoundKind, "letter_round_kind_is_known"),
            known("state", RoundState, "letter_round_state_is_known"),
            known("posted_by", PostedBy, "letter_round_posted_by_is_known"),
            known("scope", RoundScope, "letter_round_scope_is_known"),
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
    # the version in the owner's language; None: the round's text
    text = models.ForeignKey(
        LetterText, null=True, on_delete=models.PROTECT, related_name="+"
    )
    code = models.CharField(max_length=16, unique=True)
    position = models.PositiveIntegerField()
    # letters to one person share one: the position of the first of them
    envelope = models.PositiveIntegerField(null=True)
    page = models.PositiveIntegerField(null=True)
    address_fits = models.BooleanField(default=True)
    printed_on = models.DateField(null=True)
    posted_on = models.DateField(null=True)
    returned_on = models.DateField(null=True)
    returned_why = models.CharField(max_length=40, blank=True)
    return_step = models.CharField(
        max_length=14, choices=choices_of(RETURN_STEP_WORDS), blank=True
    )

    objects = LetterQuerySet.as_manager()

    class Meta:
        ordering = ["letter_round", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["letter_round", "campaign_vehicle"],
                name="one_letter_per_round_and_vehicle",
            ),
            models.CheckConstraint(
                condition=Q(return_step="")
                | Q(
                    return_step__in=[one.value for one in ReturnStep],
                    returned_on__isnull=False,
                ),
                name="return_step_is_of_a_returned_letter",
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


class LetterCheckAnswer(models.Model):
    """Why a remark of the letter check was let pass in a round (only added to)."""

    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.PROTECT, related_name="check_answers"
    )
    text = models.ForeignKey(LetterText, on_delete=models.PROTECT, related_name="+")
    rule = models.CharField(max_length=40)
    why = models.CharField(max_length=300)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["letter_round", "text", "rule"],
                name="one_check_answer_per_round_text_and_rule",
            ),
            models.CheckConstraint(
                condition=~Q(why=""), name="check_answer_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.rule}"


class ContactQuerySet(StoreScopedQuerySet["Contact"]):
    """Contacts, by store."""

    store_path = "campaign_vehicle__store"


class Contact(models.Model):
    """Somebody was spoken to about a vehicle's campaign, or answered a letter."""

    key = models.CharField(max_length=100, unique=True)
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="contacts"
    )
    party = models.ForeignKey(
        Party, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    letter = models.ForeignKey(
        Letter, null=True, on_delete=models.PROTECT, related_name="answers"
    )
    channel = models.CharField(max_length=10, choices=choices_of(CHANNEL_WORDS))
    answer = models.CharField(max_length=14, choices=choices_of(ANSWER_WORDS))
    on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    objects = ContactQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-id"]
        constraints = [
            known("channel", ContactChannel, "contact_channel_is_known"),
            known("answer", OwnerAnswer, "contact_answer_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id} {self.answer}"


class AddressExportQuerySet(StoreScopedQuerySet["AddressExport"]):
    """Handed-out address lists, by store."""


class AddressExport(models.Model):
    """An address list that was handed out: to whom, for what (only added to).

    18 USC 2721(c): kept for five years who got it and for which permitted purpose.
    """

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    letter_round = models.ForeignKey(
        LetterRound, on_delete=models.PROTECT, related_name="exports"
    )
    purpose = models.CharField(max_length=16, choices=choices_of(PURPOSE_WORDS))
    recipient = models.CharField(max_length=120)
    file_kind = models.CharField(max_length=4)
    rows = models.PositiveIntegerField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    keep_until = models.DateField()

    objects = AddressExportQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("purpose", ExportPurpose, "export_purpose_is_known"),
            models.CheckConstraint(
                condition=~Q(recipient=""), name="export_names_who_got_it"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.letter_round_id} {self.purpose}"

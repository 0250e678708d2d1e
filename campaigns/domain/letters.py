"""Rounds of letters: drawn up, set, printed, posted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.letter_binding import clear_away
from campaigns.domain.letter_checks import refuse_unchecked
from campaigns.domain.letter_texts import texts_in_force
from campaigns.models import (
    Campaign,
    Letter,
    LetterOmission,
    LetterRound,
)
from campaigns.queries.addressees import Addressee, decide_addressees
from campaigns.rules.envelopes import may_share_envelope, put_in_envelopes
from campaigns.rules.letter_wording import DEFAULT_LANGUAGE
from campaigns.rules.lifecycle import (
    CampaignClass,
    CampaignState,
    PostedBy,
    RoundKind,
    RoundScope,
    RoundState,
)
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.jobs import JobState
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from campaigns.models import LetterText
    from dealership.models import Job, StaffMember, Store
    from vehicles.models import Party

PRINT_KIND = "campaigns.print_round"

_IN_WORK = (RoundState.DRAWN_UP, RoundState.PRINTING, RoundState.PRINTED)


class RoundInWork(Refusal):
    """Another round of the campaign is not posted yet."""

    def __init__(self, number: int) -> None:
        super().__init__(
            _(
                "Round %(number)d of this campaign is not posted yet. Post it or"
                " cancel it before the next one is drawn up."
            )
            % {"number": number}
        )
        self.number = number


class CampaignNotRunning(Refusal):
    """Letters are written about running campaigns only."""

    def __init__(self, campaign: Campaign) -> None:
        super().__init__(
            _("Campaign %(code)s is not running, so no letters are written about it.")
            % {"code": campaign.code}
        )


class NothingOpen(Refusal):
    """The store has no open vehicle in the campaign."""

    def __init__(self, campaign: Campaign) -> None:
        super().__init__(
            _(
                "No vehicle of this store is open in campaign %(code)s, so there is"
                " nobody to write to."
            )
            % {"code": campaign.code}
        )


class RoundNotReady(Refusal):
    """The round is in a state in which this cannot be done."""

    def __init__(self, letter_round: LetterRound, wish: str) -> None:
        super().__init__(
            _(
                "Round %(number)d is %(state)s, so it cannot be %(wish)s. Reload the"
                " page to see how it stands."
            )
            % {
                "number": letter_round.number,
                "state": letter_round.get_state_display(),
                "wish": wish,
            }
        )
        self.state = letter_round.state


# Drawing up ------------------------------------------------------------------------


def draw_up_round(
    *,
    key: str,
    campaign: Campaign,
    store: Store,
    kind: RoundKind,
    today: dt.date,
    by: StaffMember,
    at: dt.datetime,
    posted_by: PostedBy = PostedBy.STORE,
    scope: RoundScope = RoundScope.ALL,
) -> LetterRound:
    """Draw up a round: for every open vehicle a letter, or why there is none.

    Letters are in the order of their postal codes; those to one person at one address
    share an envelope where the class allows it. The same key gives the first round.
    Raises CampaignNotRunning, RoundInWork, NothingOpen.
    """
    known = LetterRound.objects.filter(key=key).first()
    if known:
        return known
    try:
        with transaction.atomic():
            return _draw_up(
                key=key,
                campaign=campaign,
                store=store,
                kind=kind,
                posted_by=posted_by,
                scope=scope,
                today=today,
                by=by,
                at=at,
            )
    except IntegrityError:
        known = LetterRound.objects.filter(key=key).first()
        if known:
            return known
        _refuse_second_round(campaign, store)
        raise


def _draw_up(
    *,
    key: str,
    campaign: Campaign,
    store: Store,
    kind: RoundKind,
    posted_by: PostedBy,
    scope: RoundScope,
    today: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> LetterRound:
    """Make the round with its letters and omissions."""
    if campaign.state != CampaignState.RUNNING:
        raise CampaignNotRunning(campaign)
    _refuse_second_round(campaign, store)
    decided = list(
        decide_addressees(
            campaign=campaign,
            store=store,
            on=today,
            kind=kind,
            posted_by=posted_by,
            scope=scope,
        )
    )
    if not decided:
        raise NothingOpen(campaign)
    rounds = LetterRound.objects.filter(campaign=campaign, store=store)
    last = rounds.aggregate(last=Max("number"))["last"] or 0
    texts = texts_in_force(
        campaign_class=CampaignClass(campaign.campaign_class),
        kind=kind,
        posted_by=posted_by,
        on=today,
        at=at,
    )
    letter_round = LetterRound.objects.create(
        key=key,
        campaign=campaign,
        store=store,
        kind=kind,
        posted_by=posted_by,
        scope=scope,
        number=last + 1,
        text=texts[DEFAULT_LANGUAGE],
        made_by=by,
        made_at=at,
    )
    written = sorted(
        (one for one in decided if isinstance(one, Addressee)), key=_by_postal_code
    )
    shared = may_share_envelope(CampaignClass(campaign.campaign_class), posted_by)
    envelopes = put_in_envelopes(
        [(one.party.pk, one.address.pk) for one in written], shared=shared
    )
    Letter.objects.bulk_create(
        [
            Letter(
                letter_round=letter_round,
                campaign_vehicle=one.row,
                party=one.party,
                address=one.address,
                text=texts[_language_for(one.party, campaign, texts)],
                code=f"L{letter_round.pk:05}{position:05}",
                position=position,
                envelope=envelope,
            )
            for position, (one, envelope) in enumerate(
                zip(written, envelopes, strict=True), start=1
            )
        ],
        batch_size=500,
    )
    LetterOmission.objects.bulk_create(
        [
            LetterOmission(
                letter_round=letter_round, campaign_vehicle=one.row, reason=one.reason
            )
            for one in decided
            if not isinstance(one, Addressee)
        ],
        batch_size=500,
    )
    record(
        act="letter_round.drawn_up",
        subject=letter_round,
        by=by,
        at=at,
        store=store,
        after={
            "campaign": campaign.code,
            "kind": kind,
            "posted_by": posted_by,
            "letters": len(written),
            "left_out": len(decided) - len(written),
        },
    )
    return letter_round


def _language_for(
    party: Party, campaign: Campaign, texts: Mapping[str, LetterText]
) -> str:
    """Give the owner's language where text and campaign have it, else English."""
    language = party.language
    known = language in texts and campaign.speaks(language)
    return language if known else DEFAULT_LANGUAGE


def _by_postal_code(one: Addressee) -> tuple[str, str, str, str, int, int]:
    """Sort as the post does: country, code, then street by street; people together."""
    place = one.address
    return (
        place.country,
        place.postal_code,
        place.city.casefold(),
        place.street.casefold(),
        place.pk,
        one.row.pk,
    )


def _refuse_second_round(campaign: Campaign, store: Store) -> None:
    """Refuse while a round of the campaign is in work in the store."""
    other = LetterRound.objects.filter(
        campaign=campaign, store=store, state__in=_IN_WORK
    ).first()
    if other:
        raise RoundInWork(other.number)


# Setting ---------------------------------------------------------------------------


def print_round(
    *,
    letter_round: LetterRound,
    by: StaffMember,
    at: dt.datetime,
    letters_per_file: int = 0,
    whole: bool = False,
) -> LetterRound:
    """Have the letters of a round set, in the background.

    As one PDF, or as several of ``letters_per_file`` letters. ``whole`` has each
    letter laid out by itself, which takes long. Asked again while the work goes on it
    changes nothing; after a fault or a cancelled job it starts again and keeps what
    was set. Raises RoundNotReady, and LetterUnsound or RemarksOpen where the letter
    check is not content.
    """
    with transaction.atomic():
        row = _locked(letter_round)
        if row.state not in {RoundState.DRAWN_UP, RoundState.PRINTING}:
            raise RoundNotReady(row, _("set"))
        if row.pdf or (row.job and not _gave_up(row.job)):
            return row
        refuse_unchecked(letter_round=row, today=timezone.localdate(at))
        row.job = enqueue(
            kind=PRINT_KIND,
            arguments={"round_id": row.pk, "whole": whole},
            by=by,
            store=row.store,
            now=at,
        )
        row.state, row.letters_per_file = RoundState.PRINTING, letters_per_file
        row.save(update_fields=["job", "state", "letters_per_file"])
        record(
            act="letter_round.set",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            after={"letters": row.letters.count(), "whole": whole},
        )
    return row


def _gave_up(job: Job) -> bool:
    """Tell whether a job ended without its work done."""
    return job.state in {JobState.FAILED, JobState.CANCELLED}


# Printed, posted, cancelled --------------------------------------------------------


def mark_printed(
    *, letter_round: LetterRound, on: dt.date, by: StaffMember, at: dt.datetime
) -> LetterRound:
    """Note that the sheets came out of the printer on a day. Raises RoundNotReady."""
    with transaction.atomic():
        row = _locked(letter_round)
        if row.state == RoundState.PRINTED:
            return row
        if row.state != RoundState.PRINTING or not row.pdf:
            raise RoundNotReady(row, _("marked as printed"))
        row.state, row.printed_on, row.printed_by = RoundState.PRINTED, on, by
        row.save(update_fields=["state", "printed_on", "printed_by"])
        row.letters.filter(page__isnull=False).update(printed_on=on)
        _record_step(row, "printed", on, by, at)
    return row


def mark_posted(
    *, letter_round: LetterRound, on: dt.date, by: StaffMember, at: dt.datetime
) -> LetterRound:
    """Note that the letters went to the post on a day.

    From then on the owners' time runs: the curve counts weeks from here, and the
    campaign's letter date is set where the manufacturer gave none. Raises
    RoundNotReady.
    """
    with transaction.atomic():
        row = _locked(letter_round)
        if row.state == RoundState.POSTED:
            return row
        printed = row.printed_on
        if row.state != RoundState.PRINTED or printed is None or on < printed:
            raise RoundNotReady(row, _("marked as posted on that day"))
        row.state, row.posted_on = RoundState.POSTED, on
        row.taken_to_post_by = by
        row.save(update_fields=["state", "posted_on", "taken_to_post_by"])
        row.letters.filter(printed_on__isnull=False).update(posted_on=on)
        Campaign.objects.filter(pk=row.campaign_id, letters_on=None).update(
            letters_on=on
        )
        _record_step(row, "posted", on, by, at)
    return row


def cancel_round(
    *, letter_round: LetterRound, by: StaffMember, at: dt.datetime
) -> LetterRound:
    """Give up a round that was not printed. Raises RoundNotReady."""
    with transaction.atomic():
        row = _locked(letter_round)
        busy = row.job and not row.job.is_finished
        if row.state not in {RoundState.DRAWN_UP, RoundState.PRINTING} or busy:
            raise RoundNotReady(row, _("cancelled"))
        row.state = RoundState.CANCELLED
        row.save(update_fields=["state"])
        _record_step(row, "cancelled", timezone.localdate(at), by, at)
    clear_away(row)
    return row


def _locked(letter_round: LetterRound) -> LetterRound:
    """Read a round anew and hold it for this transaction."""
    return (
        LetterRound.objects.select_for_update(of=("self",))
        .select_related("campaign", "store", "job")
        .get(pk=letter_round.pk)
    )


def _record_step(
    row: LetterRound, step: str, on: dt.date, by: StaffMember, at: dt.datetime
) -> None:
    """Write the trail of one step."""
    record(
        act=f"letter_round.{step}",
        subject=row,
        by=by,
        at=at,
        store=row.store,
        after={"on": on.isoformat(), "sheets": row.sheets},
    )

"""Writing the criteria of a campaign, version by version."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.announcing import copy_criteria, next_number, ruling_version
from campaigns.models import Campaign, CriteriaVersion, Criterion
from campaigns.models.words import VERSION_WORDS
from campaigns.queries.criteria import rule_of
from campaigns.rules.lifecycle import VersionState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember

IN_WORK = (
    VersionState.DRAFT,
    VersionState.MATCHING,
    VersionState.MATCHED,
    VersionState.APPLYING,
)


class VersionBusy(Refusal):
    """The version is being matched or applied, or is finished."""

    def __init__(self, version: CriteriaVersion) -> None:
        state = VersionState(version.state)
        super().__init__(
            _(
                "Version %(number)d is %(state)s, so it cannot be changed now. Wait"
                " for the end, or reload the page."
            )
            % {"number": version.number, "state": VERSION_WORDS[state]}
        )
        self.version_id = version.pk
        self.state = state


def version_in_work(campaign: Campaign) -> CriteriaVersion | None:
    """Give the version that is written, matched or applied just now, if there is one."""
    return CriteriaVersion.objects.filter(campaign=campaign, state__in=IN_WORK).first()


def is_busy(version: CriteriaVersion) -> bool:
    """Tell whether a job is at work on the version, or has left it half applied."""
    if version.state == VersionState.MATCHING:
        return version.job is not None and not version.job.is_finished
    if version.state == VersionState.APPLYING:
        return version.job is None or not version.job.is_finished
    return False


def _may_be_changed(version: CriteriaVersion) -> bool:
    return version.state != VersionState.APPLYING and not is_busy(version)


def open_amendment(
    *, campaign: Campaign, by: StaffMember | None, at: dt.datetime
) -> CriteriaVersion:
    """Give the version that may be changed now; begin one from what rules.

    What was matched before is void once something changes, so a matched version goes
    back to being written, and so does one whose match was stopped. Raises VersionBusy
    while one is being matched or applied.
    """
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        version = version_in_work(held)
        if version is None:
            version = CriteriaVersion.objects.create(
                campaign=held, number=next_number(held), made_by=by, made_at=at
            )
            copy_criteria(ruling_version(held), version)
            record(
                act="campaign.amendment_begun",
                subject=held,
                by=by,
                at=at,
                after={"version": version.number},
            )
        elif not _may_be_changed(version):
            raise VersionBusy(version)
        elif version.state != VersionState.DRAFT:
            version.changes.all().delete()
            version.state = VersionState.DRAFT
            version.counts = {}
            version.save(update_fields=["state", "counts"])
    return version


def save_criterion(
    *, campaign: Campaign, criterion: Criterion, by: StaffMember, at: dt.datetime
) -> Criterion:
    """Add or change a criterion of the version in work.

    A criterion of the version that rules is changed in the new version instead.
    Raises VersionBusy, and of vehicles.rules.criteria CriterionAsksNothing and
    WindowBackToFront.
    """
    rule_of(criterion)
    with transaction.atomic():
        version = open_amendment(campaign=campaign, by=by, at=at)
        criterion.version = version
        criterion.save()
        record(
            act="campaign.criterion_written",
            subject=campaign,
            by=by,
            at=at,
            after={"version": version.number, "criterion": criterion.pk},
        )
    return criterion


def drop_criterion(
    *, campaign: Campaign, criterion_id: int, by: StaffMember, at: dt.datetime
) -> None:
    """Take a criterion out of the version in work. A second time does nothing.

    Raises VersionBusy.
    """
    with transaction.atomic():
        version = open_amendment(campaign=campaign, by=by, at=at)
        dropped, _by_table = version.criteria.filter(pk=criterion_id).delete()
        if dropped:
            record(
                act="campaign.criterion_dropped",
                subject=campaign,
                by=by,
                at=at,
                before={"version": version.number, "criterion": criterion_id},
            )


def abandon_amendment(*, campaign: Campaign, by: StaffMember, at: dt.datetime) -> None:
    """Leave the version in work aside; what rules goes on ruling.

    Nothing in work: nothing is done. Raises VersionBusy while it is being matched or
    applied.
    """
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        version = version_in_work(held)
        if version is None:
            return
        if not _may_be_changed(version):
            raise VersionBusy(version)
        version.changes.all().delete()
        version.state = VersionState.ABANDONED
        version.save(update_fields=["state"])
        record(
            act="campaign.amendment_abandoned",
            subject=held,
            by=by,
            at=at,
            before={"version": version.number},
        )

"""Address lists: for a purpose, to somebody named, kept five years, no formulas."""

import csv
import datetime as dt
import io

import pytest
from django.db import IntegrityError, transaction

from campaigns.domain.address_exports import (
    NobodyNamed,
    NothingToExport,
    export_addresses,
)
from campaigns.models import AddressExport
from campaigns.queries.address_lists import address_heads, address_rows
from campaigns.rules.lifecycle import ExportPurpose
from tests.factories.campaigns import LetterFactory, LetterRoundFactory
from tests.factories.dealership import NOW, StaffFactory
from vehicles.rules.standing import AddressSource


pytestmark = pytest.mark.django_db


def export(made, *, purpose=ExportPurpose.RECALL_LETTERS, to="Quillgate", kind="csv"):
    return export_addresses(
        letter_round=made,
        purpose=purpose,
        recipient=to,
        file_kind=kind,
        by=StaffFactory.create(),
        at=NOW,
    )


def test_who_got_it_and_for_what_is_kept_for_five_years():
    """18 USC 2721(c)."""
    made = LetterRoundFactory.create()
    LetterFactory.create(letter_round=made)

    kept, _body = export(made)

    assert (kept.recipient, kept.purpose, kept.rows) == (
        "Quillgate",
        "recall_letters",
        1,
    )
    assert kept.keep_until == dt.date(2031, 11, 25)
    with pytest.raises(IntegrityError), transaction.atomic():
        AddressExport.objects.all().delete()


def test_no_cell_acts_as_a_formula():
    """OWASP, CSV injection."""
    made = LetterRoundFactory.create()
    LetterFactory.create(letter_round=made, party__name="=1+1")

    _kept, body = export(made)

    [head, row] = csv.reader(io.StringIO(body.decode("utf-8-sig")))
    assert tuple(head) == address_heads()
    assert row[2] == "'=1+1"
    assert export(made, kind="xlsx")[1][:2] == b"PK"


def test_state_records_are_for_the_recall_only():
    """18 USC 2721(b)(2)."""
    made = LetterRoundFactory.create()
    LetterFactory.create(letter_round=made, address__source=AddressSource.STATE_RECORDS)

    given = {purpose: len(address_rows(made, purpose)) for purpose in ExportPurpose}

    assert given == {
        "recall_letters": 1,
        "address_check": 1,
        "manufacturer": 1,
        "own_customers": 0,
    }
    with pytest.raises(NothingToExport):
        export(made, purpose=ExportPurpose.OWN_CUSTOMERS)


def test_somebody_must_be_named():
    made = LetterRoundFactory.create()
    LetterFactory.create(letter_round=made)

    with pytest.raises(NobodyNamed):
        export(made, to="  ")
    assert not AddressExport.objects.exists()

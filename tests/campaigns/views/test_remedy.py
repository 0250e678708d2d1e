"""The remedy's pages."""

from decimal import Decimal

import pytest

from campaigns.models import RemedyPrice, Variant, VariantCheck, VariantLabour
from campaigns.models import VariantPart as PartLine
from campaigns.queries.remedy_words import said_conditions
from dealership.rules.roles import Role
from inventory.models import Part
from tests.campaigns.views.test_matching import at
from tests.factories.campaigns import (
    CampaignFactory,
    VariantFactory,
    VariantLabourFactory,
    VariantPartFactory,
    VisitJobFactory,
)
from tests.factories.inventory import PartFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

VARIANT = {
    "code": "A", "title": "Short bolt", "model_years": "2021-2022",
    "build_from": "2021-03-01", "build_to": "", "odometer_from": "",
    "odometer_to": "60000", "months_from": "", "months_to": "", "also_in": "",
    "not_in": "C-9", "measured_name": "rail gap", "measured_unit": "mm",
    "measured_low": "", "measured_high": "1.5",
}  # fmt: skip


def variant_of(client, campaign):
    client.post(at("new_variant", campaign), VARIANT)
    return Variant.objects.get()


def add(client, campaign, variant, kind, **given):
    told = {f"{kind}-{name}": value for name, value in given.items()}
    return client.post(at("add_line", campaign, variant.pk, kind), told)


def test_a_variant_keeps_its_conditions_as_the_rule_reads_them(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    variant = variant_of(client, campaign)
    assert variant.conditions == [
        {"fact": "model_year", "one_of": ["2021", "2022"]},
        {"fact": "build_date", "low": "2021-03-01"},
        {"fact": "odometer_miles", "high": "60000"},
        {"fact": "campaign", "none_of": ["C-9"]},
        {"fact": "measured", "high": "1.5", "name": "rail gap", "unit": "mm"},
    ]
    assert said_conditions(variant) == [
        "model year 2021, 2022",
        "build date 2021-03-01 or more",
        "odometer in miles 60000 or less",
        "not in campaign C-9",
        "rail gap (mm) 1.5 or less",
    ]
    form = client.get(at("variant_facts", campaign, variant.pk)).context["form"]
    assert form["odometer_to"].value() == 60_000
    client.post(at("variant_facts", campaign, variant.pk), VARIANT | {"title": "Long"})
    assert Variant.objects.get().title == "Long"
    taken = client.post(at("new_variant", campaign), VARIANT)
    assert taken.status_code == 400
    assert "has a variant A already" in taken.content.decode()


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"build_to": "2021-02-28"}, "build_to"),
        ({"odometer_from": "70000"}, "odometer_to"),
        ({"measured_unit": ""}, "measured_name"),
        ({"measured_high": ""}, "measured_name"),
        ({"title": ""}, "title"),
    ],
)
def test_conditions_that_cannot_stand_are_told(signed_in, changed, field):
    client = signed_in(Role.SERVICE_MANAGER)
    response = client.post(
        at("new_variant", CampaignFactory.create()), VARIANT | changed
    )
    assert response.status_code == 400
    assert list(response.context["form"].errors) == [field]
    assert not Variant.objects.exists()


def test_parts_known_and_new(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    variant = variant_of(client, campaign)
    known = PartFactory.create()
    line = {"quantity": "2", "share_basis_points": "12.5", "payer": "manufacturer"}
    add(client, campaign, variant, "part", number=known.number, **line)
    row = PartLine.objects.get()
    assert (row.part, row.quantity, row.share_basis_points) == (known, 2, 1_250)
    assert (
        add(client, campaign, variant, "part", number=known.number, **line).status_code
        == 400
    )
    unknown = add(client, campaign, variant, "part", number="NEW-1", **line)
    assert unknown.status_code == 400
    assert "is not in the books yet" in unknown.content.decode()
    add(
        client, campaign, variant, "part", number="NEW-1", name="Bolt kit",
        unit_cost_cents="42.50", **line,
    )  # fmt: skip
    part = Part.objects.get(number="NEW-1")
    assert (part.unit_cost_cents, part.supplier) == (4_250, campaign.supplier)
    for wrong in ({"quantity": "0"}, {"quantity": "-2"}, {"share_basis_points": "0"}):
        refused = add(client, campaign, variant, "part", number="X", **(line | wrong))
        assert refused.status_code == 400
    assert PartLine.objects.count() == 2
    page = client.get(at("variant", campaign, variant.pk)).content.decode()
    assert "12.5" in page


def test_the_bulletin_says_whether_older_numbers_serve(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    variant = variant_of(client, campaign)
    part = PartFactory.create()
    old = PartFactory.create(superseded_by=part)
    line = {"quantity": "1", "share_basis_points": "100", "payer": "manufacturer"}
    asked = {**line, "number": part.number, "old_numbers_serve": "on"}
    add(client, campaign, variant, "part", **asked)
    row = PartLine.objects.get()
    assert row.old_numbers_serve
    page = client.get(at("variant", campaign, variant.pk)).content.decode()
    assert f"{old.number} serves too" in page

    url = at("edit_line", campaign, variant.pk, "part", row.pk)
    client.post(url, {f"part-{key}": value for key, value in line.items()}
                | {"part-number": part.number})  # fmt: skip

    row.refresh_from_db()
    assert not row.old_numbers_serve
    page = client.get(at("variant", campaign, variant.pk)).content.decode()
    assert "are not fitted" in page


def test_labour_checks_and_allowances(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    variant = variant_of(client, campaign)
    add(
        client, campaign, variant, "labour", operation="SR-10", title="Replace",
        hours="0.85", includes="seat out, seat in", payer="manufacturer",
    )  # fmt: skip
    labour = VariantLabour.objects.get()
    assert labour.hundredths_of_hour == 85
    assert labour.includes == ["seat out", "seat in"]
    check = {"title": "Torque", "unit": "Nm", "outside": "repeat", "attempts": "3"}
    assert add(client, campaign, variant, "check", **check).status_code == 400
    assert (
        add(
            client, campaign, variant, "check", **check, low="48", high="42"
        ).status_code
        == 400
    )
    assert (
        add(
            client,
            campaign,
            variant,
            "check",
            **(check | {"outside": "replace"}),
            low="42",
        ).status_code
        == 400
    )
    add(client, campaign, variant, "check", **check, low="42", high="48")
    assert VariantCheck.objects.get().low == Decimal(42)
    add(client, campaign, variant, "allowance", title="Loan car", cents="35",
        payer="manufacturer")  # fmt: skip
    assert RemedyPrice.objects.get().cents == 3_500
    page = client.get(at("variant", campaign, variant.pk)).content.decode()
    assert "0.85" in page
    assert ">42<" in page
    assert client.get(at("remedy", campaign)).status_code == 200


def test_lines_are_changed_and_taken_out(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    line = VariantLabourFactory.create()
    campaign = line.variant.remedy.campaign
    where = (line.variant.pk, "labour", line.pk)
    form = client.get(at("edit_line", campaign, *where)).context["form"]
    assert form["hours"].value() == Decimal("0.8")
    client.post(
        at("edit_line", campaign, *where),
        {
            "labour-operation": "SR-11", "labour-title": "Replace both",
            "labour-hours": "1.25", "labour-includes": "", "labour-payer": "store",
        },
    )  # fmt: skip
    line.refresh_from_db()
    assert (line.operation, line.hundredths_of_hour, line.payer) == (
        "SR-11",
        125,
        "store",
    )
    client.post(at("drop_line", campaign, *where))
    assert not VariantLabour.objects.exists()
    assert client.post(at("drop_line", campaign, *where)).status_code == 404
    odd = at("add_line", campaign, line.variant.pk, "nonsense")
    assert client.post(odd).status_code == 404


def test_a_variant_in_use_stays(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    used = VisitJobFactory.create().variant
    campaign = used.remedy.campaign
    page = client.post(at("drop_variant", campaign, used.pk), follow=True)
    assert "is used by visits or repairs" in page.content.decode()
    free = VariantFactory.create(remedy=used.remedy)
    VariantPartFactory.create(variant=free)
    client.post(at("drop_variant", campaign, free.pk))
    assert list(Variant.objects.all()) == [used]


def test_tools_and_cautions_hold_for_all_variants(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    client.post(at("remedy", campaign), {"tools": "Torque wrench", "cautions": "Mind"})
    assert (campaign.remedy.tools, campaign.remedy.cautions) == (
        "Torque wrench",
        "Mind",
    )
    page = client.get(at("remedy", campaign)).content.decode()
    assert "The manufacturer&#x27;s instructions" in page or "manufacturer" in page


def test_who_may_not_edit_changes_nothing(signed_in):
    client = signed_in(Role.TECHNICIAN)
    variant = VariantFactory.create()
    campaign = variant.remedy.campaign
    assert client.get(at("variant", campaign, variant.pk)).status_code == 200
    assert client.post(at("drop_variant", campaign, variant.pk)).status_code == 403
    client.post(at("remedy", campaign), {"tools": "x", "cautions": "y"})
    variant.remedy.refresh_from_db()
    assert variant.remedy.tools == ""

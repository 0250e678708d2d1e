"""Special tools: pages, and the verbs behind them."""

import datetime as dt
import re

import pytest
from django.urls import reverse

from campaigns.domain.tools import keep_tool, need_tools
from campaigns.models import SpecialTool, ToolAtStore
from campaigns.queries.tools import tools_needed
from campaigns.rules.lifecycle import ToolStanding
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import SpecialToolFactory, ToolAtStoreFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

TOOLS = reverse("campaigns:tools")


def text_of(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def bay(signed_in, store):
    return signed_in(Role.TECHNICIAN, store)


def test_a_tool_is_noted_with_its_place(bay, store):
    page = bay.post(
        TOOLS,
        {"number": "T-9", "name": "Bore gauge", "standing": "owned", "place": "Cage 2"},
        follow=True,
    )
    assert "The tool's place is written down." in text_of(page).replace("&#x27;", "'")
    kept = ToolAtStore.objects.get()
    assert (kept.store, kept.tool.name, kept.place) == (store, "Bore gauge", "Cage 2")
    assert set(AuditEntry.objects.values_list("act", flat=True)) >= {
        "tool.added",
        "tool.kept",
    }


def test_a_borrowed_tool_needs_lender_and_day(bay):
    given = {"number": "T-9", "standing": "borrowed", "place": "Bay 1"}
    page = bay.post(TOOLS, given)
    assert page.status_code == 400
    assert "name of its lender" in text_of(page)
    assert not ToolAtStore.objects.exists()
    bay.post(TOOLS, given | {"lender": "Marrow Tools", "back_by": "2026-12-01"})
    assert ToolAtStore.objects.get().back_by == dt.date(2026, 12, 1)
    assert "borrowed from Marrow Tools, back by 2026-12-01" in text_of(bay.get(TOOLS))


def test_what_is_overdue_or_missing_is_said_first(bay, store):
    SpecialToolFactory.create()
    assert "One tool that a remedy needs is not here" in text_of(bay.get(TOOLS))
    ToolAtStoreFactory.create(
        store=store,
        standing=ToolStanding.BORROWED,
        lender="Marrow Tools",
        back_by=TODAY - dt.timedelta(days=1),
    )
    assert "should be back with its lender already" in text_of(bay.get(TOOLS))


def test_a_tool_leaves_the_store(bay, store):
    kept = ToolAtStoreFactory.create(store=store)
    bay.post(reverse("campaigns:tool_gone", args=[kept.pk]))
    assert not ToolAtStore.objects.exists()
    assert SpecialTool.objects.filter(pk=kept.tool_id).exists()
    entry = AuditEntry.objects.get(act="tool.gone")
    assert entry.store == store


def test_who_records_no_repairs_only_reads(signed_in, store):
    client = signed_in(Role.PARTS_MANAGER, store)
    assert "Note a tool" not in text_of(client.get(TOOLS))
    given = {"number": "T-9", "standing": "owned", "place": "Cage 2"}
    assert client.post(TOOLS, given).status_code == 403


def test_one_tool_or_three_take_the_same_queries(bay, store, django_assert_num_queries):
    for number in (1, 3):
        while ToolAtStore.objects.count() < number:
            kept = ToolAtStoreFactory.create(store=store)
            shop = Shop(store=store)
            need_tools(remedy=shop.variant.remedy, tools=[kept.tool], by=None, at=NOW)
        bay.get(TOOLS)
        with django_assert_num_queries(8):
            bay.get(TOOLS)


def test_another_stores_tool_is_not_here(store):
    shop = Shop(store=store)
    tool = SpecialToolFactory.create()
    need_tools(remedy=shop.variant.remedy, tools=[tool], by=None, at=NOW)
    ToolAtStoreFactory.create(tool=tool)
    (now,) = tools_needed(shop.variant.remedy, store=store, today=TODAY)
    assert now.place is None
    keep_tool(
        store=store,
        tool=tool,
        standing=ToolStanding.OWNED,
        place="Cage",
        by=None,
        at=NOW,
    )
    (now,) = tools_needed(shop.variant.remedy, store=store, today=TODAY)
    assert (now.place.place, now.is_borrowed, now.is_overdue) == ("Cage", False, False)

"""Each place of the house in a real browser: wide and narrow, by day and by night.

No fault in the console and nothing that the page's own policy forbids; nothing that
makes the page slide sideways (WCAG 2.2, 1.4.10); nothing serious that axe finds.
With ``MENDROLL_SHOTS`` set to a folder, pictures of all pages are kept there.
"""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.journeys.stage import PASSWORD, House, Person, browser


pytestmark = [pytest.mark.browser, pytest.mark.committing]

WIDE, NARROW = {"width": 1366, "height": 900}, {"width": 390, "height": 844}
SERIOUS = {"serious", "critical"}
SHOTS = os.environ.get("MENDROLL_SHOTS", "")

# What stands in braces is looked up in the demo's own rows.
PLACES = [
    "/",
    "/find/?q={last_eight}",
    "/campaigns/",
    "/campaigns/new/",
    "/campaigns/{code}/",
    "/campaigns/{code}/population/",
    "/campaigns/{code}/population/criteria/",
    "/campaigns/{code}/population/list/",
    "/campaigns/{code}/remedy/",
    "/campaigns/{code}/parts/",
    "/campaigns/{code}/letters/",
    "/campaigns/{code}/visits/",
    "/campaigns/{code}/money/",
    "/campaigns/{code}/report/",
    "/campaigns/{code}/amendments/",
    "/counter/{vin}/",
    "/counter/{vin}/book/",
    "/visits/",
    "/visits/{visit}/",
    "/visits/hours/",
    "/hold-list/",
    "/repairs/",
    "/repairs/{repair}/",
    "/repairs/{signed}/",
    "/vehicles/",
    "/vehicles/lists/",
    "/vehicles/{vin}/",
    "/parts/",
    "/parts/{part}/",
    "/parts/shipments/",
    "/parts/shipments/{shipment}/",
    "/parts/orders/",
    "/parts/orders/new/",
    "/parts/returns/",
    "/parts/returns/new/",
    "/proposals/",
    "/proposals/{proposal}/",
    "/letters/",
    "/letters/{round}/",
    "/letters/texts/",
    "/claims/",
    "/claims/{claim}/",
    "/money/",
    "/reports/",
    "/settings/",
    "/settings/staff/",
    "/settings/trail/",
    "/settings/work/",
]
# One row of each kind in the first store: one that stands open where there is one.
ROWS = {
    "code": "SELECT code FROM campaigns_campaign WHERE state = 'running' ORDER BY id",
    # of the campaign whose parts are on the shelf, so that it can be booked
    "vin": """
        SELECT vehicle.vin FROM campaigns_campaignvehicle AS row
        JOIN vehicles_vehicle AS vehicle ON vehicle.id = row.vehicle_id
        JOIN campaigns_campaign AS campaign ON campaign.id = row.campaign_id
        WHERE row.work_state = 'open' AND vehicle.store_id = 1
        AND campaign.campaign_class = 'emissions' ORDER BY row.id""",
    "visit": "SELECT id FROM campaigns_visit WHERE store_id = 1"
    " ORDER BY state = 'booked' DESC, id DESC",
    "repair": "SELECT id FROM campaigns_repair WHERE store_id = 1"
    " ORDER BY state = 'open' DESC, id DESC",
    "signed": "SELECT id FROM campaigns_repair WHERE store_id = 1"
    " AND state = 'completed' ORDER BY id",
    "part": "SELECT part_id FROM inventory_balance WHERE store_id = 1 AND free > 0",
    "shipment": "SELECT id FROM inventory_shipment WHERE store_id = 1"
    " ORDER BY received_at IS NULL DESC, id",
    "proposal": "SELECT id FROM campaigns_replenishment WHERE store_id = 1"
    " ORDER BY state = 'open' DESC, kind = 'order' DESC, id DESC",
    "round": "SELECT id FROM campaigns_letterround WHERE store_id = 1 ORDER BY id DESC",
    "claim": "SELECT id FROM campaigns_claim WHERE store_id = 1 ORDER BY id DESC",
}


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """The house as it runs, with the small demo in it."""
    built = House(tmp_path_factory.mktemp("look"))
    built._run("manage.py", "migrate", "--verbosity", "0")
    built._run("manage.py", "make_demo", "--size", "small")
    built._run(
        "-c",
        "import django; django.setup()\n"
        "from dealership.models import StaffMember\n"
        "admin = StaffMember.objects.get(username='admin')\n"
        f"admin.set_password({PASSWORD!r})\n"
        "admin.save()",
    )
    try:
        built.start()
        yield built
    finally:
        built.stop()


@pytest.fixture(scope="module")
def rows(house):
    """Give one row of each kind."""
    found = {}
    with closing(sqlite3.connect(house.folder / "mendroll.db")) as books:
        for name, query in ROWS.items():
            row = books.execute(query).fetchone()
            assert row, f"the demo has no {name}"
            found[name] = str(row[0])
    return found | {"last_eight": found["vin"][-8:]}


@pytest.fixture(scope="module")
def person(house):
    """Somebody who may see everything."""
    with browser() as started:
        yield Person(started, house, "admin")


@pytest.mark.parametrize("place", PLACES)
def test_page_is_sound(person, rows, place):
    page = person.page
    person.faults.clear()
    page.set_viewport_size(WIDE)
    # Without movement: no colour is caught on its way to another.
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    address = place.format(**rows)
    answer = page.goto(f"{person.house.address}{address}")
    assert answer.status == 200, answer.status
    faults = look(page, place, "wide-light")
    page.emulate_media(color_scheme="dark")
    faults += slides(page, "wide, dark")
    keep(page, place, "wide-dark")
    page.set_viewport_size(NARROW)
    faults += look(page, place, "narrow-dark")
    page.emulate_media(color_scheme="light")
    faults += slides(page, "narrow, light")
    keep(page, place, "narrow-light")
    assert (person.faults, faults) == ([], [])


def look(page, place: str, how: str) -> list[str]:
    """Look at the page with everybody's eyes."""
    keep(page, place, how)
    found = Axe().run(page).response["violations"]
    return slides(page, how) + [
        f"{how}: {one['id']}: {node['html'][:160]}: {node['failureSummary'][:300]}"
        for one in found
        if one["impact"] in SERIOUS
        for node in one["nodes"][:3]
    ]


def slides(page, how: str) -> list[str]:
    """Say by how much the page is wider than its window, if it is."""
    over = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return [f"{how}: {over} px too wide"] if over > 0 else []


def keep(page, place: str, how: str) -> None:
    """Keep a picture where a folder for pictures is given."""
    if SHOTS:
        name = re.sub(r"[^a-z_]+", "-", place).strip("-") or "today"
        page.screenshot(path=Path(SHOTS) / f"{name}-{how}.png", full_page=True)

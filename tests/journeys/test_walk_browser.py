"""One campaign from the vehicle list to the closed account, in a real browser.

The house runs as it does in a store: web server and worker in their own processes,
SQLite, embedded queue. Each step is done by the person whose work it is.
"""

import pytest

from tests.journeys import walk
from tests.journeys.stage import House, Person, browser


pytestmark = [pytest.mark.browser, pytest.mark.timeout(900)]


def test_a_campaign_is_walked_through_in_the_browser(tmp_path):
    house = House(tmp_path)
    house.build()
    try:
        house.start()
        with browser() as started:
            office = Person(started, house, "office")
            manager = Person(started, house, "service_manager")
            parts = Person(started, house, "parts_manager")
            advisor = Person(started, house, "service_advisor")
            technician = Person(started, house, "technician")

            walk.take_vehicles_in(office, tmp_path)
            walk.enter_campaign(manager, tmp_path)
            walk.take_makers_list(manager, tmp_path)
            walk.amend(manager)
            walk.take_batch_in(parts)
            walk.write_to_owners(office)
            walk.book_at_the_counter(advisor)
            walk.repair(technician)
            walk.claim(manager)
            walk.reconcile(parts)
            walk.report(office)
            walk.account(manager)

            people = (office, manager, parts, advisor, technician)
            assert [fault for one in people for fault in one.faults] == []
    finally:
        house.stop()

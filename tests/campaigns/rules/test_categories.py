"""Report categories: one a vehicle, and they always add up."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import categories
from campaigns.rules.categories import Alike, Category
from campaigns.rules.lifecycle import Reach, WorkState


GROUPS = st.lists(
    st.builds(
        Alike,
        work=st.sampled_from(WorkState),
        reach=st.sampled_from(Reach),
        on_list=st.booleans(),
        vehicles=st.integers(0, 50),
    )
)


@pytest.mark.parametrize(
    ("work", "reach", "category"),
    [
        (WorkState.REMEDIED_HERE, Reach.EXPORTED, Category.REMEDIED),
        (WorkState.REMEDIED_ELSEWHERE, Reach.REACHABLE, Category.REMEDIED),
        (WorkState.INSPECTED_CLEAR, Reach.STOLEN, Category.INSPECTED_CLEAR),
        (WorkState.OPEN, Reach.REACHABLE, Category.OPEN),
        (WorkState.OPEN, Reach.NOT_NOTIFIED, Category.NOT_NOTIFIED),
        (WorkState.NEEDS_REPAIR, Reach.SCRAPPED, Category.SCRAPPED),
        (WorkState.NEEDS_REPAIR, Reach.REACHABLE, Category.OPEN),
        (WorkState.TO_VERIFY, Reach.STOLEN, Category.STOLEN),
        (WorkState.TO_VERIFY, Reach.REACHABLE, Category.TO_VERIFY),
        (WorkState.DISQUALIFIED, Reach.OTHER, Category.DISQUALIFIED),
        (WorkState.REMOVED, Reach.REACHABLE, Category.REMOVED),
    ],
)
def test_work_first_then_reach(work, reach, category):
    assert categories.category_of(work, reach) is category


def test_every_pair_has_a_category():
    found = {
        categories.category_of(work, reach) for work, reach in product(WorkState, Reach)
    }
    assert found == set(Category)


@pytest.mark.parametrize(
    ("work", "on_list", "involved"),
    [
        (WorkState.REMOVED, True, False),
        (WorkState.TO_VERIFY, True, True),
        (WorkState.TO_VERIFY, False, False),
        (WorkState.OPEN, False, True),
    ],
)
def test_who_is_involved(work, on_list, involved):
    assert categories.is_involved(work, on_list=on_list) is involved


@settings(deadline=None)
@given(GROUPS)
def test_the_categories_add_up_to_the_population(groups):
    done = categories.count_vehicles(groups)
    everybody = sum(one.vehicles for one in groups)
    counted = sum(done.by_category.values()) - done.removed
    assert counted == done.involved
    assert done.involved + done.to_verify_below_line + done.removed == everybody
    for lines in (categories.safety_lines(done), categories.emissions_lines(done)):
        whole, *others = lines
        top = [one.vehicles for one in others if not one.part_of]
        # in the emissions report those inspected and still needing repair are open
        # or out of reach as well
        twice = done.needs_repair if whole.code == "population" else 0
        assert sum(top) - twice == whole.vehicles
        unreachable = [
            one.vehicles
            for one in others
            if one.part_of in {"unreachable", "unavailable"}
        ]
        assert sum(unreachable) == done.unreachable
        assert len({one.code for one in lines}) == len(lines)


def test_counts_of_a_small_population():
    """By hand: 40 + 10 done of 100 involved, 5 of them out of reach."""
    done = categories.count_vehicles(
        [
            Alike(work=WorkState.REMEDIED_HERE, reach=Reach.REACHABLE, vehicles=38),
            Alike(work=WorkState.REMEDIED_ELSEWHERE, reach=Reach.OTHER, vehicles=2),
            Alike(work=WorkState.INSPECTED_CLEAR, reach=Reach.REACHABLE, vehicles=10),
            Alike(work=WorkState.NEEDS_REPAIR, reach=Reach.REACHABLE, vehicles=3),
            Alike(work=WorkState.OPEN, reach=Reach.EXPORTED, vehicles=5),
            Alike(work=WorkState.OPEN, reach=Reach.REACHABLE, vehicles=38),
            Alike(work=WorkState.TO_VERIFY, reach=Reach.REACHABLE, vehicles=4),
            Alike(
                work=WorkState.TO_VERIFY,
                reach=Reach.REACHABLE,
                vehicles=7,
                on_list=False,
            ),
            Alike(work=WorkState.REMOVED, reach=Reach.REACHABLE, vehicles=6),
        ]
    )
    assert (done.involved, done.to_verify_below_line, done.removed) == (100, 7, 6)
    assert (done.remedied_here, done.remedied_elsewhere) == (38, 2)
    assert done.share_of_all == 0.5
    assert done.share_of_reachable == 50 / 95
    assert done.inspected == 53
    safety = {one.code: one.vehicles for one in categories.safety_lines(done)}
    assert safety["inspected_repaired"] == 40
    assert safety["unreachable"] == 5
    assert safety["still_open"] == 45
    assert "disqualified" not in safety
    emissions = {one.code: one.vehicles for one in categories.emissions_lines(done)}
    assert emissions["needing_repair"] == 43
    assert emissions["disqualified"] == 0


def test_an_empty_population_has_no_share():
    done = categories.count_vehicles([])
    assert (done.share_of_all, done.share_of_reachable) == (None, None)

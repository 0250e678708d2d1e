"""What each reason on an envelope means (Domestic Mail Manual 507.1.1, our words)."""

import pytest

from campaigns.models.words import RETURN_STEP_WORDS, RETURN_WORDS
from campaigns.rules.letter_returns import ReturnReason, address_is_wrong, steps_for
from campaigns.rules.lifecycle import ReturnStep


@pytest.mark.parametrize("why", ReturnReason)
def test_each_step_may_be_taken_and_not_reached_is_never_the_first(why):
    steps = steps_for(why)

    assert sorted(steps) == sorted(ReturnStep)
    assert steps[0] is not ReturnStep.NOT_REACHED
    assert str(RETURN_WORDS[why])
    assert all(str(RETURN_STEP_WORDS[one]) for one in steps)


def test_an_address_is_shut_only_where_it_is_wrong():
    right = {why for why in ReturnReason if not address_is_wrong(why)}

    assert right == {"away", "unclaimed", "refused", "not_mailable"}
    assert steps_for(ReturnReason.AWAY)[0] is ReturnStep.SAME_ADDRESS
    assert steps_for(ReturnReason.MOVED)[0] is ReturnStep.NEW_ADDRESS
    assert steps_for(ReturnReason.DECEASED)[0] is ReturnStep.NO_MORE_POST

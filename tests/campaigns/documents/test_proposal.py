"""The cost curve of a proposal and its words."""

from campaigns.documents.proposal import cost_words, draw_cost_curve


CURVE = [[0, 240_000, 0, 0], [5, 60_000, 1_000, 200], [10, 2_000, 6_000, 900]]


def test_the_words_say_what_the_picture_shows():
    assert cost_words(CURVE, chosen=10, currency="USD") == (
        "Ordering 10 costs 89.00 USD on average in missed customers, keeping and unused"
        " pieces; ordering nothing 2,400.00."
    )
    drawn = draw_cost_curve(CURVE, chosen=10, currency="USD")
    assert 'aria-label="Ordering 10 costs 89.00 USD' in drawn
    assert "pieces nobody uses" in drawn


def test_without_costs_there_is_no_curve():
    assert draw_cost_curve([], chosen=10, currency="USD") == ""
    assert cost_words([], chosen=10, currency="USD") == ""

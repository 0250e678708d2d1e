"""How a round is set, and which sheets are printed again."""

from campaigns.forms.letter_batches import ReprintForm, SetForm


def test_nothing_chosen_is_one_file_filled_in():
    form = SetForm({})
    assert form.is_valid()
    assert form.cleaned_data == {"letters_per_file": 0, "whole": False}


def test_a_size_that_is_not_offered_is_refused():
    assert not SetForm({"letters_per_file": "7"}).is_valid()
    form = SetForm({"letters_per_file": "500"})
    assert form.is_valid()
    assert form.cleaned_data["letters_per_file"] == 500


def test_a_reprint_wants_letters_and_a_reason():
    form = ReprintForm({"key": "k"})
    assert not form.is_valid()
    assert sorted(form.errors) == ["asked", "why"]
    assert ReprintForm().initial["key"] != ReprintForm().initial["key"]

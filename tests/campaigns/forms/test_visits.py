"""Forms of visits."""

import datetime as dt

from campaigns.forms.visits import CancelForm, DayForm, MoveForm, PlanForm


KEY = "7d3f2f0e-37a0-4f4e-9f7b-0a37b36f1c55"


def test_a_move_needs_a_day_and_may_have_an_hour():
    form = MoveForm({"key": KEY, "on": "2026-12-02", "hour": "10:15"})

    assert form.is_valid()
    assert form.cleaned_data["on"] == dt.date(2026, 12, 2)
    assert form.cleaned_data["hour"] == dt.time(10, 15)
    assert sorted(MoveForm({"hour": "26:00"}).errors) == ["hour", "key", "on"]


def test_a_planned_day_may_be_taken_back():
    form = PlanForm({"campaign_vehicle": "3", "planned_on": ""})

    assert form.is_valid()
    assert form.cleaned_data["planned_on"] is None
    assert list(PlanForm({"campaign_vehicle": "x"}).errors) == ["campaign_vehicle"]


def test_no_day_and_no_reason_are_allowed():
    assert DayForm({}).is_valid()
    assert not DayForm({"day": "soon"}).is_valid()
    assert CancelForm({}).is_valid()

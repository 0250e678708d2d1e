"""A factory per model, and each of them makes a row."""

import importlib
import inspect

import pytest
from django.apps import apps
from factory.django import DjangoModelFactory

from dealership.rules.roles import Capability, Role
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory, invented_vin, vin_with_check_digit
from vehicles.rules.vin import Grade, Market, judge_vin


APPS = ("dealership", "vehicles", "inventory", "campaigns")


def factories_of(app):
    module = importlib.import_module(f"tests.factories.{app}")
    return {
        found._meta.model: found
        for _name, found in inspect.getmembers(module, inspect.isclass)
        if issubclass(found, DjangoModelFactory) and found.__module__ == module.__name__
    }


FACTORIES = {model: made for app in APPS for model, made in factories_of(app).items()}
MODELS = [model for app in APPS for model in apps.get_app_config(app).get_models()]


def test_each_model_has_one_factory_in_the_module_of_its_app():
    assert {
        app: sorted(model.__name__ for model in factories_of(app)) for app in APPS
    } == {
        app: sorted(model.__name__ for model in apps.get_app_config(app).get_models())
        for app in APPS
    }


@pytest.mark.django_db
@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_a_factory_makes_rows_that_the_database_takes(model):
    made = FACTORIES[model].create_batch(2)

    assert model._default_manager.filter(pk__in=[row.pk for row in made]).count() == 2


@pytest.mark.django_db
def test_factories_leave_no_row_in_two_stores():
    vehicle = VehicleFactory.create()

    assert vehicle.store.vehicles.get() == vehicle


def test_invented_vins_are_good():
    """49 CFR 565.15(c) and (d)."""
    verdict = judge_vin(invented_vin(17), market=Market.US, stated_model_year=2022)

    assert (verdict.grade, verdict.model_year) == (Grade.OK, 2022)
    assert vin_with_check_digit("1M8GDM9A", "KP042788") == "1M8GDM9AXKP042788"


@pytest.mark.django_db
def test_make_staff_gives_a_role_in_the_stores_named_and_nowhere_else():
    here, there, elsewhere = StoreFactory.create_batch(3)

    staff = make_staff(Role.OFFICE, here, there)

    assert staff.store_ids() == [here.pk, there.pk]
    assert staff.may(Capability.PRINT_LETTERS, here.pk)
    assert not staff.may(Capability.PRINT_LETTERS, elsewhere.pk)

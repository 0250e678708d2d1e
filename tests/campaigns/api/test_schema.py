"""The API is asked what its schema promises, with what schemathesis thinks of."""

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, settings
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from dealership.domain.staff import make_token
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory, invented_vin


VIN = invented_vin(424_242)


@pytest.fixture
def key(db):
    """Give a key that sees one vehicle; requests share this test's connection."""
    store = StoreFactory.create()
    CampaignVehicleFactory.create(vehicle=VehicleFactory.create(store=store, vin=VIN))
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield make_token(person=make_staff(Role.TECHNICIAN, store), at=NOW)
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def api(key):
    schema = schemathesis.openapi.from_wsgi(
        "/api/schema/?format=json",
        get_wsgi_application(),
        headers={"Authorization": f"Token {key}"},
    )
    schema.config.generation.update(modes=[GenerationMode.POSITIVE])
    return schema


schema = schemathesis.pytest.from_fixture("api")


@schema.parametrize()
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_answers_are_as_the_schema_says(case, key):
    case.call_and_validate(
        headers={"Authorization": f"Token {key}"},
        # The check digit cannot be told in a schema: 17 good characters may be no VIN.
        excluded_checks=[positive_data_acceptance],
    )


def test_a_good_vin_is_answered_as_the_schema_says(api, key):
    operation = api["/api/v1/vehicles/{vin}/"]["GET"]

    answer = operation.Case(path_parameters={"vin": VIN}).call_and_validate(
        headers={"Authorization": f"Token {key}"}
    )

    assert answer.status_code == 200
    assert len(answer.json()["open_campaigns"]) == 1

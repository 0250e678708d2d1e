import pytest
from django.contrib import admin
from django.urls import reverse

from dealership.admin import ReadOnly
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from tests.factories.dealership import AuditEntryFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def root(signed_in):
    return signed_in(Role.ADMINISTRATOR, is_staff=True, is_superuser=True)


def test_who_keeps_a_store_has_no_back_room_by_that(signed_in):
    client = signed_in(Role.ADMINISTRATOR)

    assert client.get("/admin/").status_code in {302, 403}
    assert client.get("/admin/", follow=True).status_code == 403


def test_the_trail_is_looked_at_and_not_changed(root):
    entry = AuditEntryFactory.create()

    page = root.get(reverse("admin:dealership_auditentry_change", args=[entry.pk]))
    changed = root.post(
        reverse("admin:dealership_auditentry_change", args=[entry.pk]), {"act": "x"}
    )
    deleted = root.post(
        reverse("admin:dealership_auditentry_delete", args=[entry.pk]), {"post": "yes"}
    )

    assert page.status_code == 200
    assert (changed.status_code, deleted.status_code) == (403, 403)
    assert AuditEntry.objects.get(pk=entry.pk).act == entry.act


@pytest.mark.parametrize(
    "model",
    [model for model in admin.site._registry if model._meta.app_label == "dealership"],
    ids=lambda model: model.__name__,
)
def test_each_table_has_its_list(root, model):
    name = f"admin:dealership_{model._meta.model_name}_changelist"

    assert root.get(reverse(name)).status_code == 200


def test_what_is_only_added_to_is_read_only_here():
    assert isinstance(admin.site._registry[AuditEntry], ReadOnly)

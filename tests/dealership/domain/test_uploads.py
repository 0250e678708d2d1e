import datetime as dt
import hashlib

import pytest
from django.core.files.base import ContentFile

from dealership.domain.uploads import (
    EmptyUpload,
    UploadTooLarge,
    digest_of,
    erase_lapsed_uploads,
    keep_upload,
)
from dealership.models import AuditEntry, StaffMember, Store, Upload


NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


@pytest.fixture
def keep(db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    store = Store.objects.create(code="NORTH", name="Northgate")
    staff = StaffMember.objects.create(username="ines")

    def keep_bytes(content, name="list.csv"):
        return keep_upload(
            file=ContentFile(content),
            name=name,
            store=store,
            by=staff,
            at=NOON,
            keep_until=dt.date(2027, 1, 1),
        )

    return keep_bytes


def test_file_is_kept_as_it_came(keep):
    content = b"VIN,name\r\n" * 50_000
    upload = Upload.objects.get(pk=keep(content, "C:\\lists\\spring.csv").pk)
    assert upload.file.open().read() == content
    assert upload.sha256 == hashlib.sha256(content).hexdigest()
    assert (upload.size_bytes, upload.content_kind) == (len(content), "text")
    assert upload.original_name == "spring.csv"
    assert "spring" not in upload.file.name
    assert AuditEntry.objects.get().act == "upload.kept"


def test_the_digest_is_known_before_a_file_is_kept(keep):
    file = ContentFile(b"VIN,name\r\n")
    assert digest_of(file=file, name="list.csv") == keep(file.read()).sha256


def test_empty_file_is_refused(keep):
    with pytest.raises(EmptyUpload, match=r"list\.csv"):
        keep(b"")
    assert not Upload.objects.exists()


def test_too_large_a_file_is_refused_and_not_kept(keep, settings, tmp_path):
    settings.UPLOAD_LIMIT_BYTES = 10
    keep(b"x" * 10)
    with pytest.raises(UploadTooLarge):
        keep(b"x" * 11)
    assert Upload.objects.count() == 1
    assert sum(1 for path in tmp_path.rglob("*") if path.is_file()) == 1


def test_file_goes_after_its_day_and_the_register_stays(
    keep, django_capture_on_commit_callbacks, tmp_path
):
    upload = keep(b"a,b\n")
    with django_capture_on_commit_callbacks(execute=True):
        assert erase_lapsed_uploads(at=NOON, today=dt.date(2027, 1, 1)) == 0
        assert erase_lapsed_uploads(at=NOON, today=dt.date(2027, 1, 2)) == 1
        assert erase_lapsed_uploads(at=NOON, today=dt.date(2027, 1, 2)) == 0
    upload.refresh_from_db()
    assert (upload.file.name, upload.erased_at) == ("", NOON)
    assert upload.sha256 == hashlib.sha256(b"a,b\n").hexdigest()
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]

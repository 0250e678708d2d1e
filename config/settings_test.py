"""What tests change of the settings, and no more."""

import os
import tempfile
from pathlib import Path


os.environ.setdefault("MENDROLL_DATA", tempfile.mkdtemp(prefix="mendroll-test-"))
if os.environ.get("MENDROLL_TEST_ON_POSTGRES") and os.environ.get(
    "MENDROLL_TEST_DATABASE_URL"
):
    os.environ["MENDROLL_DATABASE_URL"] = os.environ["MENDROLL_TEST_DATABASE_URL"]
    os.environ["MENDROLL_REDIS_URL"] = os.environ.get("MENDROLL_TEST_REDIS_URL", "")

from config.settings import *  # noqa: F403, TID251 (tests change these settings)
from config.settings import (  # noqa: TID251
    DATA,
    DATABASES,
    INSTALLED_APPS,
    MIDDLEWARE,
    ON_SQLITE,
    STORAGES,
)


PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {
    "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
}
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
ACCOUNT_RATE_LIMITS = False
# The static server warns of a folder that is not there, and warnings are errors.
(Path(DATA) / "static").mkdir(exist_ok=True)
if ON_SQLITE:
    # A file, not memory: threads and workers of the tests share it.
    DATABASES["default"]["TEST"] = {"NAME": str(Path(DATA) / "test.db")}
# A request that asks the database once for each of its rows fails its test.
INSTALLED_APPS += ["zeal"]
MIDDLEWARE.insert(0, "zeal.middleware.zeal_middleware")
ZEAL_RAISE = True
ZEAL_NPLUSONE_THRESHOLD = 3
# The same row fetched anew after a change is no loop.
ZEAL_ALLOWLIST = [{"model": "*", "field": "get()"}]

"""The service's own settings, with a data folder that belongs to this test run alone."""

import os
import tempfile

os.environ["MARKBOOK_DATA"] = tempfile.mkdtemp(prefix="markbook-tests-")
os.environ.setdefault("MARKBOOK_PUBLIC_URL", "http://testserver")

from config.settings import *  # noqa: F403

STORAGES = STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}  # noqa: F405
# Hashing is not what these tests are about, and argon2 is slow on purpose.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

# A file, as in the embedded default: a database in memory locks whole tables between threads.
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":  # noqa: F405
    DATABASES["default"]["TEST"] = {"NAME": os.path.join(os.environ["MARKBOOK_DATA"], "test.sqlite3")}  # noqa: F405, PTH118

STATIC_ROOT.mkdir(exist_ok=True)  # noqa: F405 - the server warns of a folder that is not there

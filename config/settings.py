"""Django settings, the same for the embedded default and for production; config.environment says what differs."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from csp.constants import NONE, SELF

from config.environment import ROOT, read_environment

ENVIRONMENT = read_environment()
DATA_DIR: Path = ENVIRONMENT.data

SECRET_KEY = ENVIRONMENT.secret_key
DEBUG = ENVIRONMENT.debug
ALLOWED_HOSTS = ENVIRONMENT.allowed_hosts
PUBLIC_URL = ENVIRONMENT.public_url
# In production a proxy stands before the service and names the visitor's address; elsewhere nobody is believed.
BEHIND_PROXY = ENVIRONMENT.production

INSTALLED_APPS = [
    "riders",
    "competitions",
    "reports",
    "config.apps.ConfigConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "rest_framework",
    "django_filters",
    "django_htmx",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]

MIDDLEWARE = [
    "competitions.public.polling.UnchangedBoards",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "config.addresses.nul_is_nowhere",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "config" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]

DATABASES = {"default": ENVIRONMENT.database}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # A mark that the page calls saved is on the disk (synchronous=FULL); writers wait in turn (riders.transactions).
    DATABASES["default"]["OPTIONS"] = {
        "timeout": 20,
        "transaction_mode": "IMMEDIATE",
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
    }
    DATABASES["default"]["CONN_MAX_AGE"] = None
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

CACHES = {
    "default": (
        {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": ENVIRONMENT.redis_url}
        if ENVIRONMENT.redis_url
        else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 2000}}
    )
}

AUTH_USER_MODEL = "riders.User"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "me"
LOGOUT_REDIRECT_URL = "home"
SESSION_COOKIE_AGE = int(timedelta(days=14).total_seconds())
SESSION_COOKIE_SAMESITE = "Lax"
API_TOKEN_LIFETIME = timedelta(days=ENVIRONMENT.token_days)

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [ROOT / "config" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "config.staticstorage.ModuleManifestStorage"
    },
}
MEDIA_ROOT = DATA_DIR / "files"
RECORDING_MEGABYTES = ENVIRONMENT.recording_mb
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "media-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if ENVIRONMENT.production:
    SECURE_SSL_REDIRECT = True
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = int(timedelta(days=365).total_seconds())
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "config.api.authentication.TokenAuthentication",
        "config.api.authentication.PageSessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["config.api.permissions.DenyUnlessDeclared"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["config.api.parsers.ExactJSONParser"],
    "DEFAULT_FILTER_BACKENDS": ["config.api.filters.DeclaredFilters"],
    "DEFAULT_PAGINATION_CLASS": "config.api.pagination.Pages",
    "DEFAULT_SCHEMA_CLASS": "config.api.schema.DescribedSchema",
    "DEFAULT_METADATA_CLASS": None,
    "EXCEPTION_HANDLER": "config.api.errors.handle_error",
    "DEFAULT_THROTTLE_CLASSES": ["config.api.throttling.VisitorThrottle", "config.api.throttling.AccountThrottle"],
    "DEFAULT_THROTTLE_RATES": {"login": "10/min", "anonymous": "600/min", "account": "3000/min"},
    "NUM_PROXIES": 1 if BEHIND_PROXY else 0,
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}

SPECTACULAR_SETTINGS = {
    "TITLE": "Markbook",
    "DESCRIPTION": "Dressage classes, judges' sheets, results, the ledger of official scores and seasons.\n\n"
    "**Figures.** Marks, points and percentages are strings holding exact decimals, never floats. In requests a "
    "mark may be a string or a JSON number.\n\n"
    "**Changes.** A change of an object names the version it was made from in `If-Match` (the `ETag` of the GET). A "
    "stale one is answered with 412 and the object as it stands. Writes take an `Idempotency-Key`, so that they can be "
    "sent again safely after a broken connection.\n\n"
    "**Refusals** have one shape: `code` for programs, `message` for people, `fields` with what is wrong, `retry`.\n\n"
    "**Lists** come in pages (`page`, `page_size`) in a stable order; a filter that is not listed is refused.\n\n"
    "**Private.** Marks by movement, remarks and contact data are for the rider, the judge of the seat, the office and "
    "staff. Everything else of a published competition is open.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "ENUM_NAME_OVERRIDES": {
        "CompetitionState": "competitions.models.Competition.State",
        "EntryStatus": "competitions.models.Entry.Status",
        "FindingKind": "competitions.services.differences.KINDS",
        "JobState": "reports.models.Job.State",
        "MemberKind": "riders.models.NameChange.Kind",
        "RecordingState": "competitions.models.Recording.State",
        "ReportKind": "reports.kinds.KINDS",
        "ResultsState": "competitions.models.CompetitionClass.ResultsState",
    },
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "config.api.schema.share_refusals",
    ],
    "TAGS": [
        {"name": "Account", "description": "Who you are, and the tokens of your programs."},
        {"name": "Competitions", "description": "Shows and their classes."},
        {"name": "Entries", "description": "Pairs in a class, the running order, outcomes, who is in the ring."},
        {"name": "Sheets", "description": "What each seat writes about each entry. Private."},
        {"name": "Recordings", "description": "Films of rides that are judged from recordings. Private."},
        {"name": "Results", "description": "Provisional and official results; official, corrected, withdrawn."},
        {"name": "Library", "description": "Tests, rule sets and season schemes as open documents; judges."},
        {"name": "Ledger", "description": "The record of official scores, and the pairs that earned them."},
        {"name": "Seasons", "description": "Associations, their seasons, standings and statements."},
        {"name": "Files", "description": "Importing and exporting a show as CSV files and open documents."},
        {"name": "Reports", "description": "PDFs and other files made on request."},
    ],
}

CELERY_BROKER_URL = ENVIRONMENT.broker_url
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_SOFT_TIME_LIMIT = 120
CELERY_TASK_TIME_LIMIT = 150
# Publishing is tried once: a request never waits for a broker that is down, the sweep of the job table catches up.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, object] = {
    "visibility_timeout": 600,
    "max_retries": 0,
    "interval_start": 0,
    "interval_step": 0,
    "interval_max": 0,
}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_CONCURRENCY = 1
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 10
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = False
if CELERY_BROKER_URL.startswith("filesystem://"):
    CELERY_BROKER_URL = "filesystem://localhost"  # without a host kombu warns at every start
    _queue = DATA_DIR / "queue"
    _queue.mkdir(exist_ok=True)
    CELERY_BROKER_TRANSPORT = "config.folder_queue:Transport"
    CELERY_BROKER_TRANSPORT_OPTIONS |= {
        "data_folder_in": str(_queue),
        "data_folder_out": str(_queue),
        "control_folder": str(_queue / "control"),
        "polling_interval": 0.05,
    }
    # Commands to workers and events between them would be files too, polled for nothing on one machine.
    CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
elif CELERY_BROKER_URL.startswith("redis"):
    CELERY_BROKER_TRANSPORT_OPTIONS |= {"socket_timeout": 2, "socket_connect_timeout": 1}
CELERY_BEAT_SCHEDULE = {
    "sweep-standings": {"task": "riders.rebuilds_sweep", "schedule": 15.0},
    "sweep-reports": {"task": "reports.jobs_sweep", "schedule": 15.0},
    "sweep-recordings": {"task": "competitions.recordings_sweep", "schedule": 3600.0},
}
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"markbook": {"level": "INFO"}},
}

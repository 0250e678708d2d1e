"""Settings, in sections, from the environment; SQLite and no broker by default."""

from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF

from config import env


ROOT = Path(__file__).resolve().parent.parent

# Where things are kept -------------------------------------------------------
DATA = Path(env.text("MENDROLL_DATA", str(ROOT / ".data")))
DATA.mkdir(parents=True, exist_ok=True)
MEDIA_ROOT = DATA / "files"
STATIC_ROOT = DATA / "static"
STATIC_URL = "/static/"
STATICFILES_DIRS = [ROOT / "static"]

# Safety ----------------------------------------------------------------------
DEBUG = env.flag("MENDROLL_DEBUG", default=False)
SECRET_KEY = env.secret("MENDROLL_SECRET_KEY", DATA)
ALLOWED_HOSTS = env.words("MENDROLL_ALLOWED_HOSTS", "127.0.0.1,localhost,[::1]")
CSRF_TRUSTED_ORIGINS = env.words("MENDROLL_TRUSTED_ORIGINS", "")
# Behind TLS the operator says so; without it a secure cookie would lock all out.
BEHIND_TLS = env.flag("MENDROLL_TLS", default=False)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_TLS else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_TLS else None
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 60 * 60 * 12
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}

# Parts of the house ----------------------------------------------------------
INSTALLED_APPS = [
    "dealership",
    "vehicles",
    "inventory",
    "campaigns",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.forms",
    "django_htmx",
    "django_filters",
    "csp",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "dealership.views.chosen_store.ChosenStoreMiddleware",
    "dealership.views.refused.RefusalMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "dealership.context.chrome",
            ],
        },
    },
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

# Database --------------------------------------------------------------------
DATABASE_URL = env.text("MENDROLL_DATABASE_URL", f"sqlite:///{DATA / 'mendroll.db'}")
DATABASES = {"default": dj_database_url.parse(DATABASE_URL, conn_max_age=600)}
DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
ON_SQLITE = DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3"
if ON_SQLITE:
    # A transaction takes the write lock when it opens, so that two of them that
    # read first and write later cannot end in "database is locked".
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
# PostgreSQL uses the covering columns of an index; SQLite leaves them out.
SILENCED_SYSTEM_CHECKS = ["models.W040"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# People ----------------------------------------------------------------------
AUTH_USER_MODEL = "dealership.StaffMember"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"
    },
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "dealership.forms.sign_in.StaffOnlyAdapter"
ACCOUNT_LOGIN_METHODS = {"username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_ON_GET = False
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]

# Work in the background --------------------------------------------------------
REDIS_URL = env.text("MENDROLL_REDIS_URL", "")
MENDROLL_REDIS_URL = REDIS_URL
# How long a worker may stay silent before its job is given to another.
MENDROLL_JOB_LEASE_SECONDS = env.number("MENDROLL_JOB_LEASE_SECONDS", 60)
# Modules with further handlers of jobs, besides each app's own.
MENDROLL_EXTRA_TASKS = env.words("MENDROLL_EXTRA_TASKS", "")
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
}

# Files -------------------------------------------------------------------------
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        # `mendroll serve` compresses them afterwards; a demo need not wait for it.
        "BACKEND": "django.contrib.staticfiles.storage.ManifestStaticFilesStorage"
        if not DEBUG
        else "django.contrib.staticfiles.storage.StaticFilesStorage",
    },
}
UPLOAD_LIMIT_BYTES = env.number("MENDROLL_UPLOAD_LIMIT_MB", 200) * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000

# Language and time -------------------------------------------------------------
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English")]
LOCALE_PATHS = [ROOT / "locale"]
TIME_ZONE = env.text("MENDROLL_TIME_ZONE", "America/Chicago")
USE_TZ = True
USE_I18N = True

# API ---------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["dealership.api.permissions.MayUseApi"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "dealership.api.problems.problem_of",
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.UserRateThrottle"],
    "DEFAULT_THROTTLE_RATES": {"user": env.text("MENDROLL_API_RATE", "600/min")},
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Mendroll",
    "DESCRIPTION": "A vehicle and its open campaigns, for the systems of a store.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["dealership.api.permissions.MayUseApi"],
    "SERVE_AUTHENTICATION": REST_FRAMEWORK["DEFAULT_AUTHENTICATION_CLASSES"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# Logs --------------------------------------------------------------------------
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": env.text("MENDROLL_LOG", "INFO")},
}

"""All settings, from the environment, with safe defaults for a fresh clone. See DEVELOPERS.md, Settings."""

import os
from pathlib import Path

from django.utils.csp import CSP

from collection import environment

BASE_DIR = Path(__file__).resolve().parent.parent

environment.refuse_unknown(os.environ)
DATA_DIR = environment.data_folder(os.environ, BASE_DIR / "var")

DEBUG = environment.flag(os.environ, "LEVELBOOK_DEBUG", default=False)
SECRET_KEY = environment.secret_key(os.environ, DATA_DIR)
SECRET_KEY_FALLBACKS = environment.former_keys(os.environ, SECRET_KEY)
ALLOWED_HOSTS = environment.hosts(os.environ)
# Behind HTTPS unless every host is this very machine: browsers drop Secure cookies over plain HTTP.
_LOOPBACK_ONLY = set(ALLOWED_HOSTS) <= set(environment.LOOPBACK)
HTTPS = environment.flag(os.environ, "LEVELBOOK_HTTPS", default=not _LOOPBACK_ONLY)

INSTALLED_APPS = [
    "collection",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
]

MIDDLEWARE = [
    "django.middleware.gzip.GZipMiddleware",  # outside all others, since it changes the bytes
    "collection.middleware.HeadersMiddleware",  # outside the next ones, so that their refusals carry it too
    "django.middleware.csp.ContentSecurityPolicyMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "collection.middleware.PlainTextMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "collection.middleware.DeviceMiddleware",
    "collection.middleware.MemberMiddleware",
    "collection.middleware.AccountPagesMiddleware",
    "collection.middleware.RefusalMiddleware",
]

ROOT_URLCONF = "collection.urls"
WSGI_APPLICATION = "collection.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": [
                "collection.templatetags.units",
                "collection.templatetags.figures",
                "collection.templatetags.assets",
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]

DATABASES = {"default": environment.database(os.environ, DATA_DIR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
MAILERS = environment.mailers(os.environ)
DEFAULT_FROM_EMAIL = environment.mail_from(os.environ, ALLOWED_HOSTS)

AUTH_USER_MODEL = "collection.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
# Length and what others guess first, no rule about which letters: ASVS 5.0, 6.2.1, 6.2.4 and 6.2.5.
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in (
        ("UserAttributeSimilarityValidator", {}),
        ("MinimumLengthValidator", {"min_length": 10}),
        ("CommonPasswordValidator", {}),
    )
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "today"
ACCOUNT_ADAPTER = "collection.adapters.AccountAdapter"
ACCOUNT_FORMS = {
    "login": "collection.forms.people.SignInForm",
    "signup": "collection.forms.people.SignUpForm",
    "add_email": "collection.forms.people.AddressForm",
    "change_password": "collection.forms.people.PasswordForm",
    "set_password": "collection.forms.people.FirstPasswordForm",
    "reset_password": "collection.forms.people.ForgottenForm",
    "reset_password_from_key": "collection.forms.people.NewPasswordForm",
    "reauthenticate": "collection.forms.people.AgainForm",
}
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "optional"
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = "Levelbook: "
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
# The proxy in front appends who asked; without it limits by address would count all people as one.
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if HTTPS else 0
MFA_ADAPTER = "collection.adapters.SecondFactorAdapter"
MFA_FORMS = {
    "authenticate": "collection.forms.second_factor.CodeForm",
    "reauthenticate": "collection.forms.second_factor.CodeAgainForm",
    "activate_totp": "collection.forms.second_factor.FirstCodeForm",
    "add_webauthn": "collection.forms.second_factor.AddPasskeyForm",
    "edit_webauthn": "collection.forms.second_factor.PasskeyNameForm",
    "login_webauthn": "collection.forms.second_factor.PasskeySignInForm",
    "authenticate_webauthn": "collection.forms.second_factor.PasskeyForm",
    "reauthenticate_webauthn": "collection.forms.second_factor.PasskeyAgainForm",
}
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "Levelbook"
# The library's limits, and ours: so many reports through labels from one address of the network. Common practice.
ACCOUNT_RATE_LIMITS = {"report": "30/h/ip"}

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
# Files are served from where they lie; nothing has to be collected first. Their addresses change with them.
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "collection.assets.StyleFinder",
]
WHITENOISE_USE_FINDERS = True
WHITENOISE_MAX_AGE = 60 * 60 * 24 * 365
WHITENOISE_ALLOW_ALL_ORIGINS = False
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

SECURE_CSP = {
    "default-src": [CSP.SELF],
    "img-src": [CSP.SELF, "data:"],
    "base-uri": [CSP.NONE],
    "object-src": [CSP.NONE],
    "frame-ancestors": [CSP.NONE],
    "form-action": [CSP.SELF],
}
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^health/$"]  # a monitor asks the server itself, and learns one word
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
# With this prefix a browser takes the cookie only over HTTPS, from this very host and for all of it.
SESSION_COOKIE_NAME = "__Host-sessionid" if HTTPS else "sessionid"
CSRF_COOKIE_NAME = "__Host-csrftoken" if HTTPS else "csrftoken"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1_000

# Everything goes to the terminal through one formatter, which cuts out secrets; Django's own handlers would not.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "collection.logs.LineFormatter"}},
    "handlers": {"terminal": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["terminal"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": [], "level": "WARNING"},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "levelbook": {"level": "INFO"},
    },
}

"""The one reader of the environment: every variable, its type, its default and what it is for."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import environ
from django.core.exceptions import ImproperlyConfigured

ROOT = Path(__file__).resolve().parent.parent

_SAFE_KEY_LENGTH = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Environment:
    """The settings that an installation chooses; the attribute ``data`` is read from ``MARKBOOK_DATA`` and so on."""

    production: bool
    debug: bool
    data: Path
    secret_key: str
    allowed_hosts: list[str]
    public_url: str
    database: dict[str, Any]
    broker_url: str
    redis_url: str
    token_days: int
    recording_mb: int


VARIABLES = (
    "MARKBOOK_PRODUCTION",
    "MARKBOOK_DEBUG",
    "MARKBOOK_DATA",
    "MARKBOOK_SECRET_KEY",
    "MARKBOOK_ALLOWED_HOSTS",
    "MARKBOOK_PUBLIC_URL",
    "MARKBOOK_DATABASE_URL",
    "MARKBOOK_BROKER_URL",
    "MARKBOOK_REDIS_URL",
    "MARKBOOK_TOKEN_DAYS",
    "MARKBOOK_RECORDING_MB",
)


def read_environment() -> Environment:
    """Read ``.env`` and the process environment; a production value that is missing or unsafe stops the start."""
    env = environ.Env()
    env_file = ROOT / ".env"
    if env_file.exists():
        env.read_env(str(env_file))
    production = env.bool("MARKBOOK_PRODUCTION", default=False)
    data = Path(env.str("MARKBOOK_DATA", default="") or ROOT / "var").resolve()
    data.mkdir(parents=True, exist_ok=True)
    sqlite = f"sqlite:///{data / 'markbook.sqlite3'}"
    found = Environment(
        production=production,
        debug=env.bool("MARKBOOK_DEBUG", default=False),
        data=data,
        secret_key=env.str("MARKBOOK_SECRET_KEY", default="") or ("" if production else _kept_secret_key(data)),
        allowed_hosts=env.list(
            "MARKBOOK_ALLOWED_HOSTS", default=[] if production else ["localhost", "127.0.0.1", "[::1]"]
        ),
        public_url=env.str("MARKBOOK_PUBLIC_URL", default="" if production else "http://127.0.0.1:8000").rstrip("/"),
        database=env.db_url_config(env.str("MARKBOOK_DATABASE_URL", default="") or sqlite),
        broker_url=env.str("MARKBOOK_BROKER_URL", default="") or "filesystem://",
        redis_url=env.str("MARKBOOK_REDIS_URL", default=""),
        token_days=env.int("MARKBOOK_TOKEN_DAYS", default=365),
        recording_mb=env.int("MARKBOOK_RECORDING_MB", default=2000),
    )
    if production:
        _refuse_unsafe(found)
    return found


def _kept_secret_key(data: Path) -> str:
    """Return the key of this data folder, made at the first start and readable by its owner only."""
    path = data / "secret-key"
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(64), encoding="ascii")
    return path.read_text(encoding="ascii").strip()


def _refuse_unsafe(found: Environment) -> None:
    problems = []
    if len(found.secret_key) < _SAFE_KEY_LENGTH:
        problems.append(f"MARKBOOK_SECRET_KEY needs at least {_SAFE_KEY_LENGTH} random characters.")
    if not found.allowed_hosts or "*" in found.allowed_hosts:
        problems.append("MARKBOOK_ALLOWED_HOSTS must name the hosts that this service answers for.")
    if not found.public_url.startswith("https://"):
        problems.append("MARKBOOK_PUBLIC_URL must be the https address under which people reach this service.")
    if found.debug:
        problems.append("MARKBOOK_DEBUG must be off in production.")
    if problems:
        raise ImproperlyConfigured(" ".join(problems))

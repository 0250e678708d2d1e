"""Typed readers of the environment that fail loudly."""

import os
import secrets
from pathlib import Path


class WrongEnvironment(Exception):
    """An environment variable holds something that cannot be used."""


def text(name: str, default: str) -> str:
    """Read a variable; ``NAME_FILE`` names a file that holds the value instead."""
    file_name = os.environ.get(f"{name}_FILE")
    if file_name:
        return Path(file_name).read_text(encoding="utf-8").strip()
    return os.environ.get(name, default)


def flag(name: str, *, default: bool) -> bool:
    """Read yes or no; anything else is refused."""
    value = text(name, "yes" if default else "no").lower()
    if value in {"1", "yes", "true", "on"}:
        return True
    if value in {"", "0", "no", "false", "off"}:
        return False
    raise WrongEnvironment(f"{name} is {value!r}: write yes or no.")


def number(name: str, default: int) -> int:
    """Read a whole number; anything else is refused."""
    value = text(name, str(default))
    try:
        return int(value)
    except ValueError as wrong:
        raise WrongEnvironment(f"{name} is {value!r}: write a whole number.") from wrong


def words(name: str, default: str) -> list[str]:
    """Read a list with commas between."""
    return [part.strip() for part in text(name, default).split(",") if part.strip()]


def secret(name: str, folder: Path) -> str:
    """Read a secret, or make one and keep it in ``folder`` for the next start."""
    given = text(name, "")
    if given:
        return given
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / "secret-key"
    if not kept.exists():
        kept.touch(mode=0o600)
        kept.write_text(secrets.token_urlsafe(48), encoding="utf-8")
    return kept.read_text(encoding="utf-8").strip()

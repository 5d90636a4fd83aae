"""What `works.yaml` says of signing: which keys, and where their passphrases come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, PlainValidator

from limits.quantity import Text
from limits.yamlfile import Form
from station.errors import UserMistake

_SOURCES = "write 'prompt', 'file: PATH' or 'environment: VARIABLE'; the passphrase itself never stands here"


@dataclass(frozen=True, slots=True)
class Passphrase:
    """Where a passphrase comes from: at most one of the two, else from whoever is asked."""

    file: str | None = None
    environment: str | None = None


def _passphrase(value: object) -> Passphrase:
    if value == "prompt":
        return Passphrase()
    if isinstance(value, dict) and len(value) == 1:
        ((kind, where),) = value.items()
        if kind in ("file", "environment") and isinstance(where, str) and where.strip():
            return Passphrase(**{kind: where})
    # What was written is not repeated: it may be the secret.
    raise ValueError(_SOURCES)


Source = Annotated[Passphrase, PlainValidator(_passphrase)]


class TokenForm(Form):
    """A key on a token, by PKCS#11; `passphrase` is then its PIN."""

    module: Text
    """The library that came with the token, by its whole path."""

    label: Text
    key: Text
    """The label of the key on it."""


class SigningForm(Form):
    """The key that signs the certificates, and the root that stands behind it."""

    token: TokenForm | None = None
    key: Text = "keys/signing.p12"
    passphrase: Source = Passphrase()
    root: Text = "keys/root.p12"
    root_passphrase: Source = Passphrase()


def _web_address(text: str) -> str:
    if not text.startswith(("http://", "https://")):
        raise ValueError("expected a web address, like http://time.example/stamp")
    return text


class TimestampForm(Form):
    """A service of time (RFC 3161) that stands for when something was signed."""

    service: Annotated[Text, AfterValidator(_web_address)]
    trusted: Text
    """File with the certificate of the service, or of the root behind it."""

    if_down: Literal["issue", "refuse"] = "issue"
    """Whether a certificate is issued without a timestamp, and says so, while the service does not answer."""


@dataclass(frozen=True, slots=True)
class Timestamping:
    """The same with its path made whole."""

    service: str
    trusted: Path
    refuse_without: bool


def timestamping_of(form: TimestampForm | None, folder: Path) -> Timestamping | None:
    """What the form says; None where the works asks no service."""
    if form is None:
        return None
    return Timestamping(form.service, folder / form.trusted, form.if_down == "refuse")


def secret(
    source: Passphrase, what: str, folder: Path, environment: Mapping[str, str], ask: Callable[[str], str]
) -> str:
    """The passphrase from where it is said to be; `ask` shows a prompt and returns a text, `what` names the secret.

    Raises UserMistake when it is not there.
    """
    if source.environment is not None:
        if source.environment not in environment:
            raise UserMistake(
                f"the passphrase should be in the environment as {source.environment}, but is not set"
            )
        return environment[source.environment]
    if source.file is None:
        return ask(f"{what[0].upper()}{what[1:]}")
    file = folder / source.file
    try:
        return file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, ValueError) as error:
        raise UserMistake(f"{file}: the {what} cannot be read from it: {error}") from error

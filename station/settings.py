"""The works folder: where a works keeps its settings, recipes, limit tables, records, keys and certificates.

`works.yaml` is what makes a folder one. The form of `bench.yaml` is the bench's own business; here it is only
put in its place.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import Annotated
from urllib.parse import quote

from pydantic import AfterValidator, Field, PlainValidator

from limits.errors import BadInput
from limits.formwords import nearest
from limits.quantity import Text
from limits.units import plain
from limits.yamlfile import Form, YamlFile, read
from reports.house import House
from station.errors import UserMistake
from station.housestyle import StyleForm, house_of
from station.retention import years_of
from station.signing_settings import (
    Passphrase,
    SigningForm,
    TimestampForm,
    Timestamping,
    TokenForm,
    secret,
    timestamping_of,
)

FILE = "works.yaml"
_SQLITE = "sqlite:///"
DATABASE = f"{_SQLITE}records.sqlite"
"""Of a works that says nothing else."""

MOST_LINES = 6
"""Of an address, as certificates have room."""

RETEST_REASONS: Mapping[str, str] = {
    "cabling": "the cabling was doubted",
    "station": "the station was repaired",
    "rework": "the unit was worked on",
    "customer": "the customer asked for it",
    "sampling": "the unit was drawn as a sample",
}
"""Of a works that lists none of its own in `works.yaml`: code, and what it means."""

_DATABASES = ("sqlite", "postgresql")
_URLS = "like sqlite:///records.sqlite or postgresql://USER@HOST/NAME"


def _database(value: object) -> str:
    scheme, found, rest = value.partition("://") if isinstance(value, str) else ("", "", "")
    kind = scheme.partition("+")[0]
    if kind in _DATABASES and rest.strip("/"):
        return f"{scheme}{found}{rest}"
    # Not repeated either: a server's URL holds a password.
    hint = nearest(kind, _DATABASES) if found and kind not in _DATABASES else ""
    raise ValueError(f"expected the URL of a database, {_URLS}{hint}")


def _server(value: object) -> str:
    url = _database(value)
    if url.startswith("sqlite"):
        raise ValueError("expected a database of a server, like postgresql://USER@HOST/NAME")
    return url


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("holds a character that cannot be printed")
    return text


Line = Annotated[Text, AfterValidator(_printable)]
"""A line that certificates print."""


class WorksForm(Form):
    """What `works.yaml` says."""

    name: Line
    address: tuple[Line, ...] = Field(min_length=1, max_length=MOST_LINES)
    database: Annotated[str, PlainValidator(_database)] = DATABASE
    signing: SigningForm = SigningForm()
    timestamp: TimestampForm | None = None
    trusted: tuple[Text, ...] = ()
    style: StyleForm = StyleForm()
    keep_records: Annotated[int | None, PlainValidator(years_of)] = None
    works_database: Annotated[str | None, PlainValidator(_server)] = None
    retest_reasons: dict[Line, Line] | None = Field(default=None, min_length=1)


@dataclass(frozen=True, slots=True)
class Works:
    """A works folder and what its `works.yaml` says, with every path made whole."""

    folder: Path
    name: str
    address: tuple[str, ...]
    """As printed, line by line."""

    database: str
    """SQLAlchemy URL."""

    key: Path
    """PKCS#12 file of the signing key."""

    passphrase: Passphrase

    root: Path
    """PKCS#12 file of the works' root key; it may lie on a medium that is seldom there."""

    root_passphrase: Passphrase
    timestamping: Timestamping | None
    trusted: tuple[Path, ...]
    """Certificates that the works trusts beside its own."""

    house: House
    """What its certificates look like."""

    keep_years: int | None = None
    """How long records are kept; None for ever."""

    works_database: str | None = None
    """SQLAlchemy URL of the database that all stations carry their records to; None where there is none."""

    token: TokenForm | None = None
    """Where the signing key is when it is on a token; the file beside `key` then holds its certificate alone."""

    retest_reasons: Mapping[str, str] = field(default_factory=lambda: RETEST_REASONS)
    """Why a unit may be tested again: codes, and what each means."""

    @property
    def needed_to_sign(self) -> Path:
        """The file without which nothing is signed."""
        return self.key if self.token is None else self.key.with_suffix(".pem")

    @property
    def bench(self) -> Path:
        """The bench file."""
        return self.folder / "bench.yaml"

    @property
    def recipes(self) -> Path:
        """Folder of the recipes, one per model."""
        return self.folder / "recipes"

    @property
    def limits(self) -> Path:
        """Folder of the limit tables."""
        return self.folder / "limits"

    @property
    def dialects(self) -> Path:
        """Folder of the works' own dialects."""
        return self.folder / "dialects"

    @property
    def standards(self) -> Path:
        """Folder of the check standards' known values."""
        return self.folder / "standards"

    @property
    def certificates(self) -> Path:
        """Folder where certificates and failure sheets are put."""
        return self.folder / "certificates"

    @property
    def keys(self) -> Path:
        """Folder of the keys, closed to others."""
        return self.folder / "keys"


def load(folder: Path) -> Works:
    """The works in `folder`. Raises UserMistake when it is no works folder, BadInput for what its file says."""
    try:
        there = (folder / FILE).exists()
    except PermissionError as error:
        what = "may not be looked into; change its permissions, or name another folder"
        raise UserMistake(f"{folder} {what}") from error
    if not there:
        make = "make one with: station create DIR --name NAME --address LINE"
        raise UserMistake(f"{folder} is not a works folder: there is no {FILE} in it; {make}")
    return _works(folder.absolute(), read(folder / FILE, WorksForm))


def passphrase(works: Works, environment: Mapping[str, str], ask: Callable[[str], str]) -> str:
    """The passphrase of the signing key, or the PIN of its token.

    Raises UserMistake when it is not where `works.yaml` says.
    """
    what = (
        f"passphrase of {works.key.name}" if works.token is None else f"PIN of the token {works.token.label}"
    )
    return secret(works.passphrase, what, works.folder, environment, ask)


def root_passphrase(works: Works, environment: Mapping[str, str], ask: Callable[[str], str]) -> str:
    """The passphrase of the root key, as `passphrase` does."""
    return secret(works.root_passphrase, f"passphrase of {works.root.name}", works.folder, environment, ask)


def create(folder: Path, name: str, address: tuple[str, ...], bench: str, database: str = DATABASE) -> Works:
    """Make a works folder, all of it or nothing; `bench` is the text of its `bench.yaml`. Makes no database.

    Raises UserMistake when something is there already, the place may not be written, or name, address or database
    cannot be used.
    """
    _refuse_unusable(name, address, database)
    with building(folder) as built:
        _fill(built, name, address, bench, database)
        load(built)
    return load(folder.absolute())


@contextmanager
def building(folder: Path) -> Iterator[Path]:
    """A folder to be filled nearby, which becomes `folder` in the end; if anything goes wrong, nothing is left of it.

    Raises UserMistake when something is there already, or the place may not be written.
    """
    folder = folder.absolute()
    _refuse_used(folder)
    with (
        _clear_fault(folder),
        tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as nearby,
    ):
        built = Path(nearby) / "works"
        yield built
        _put(built, folder)


def _refuse_unusable(name: str, address: tuple[str, ...], database: str) -> None:
    """Said of the options it came by: whoever makes a works has not seen its file yet."""
    said = [f"--name: {what}" for what in _wrong(_line, name)]
    if not 1 <= len(address) <= MOST_LINES:
        said.append(
            f"--address: expected 1 to {MOST_LINES} lines, got {len(address)}; give it once for each line"
        )
    for number, line in enumerate(address, start=1):
        place = f" (line {number})" if len(address) > 1 else ""
        said += [f"--address{place}: {what}" for what in _wrong(_line, line)]
    said += [f"--database: {what}" for what in _wrong(_database, database)]
    if said:
        raise UserMistake("; ".join(said))


def _wrong(check: Callable[[str], str], text: str) -> tuple[str, ...]:
    try:
        check(text)
    except ValueError as error:
        return (str(error),)
    return ()


def _line(text: str) -> str:
    return _printable(plain(text))


def _works(folder: Path, source: YamlFile[WorksForm]) -> Works:
    form = source.value
    database = form.database
    if database.startswith(_SQLITE):
        if "?" in database:
            what = "an SQLite database has no settings behind a '?'; write %3F for one in its name"
            raise BadInput((source.mistake(("database",), what),))
        # A whole path stays what it is; a URL writes some characters of a folder's name in its own way.
        file = PurePosixPath(quote(str(folder))) / database.removeprefix(_SQLITE)
        database = f"{_SQLITE}{file}"
    return Works(
        folder=folder,
        name=form.name,
        address=form.address,
        database=database,
        key=folder / form.signing.key,
        passphrase=form.signing.passphrase,
        root=folder / form.signing.root,
        root_passphrase=form.signing.root_passphrase,
        timestamping=timestamping_of(form.timestamp, folder),
        trusted=tuple(folder / certificate for certificate in form.trusted),
        house=house_of(form.style, folder, lambda what: source.mistake(("style", "logo"), what)),
        keep_years=form.keep_records,
        works_database=form.works_database,
        token=form.signing.token,
        retest_reasons=form.retest_reasons or RETEST_REASONS,
    )


def _refuse_used(folder: Path) -> None:
    with _clear_fault(folder):
        if folder.exists() and not folder.is_dir():
            raise UserMistake(f"{folder} is a file; name a folder that does not exist yet")
        if not folder.parent.is_dir():
            raise UserMistake(f"there is no folder {folder.parent}; make it first")
        if folder.exists() and any(folder.iterdir()):
            raise UserMistake(
                f"{folder} is not empty; name a folder that does not exist yet, or an empty one"
            )


@contextmanager
def _clear_fault(folder: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:
        what = f"{folder} cannot be made: {error.filename or folder.parent} may not be written"
        raise UserMistake(f"{what}; change its permissions or choose another place") from error
    except OSError as error:
        raise UserMistake(f"{folder} cannot be made: {error.strerror or error}") from error


def _fill(folder: Path, name: str, address: tuple[str, ...], bench: str, database: str) -> None:
    make_folders(folder)
    _copy_shipped("station", "recipes", folder / "recipes")
    _copy_shipped("limits", "tables", folder / "limits")
    _copy_shipped("station", "kits", folder / "kits")
    (folder / "bench.yaml").write_text(bench, encoding="utf-8")
    (folder / FILE).write_text(_settings(name, address, database), encoding="utf-8")


def make_folders(folder: Path) -> None:
    """Those that every works has, where they are not there yet; nobody else may look into the one of the keys."""
    for each in ("recipes", "limits", "dialects", "standards", "kits", "certificates", "keys"):
        (folder / each).mkdir(parents=True, exist_ok=True)
    (folder / "keys").chmod(0o700)


def _copy_shipped(package: str, inside: str, target: Path) -> None:
    for source in resources.files(package).joinpath(inside).iterdir():
        if source.name.endswith(".yaml"):
            (target / source.name).write_bytes(source.read_bytes())


def _settings(name: str, address: tuple[str, ...], database: str) -> str:
    # A JSON string is one of YAML's too, whatever stands in it.
    lines = "\n".join(f"  - {json.dumps(line, ensure_ascii=False)}" for line in address) or "  []"
    return f"""# The works: who it is, where its records are, what signs its certificates.
# Paths are within this folder.

name: {json.dumps(name, ensure_ascii=False)}
address:
{lines}

database: {json.dumps(database) if database != DATABASE else database}

# Where all stations of the works carry their records to (station carry); each tests on without it:
# works_database: postgresql://USER@HOST/NAME

signing:
  key: keys/signing.p12
  # Instead of prompt:  {{file: keys/passphrase}}  or  {{environment: VARIABLE}}
  passphrase: prompt
  # A key on a token (PKCS#11); the passphrase is then its PIN:
  # token: {{module: /usr/lib/softhsm/libsofthsm2.so, label: LABEL OF THE TOKEN, key: LABEL OF THE KEY}}
  # Of the works' own root (station key --root). It may lie on a stick in the safe:  root: /media/stick/root.p12

# A service that stands for when something was signed (RFC 3161), and what it is known by:
# timestamp: {{service: http://time.example/stamp, trusted: keys/time.pem, if_down: issue}}    # or: refuse

# Why a unit may be tested again (station test --because CODE), instead of the reasons that every works has:
# retest_reasons: {{sampling: the unit was drawn as a sample, audit: a customer's auditor asked for it}}

# Certificates of other works whose signatures count here, e.g. - keys/other.pem
trusted: []

# What certificates look like; also  logo: logo.png  (PNG or JPEG, within this folder).
style: {{accent: "#0d4553", language: en, paper: A4}}
"""


def _put(built: Path, folder: Path) -> None:
    if not folder.exists():
        built.rename(folder)
        return
    moved: list[Path] = []
    try:
        # The settings last: without them it is not a works folder yet.
        for each in sorted(built.iterdir(), key=lambda path: path.name == FILE):
            moved.append(each.rename(folder / each.name))
    except OSError:
        for each in moved:
            shutil.rmtree(each) if each.is_dir() else each.unlink()
        raise

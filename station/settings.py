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
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, PlainValidator

from limits.errors import BadInput
from limits.quantity import Text
from limits.yamlfile import Form, YamlFile, read
from station.errors import UserMistake

FILE = "works.yaml"
_SQLITE = "sqlite:///"
_SOURCES = "write 'prompt', 'file: PATH' or 'environment: VARIABLE'; the passphrase itself never stands here"


@dataclass(frozen=True, slots=True)
class Passphrase:
    """Where the passphrase of the signing key comes from: at most one of the two, else from whoever is asked."""

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


def _database(value: object) -> str:
    if isinstance(value, str) and "://" in value and value != _SQLITE:
        return value
    # Not repeated either: a server's URL holds a password.
    raise ValueError("expected the URL of a database, like sqlite:///records.sqlite")


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("holds a character that cannot be printed")
    return text


Line = Annotated[Text, AfterValidator(_printable)]
"""A line that certificates print."""


class SigningForm(Form):
    """The key that signs the certificates."""

    key: Text = "keys/signing.p12"
    passphrase: Annotated[Passphrase, PlainValidator(_passphrase)] = Passphrase()


class WorksForm(Form):
    """What `works.yaml` says."""

    name: Line
    address: tuple[Line, ...] = Field(min_length=1, max_length=6)
    database: Annotated[str, PlainValidator(_database)] = f"{_SQLITE}records.sqlite"
    signing: SigningForm = SigningForm()
    trusted: tuple[Text, ...] = ()


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
    trusted: tuple[Path, ...]
    """Certificates that the works trusts beside its own."""

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
    def certificates(self) -> Path:
        """Folder where certificates and failure sheets are put."""
        return self.folder / "certificates"

    @property
    def keys(self) -> Path:
        """Folder of the keys, closed to others."""
        return self.folder / "keys"


def load(folder: Path) -> Works:
    """The works in `folder`. Raises UserMistake when it is no works folder, BadInput for what its file says."""
    if not (folder / FILE).exists():
        make = "make one with: station create DIR --name NAME --address LINE"
        raise UserMistake(f"{folder} is not a works folder: there is no {FILE} in it; {make}")
    return _works(folder.absolute(), read(folder / FILE, WorksForm))


def passphrase(works: Works, environment: Mapping[str, str], ask: Callable[[str], str]) -> str:
    """The passphrase of the signing key, from where `works.yaml` says; `ask` shows a prompt and returns a text.

    Raises UserMistake when it is not there.
    """
    source = works.passphrase
    if source.environment is not None:
        if source.environment not in environment:
            raise UserMistake(
                f"the passphrase should be in the environment as {source.environment}, but is not set"
            )
        return environment[source.environment]
    if source.file is None:
        return ask(f"Passphrase of {works.key.name}")
    file = works.folder / source.file
    try:
        return file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, ValueError) as error:
        raise UserMistake(
            f"{file}: the passphrase of the signing key cannot be read from it: {error}"
        ) from error


def create(folder: Path, name: str, address: tuple[str, ...], bench: str) -> Works:
    """Make an empty works folder, all of it or nothing; `bench` is the text of its `bench.yaml`.

    Raises UserMistake when something is there already or the place may not be written, BadInput when name or
    address cannot be printed.
    """
    folder = folder.absolute()
    _refuse_used(folder)
    with (
        _clear_fault(folder),
        tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as nearby,
    ):
        built = Path(nearby) / "works"
        _fill(built, name, address, bench)
        try:
            load(built)
        except BadInput as error:
            said = "; ".join(mistake.what for mistake in error.mistakes)
            raise UserMistake(f"name or address cannot be used: {said}") from error
        _put(built, folder)
    return load(folder)


def _works(folder: Path, source: YamlFile[WorksForm]) -> Works:
    form = source.value
    database = form.database
    if database.startswith(_SQLITE):
        file = folder / database.removeprefix(_SQLITE)
        if "?" in str(file):
            what = "an SQLite database cannot lie under a folder with '?' in its name, nor have settings after one"
            raise BadInput((source.mistake(("database",), what),))
        database = f"{_SQLITE}{file}"
    return Works(
        folder=folder,
        name=form.name,
        address=form.address,
        database=database,
        key=folder / form.signing.key,
        passphrase=form.signing.passphrase,
        trusted=tuple(folder / certificate for certificate in form.trusted),
    )


def _refuse_used(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UserMistake(f"{folder} is a file; name a folder that does not exist yet")
    if not folder.parent.is_dir():
        raise UserMistake(f"there is no folder {folder.parent}; make it first")
    with _clear_fault(folder):
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


def _fill(folder: Path, name: str, address: tuple[str, ...], bench: str) -> None:
    for each in ("recipes", "limits", "dialects", "certificates"):
        (folder / each).mkdir(parents=True)
    (folder / "keys").mkdir(mode=0o700)
    _copy_shipped("station", "recipes", folder / "recipes")
    _copy_shipped("limits", "tables", folder / "limits")
    (folder / "bench.yaml").write_text(bench, encoding="utf-8")
    (folder / FILE).write_text(_settings(name, address), encoding="utf-8")


def _copy_shipped(package: str, inside: str, target: Path) -> None:
    for source in resources.files(package).joinpath(inside).iterdir():
        if source.name.endswith(".yaml"):
            (target / source.name).write_bytes(source.read_bytes())


def _settings(name: str, address: tuple[str, ...]) -> str:
    # A JSON string is one of YAML's too, whatever stands in it.
    lines = "\n".join(f"  - {json.dumps(line, ensure_ascii=False)}" for line in address) or "  []"
    return f"""# The works: who it is, where its records are, what signs its certificates.
# Paths are within this folder.

name: {json.dumps(name, ensure_ascii=False)}
address:
{lines}

database: {_SQLITE}records.sqlite

signing:
  key: keys/signing.p12
  # Or, in the place of `prompt`, below it:  file: keys/passphrase  or  environment: VARIABLE
  passphrase: prompt

# Certificates of other works whose signatures count here, e.g. - keys/other.pem
trusted: []
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

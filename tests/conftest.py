"""What tests of every room share."""

from __future__ import annotations

import getpass
import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest

DEBIANS = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda folder: int(folder.parent.name))
"""Where Debian puts the server's programs, which are on nobody's path."""


@pytest.fixture(scope="session")
def need() -> Callable[[str], str]:
    """The path of an outside program. Where CI is set its absence fails the test; elsewhere it skips it."""

    def find(program: str) -> str:
        path = shutil.which(program, path=os.pathsep.join([os.environ["PATH"], *map(str, DEBIANS)]))
        if path is None:
            message = f"{program} is not installed; DEVELOPERS.md says how to get it"
            if os.environ.get("CI"):
                pytest.fail(message)
            pytest.skip(message)
        return path

    return find


@dataclass(frozen=True)
class Server:
    """A PostgreSQL server that only this test process knows, on a socket in a folder of its own."""

    pg_ctl: str
    folder: Path
    user: str

    @property
    def address(self) -> str:
        """What a connection string says after the database's name."""
        return f"?host={self.folder}"

    def url(self, database: str) -> str:
        """As `works.yaml` would name it."""
        return f"postgresql://{self.user}@/{database}{self.address}"

    def do(self, statement: str) -> None:
        """One statement outside of any transaction."""
        with psycopg.connect(
            f"host={self.folder} user={self.user} dbname=postgres", autocommit=True
        ) as connection:
            connection.execute(statement)

    def run(self, *arguments: str) -> None:
        """`pg_ctl` with these arguments, as its user; the server refuses to run as root."""
        subprocess.run(
            [self.pg_ctl, "-D", str(self.folder / "data"), "-w", *arguments],
            user=self.user if os.geteuid() == 0 else None, check=True, capture_output=True, cwd=self.folder,
        )  # fmt: skip

    def start(self) -> None:
        """Without a network, and without waiting for the disk, which tests do not outlive."""
        options = f"-c listen_addresses= -c fsync=off -k {self.folder}"
        self.run("-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self) -> None:
        """As when its machine is switched off."""
        self.run("-m", "immediate", "stop")


@pytest.fixture(scope="session")
def server(need: Callable[[str], str]) -> Iterator[Server]:
    """A running server."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    user = "postgres" if os.geteuid() == 0 else getpass.getuser()
    folder.chmod(0o755)  # also for programs that tests start as anybody
    if os.geteuid() == 0:
        shutil.chown(folder, user)
    server = Server(need("pg_ctl"), folder, user)
    try:
        server.run("-o", f"-A trust -U {user} -N", "init")
        server.start()
        yield server
        server.stop()
    finally:
        shutil.rmtree(folder)


@pytest.fixture
def postgresql_url(server: Server) -> Iterator[str]:
    """The URL of an empty database that is gone afterwards, whoever still uses it."""
    name = f"works_{uuid.uuid4().hex}"
    server.do(f"CREATE DATABASE {name}")
    yield server.url(name)
    server.do(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'records.sqlite'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """An empty database of each kind that a works may have."""
    return str(request.getfixturevalue(f"{request.param}_url"))

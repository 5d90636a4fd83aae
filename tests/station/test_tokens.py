"""The works' signing key on a token: Debian's software token stands for one of hardware."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pkcs11
import pytest
from pkcs11.util.ec import encode_named_curve_parameters
from reportlab.pdfgen.canvas import Canvas

from reports.errors import KeyExpired, KeyRevoked, TokenUnusable, WrongPassphrase
from reports.signing import SigningKey, sign, sign_text
from reports.verifying import verify, verify_text
from station import keylist, keyring, settings
from station.errors import UserMistake
from station.settings import Works
from station.signing_settings import TokenForm

NOW = datetime(2026, 11, 25, tzinfo=UTC)
PIN = "4711"


@pytest.fixture(scope="module")
def module(need: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The software token's library, with a token `works` that holds the keys `curve`, `other` and `rsa`."""
    program = need("softhsm2-util")
    library = next(Path("/usr/lib").glob("**/libsofthsm2.so"))
    folder = tmp_path_factory.mktemp("softhsm")
    settings_file = folder / "softhsm2.conf"
    (folder / "tokens").mkdir()
    settings_file.write_text(f"directories.tokendir = {folder}/tokens\nlog.level = ERROR\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOFTHSM2_CONF", str(settings_file))
        begin = [program, "--init-token", "--free", "--label", "works", "--pin", PIN, "--so-pin", "8888"]
        subprocess.run(begin, check=True, capture_output=True, env=dict(os.environ))
        with pkcs11.lib(str(library)).get_token(token_label="works").open(rw=True, user_pin=PIN) as session:
            curve = {pkcs11.Attribute.EC_PARAMS: encode_named_curve_parameters("secp256r1")}
            parameters = session.create_domain_parameters(pkcs11.KeyType.EC, curve, local=True)
            for label in ("curve", "other"):
                parameters.generate_keypair(store=True, label=label)
            session.generate_keypair(pkcs11.KeyType.RSA, 2048, store=True, label="rsa")
        yield library
        pkcs11.unload(str(library))


@pytest.fixture
def logged_out(module: Path) -> Iterator[None]:
    """Nobody has given the PIN in this process yet: a token asks for it once."""
    pkcs11.lib(str(module)).reinitialize()
    yield


@pytest.fixture
def works(tmp_path: Path, module: Path, logged_out: None) -> Works:
    """A works with a root, and a key on the token."""
    folder = settings.create(tmp_path / "w", "Skerry Works", ("Quay 3",), "bench: b\n").folder
    file = folder / settings.FILE
    token = f"signing:\n  token: {{module: {module}, label: works, key: curve}}\n"
    file.write_text(file.read_text().replace("signing:\n", token, 1))
    works = settings.load(folder)
    keyring.make_root(works, lambda: "safe", NOW, 20)
    return works


def certified(works: Works, *, renew: bool = False) -> SigningKey:
    keyring.make_key(works, lambda: PIN, NOW, 5, root_passphrase=lambda: "safe", renew=renew)
    return keyring.open_key(works, PIN, NOW)


def on(works: Works, **changed: str) -> Works:
    """The same works with another place of its key."""
    assert works.token is not None
    return replace(works, token=TokenForm.model_validate({**works.token.model_dump(), **changed}))


def roots(works: Works) -> tuple[bytes, ...]:
    return keyring.certificates_in((keyring.root_certificate(works),))


def page(path: Path) -> bytes:
    canvas = Canvas(str(path))
    canvas.drawString(72, 700, "passed")
    canvas.save()
    return path.read_bytes()


@pytest.mark.parametrize("label", ["curve", "rsa"])
def test_what_a_token_signs_verifies_by_the_works_root(works: Works, tmp_path: Path, label: str) -> None:
    key = certified(on(works, key=label))
    signed = sign(page(tmp_path / "page.pdf"), key, reason="r", location="l", signed_at=NOW)
    found = verify(signed, roots(works), NOW)
    assert (found.status, found.level) == ("valid", "B-B")
    text = verify_text("t", sign_text("t", key, NOW), roots(works), NOW)
    assert (text.intact, text.trusted) == (True, True)


def test_the_private_key_is_in_no_file(works: Works) -> None:
    certified(works)
    assert sorted(path.name for path in works.keys.rglob("*") if path.is_file()) == [
        "revoked.crl",
        "root.p12",
        "root.pem",
        "signing.pem",
    ]


def test_its_pin_is_asked_for_as_a_passphrase_is(works: Works) -> None:
    asked: list[str] = []
    settings.passphrase(works, {}, lambda words: asked.append(words) or PIN)
    assert asked == ["PIN of the token works"]


def test_a_key_on_a_token_stays_with_one_process(works: Works) -> None:
    assert not certified(works).can_travel


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"module": "/nowhere/token.so"}, r"/nowhere/token\.so: there is no such PKCS#11 module"),
        ({"module": "works.yaml"}, r"the token 'works' does not do what it is asked, through .*works\.yaml"),
        ({"label": "another"}, "the token 'another' is not there"),
        ({"key": "missing"}, "the token 'works' has no key 'missing'"),
    ],
)
def test_what_is_not_there_is_told(works: Works, changed: dict[str, str], said: str) -> None:
    certified(works)
    with pytest.raises(TokenUnusable, match=said):
        keyring.open_key(on(works, **changed), PIN, NOW)


def test_a_wrong_pin_is_told(works: Works, module: Path) -> None:
    certified(works)
    pkcs11.lib(str(module)).reinitialize()
    with pytest.raises(WrongPassphrase, match="not the PIN of the token 'works'"):
        keyring.open_key(works, "0000", NOW)


def test_a_token_that_is_taken_away_while_signing_is_told(works: Works, module: Path) -> None:
    key = certified(works)
    pkcs11.lib(str(module)).reinitialize()
    with pytest.raises(TokenUnusable, match="does not do what it is asked"):
        sign_text("t", key, NOW)


def test_a_certificate_of_another_key_is_refused(works: Works) -> None:
    certified(works)
    with pytest.raises(TokenUnusable, match=r"of another key than 'other'.*station key --renew"):
        keyring.open_key(on(works, key="other"), PIN, NOW)


def test_without_a_root_no_token_is_certified(works: Works) -> None:
    keyring.root_certificate(works).unlink()
    with pytest.raises(UserMistake, match=r"needs a root .*station key --root"):
        certified(works)


def test_a_token_not_certified_yet_or_certified_already_is_told(works: Works) -> None:
    with pytest.raises(UserMistake, match=r"signing\.pem: there is no signing key.*station key"):
        keyring.open_key(works, PIN, NOW)
    first = certified(works)
    with pytest.raises(UserMistake, match="station key --renew"):
        certified(works)
    assert certified(works, renew=True).fingerprint != first.fingerprint


def test_a_certificate_that_ran_out_is_refused(works: Works) -> None:
    certified(works)
    with pytest.raises(KeyExpired, match="station key --renew"):
        keyring.open_key(works, PIN, NOW + timedelta(days=6 * 365))


def test_a_revoked_key_is_not_certified_again_but_another_on_the_token_is(works: Works) -> None:
    key = certified(works)
    keylist.revoke(works, key.fingerprint, "stolen", lambda: "safe", NOW)
    with pytest.raises(KeyRevoked, match=r"\(stolen\); make a new one on the token"):
        keyring.open_key(works, PIN, NOW)
    with pytest.raises(KeyRevoked, match="station key --renew"):
        certified(works, renew=True)
    assert certified(on(works, key="other"), renew=True).fingerprint != key.fingerprint

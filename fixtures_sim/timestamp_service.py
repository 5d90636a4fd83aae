"""A timestamp service (RFC 3161) on loopback, with a root and a list of revoked keys of its own.

Its clock is an argument, and so is what it does wrong.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from asn1crypto import keys as asn1_keys
from asn1crypto import tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.sign.timestamps.dummy_client import DummyTimeStamper

DER = serialization.Encoding.DER
REFUSAL = bytes.fromhex("30123010020102300b0c096e6f7420746f646179")
"""An answer without a token: status 2, rejection, and "not today" (RFC 3161, 2.4.2)."""

FAULTS = ("", "refuses", "babbles", "answers another", "fails")
"""What it may do wrong: say no, send no timestamp at all, send one of another question, answer with an error page."""


@dataclass
class Service:
    """A running service."""

    url: str
    root: bytes
    """Certificate of its root, as PEM: what one trusts."""

    fault: str = ""
    """One of `FAULTS`."""

    asked: int = 0


@contextmanager
def running_service(clock: Callable[[], datetime]) -> Iterator[Service]:
    """Serve on a free port until the block is left."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler)
    url = f"http://127.0.0.1:{server.server_port}"
    root_key, root = _root(clock())
    key, leaf = _leaf(root_key, root, f"{url}/revoked.crl", clock())
    service = Service(url, root.public_bytes(serialization.Encoding.PEM))
    crl = _empty_list(root_key, root, clock())
    server.RequestHandlerClass = _handler(service, key, leaf, crl, clock)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def _handler(
    service: Service,
    key: rsa.RSAPrivateKey,
    leaf: x509.Certificate,
    crl: bytes,
    clock: Callable[[], datetime],
) -> type[BaseHTTPRequestHandler]:
    private = key.private_bytes(DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    certificate = asn1_x509.Certificate.load(leaf.public_bytes(DER))

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            question = tsp.TimeStampReq.load(self.rfile.read(int(self.headers["Content-Length"])))
            service.asked += 1
            if service.fault == "fails":
                self.send_error(503)
                return
            self._send(self._answer(question), "application/timestamp-reply")

        def do_GET(self) -> None:
            self._send(crl, "application/pkix-crl")

        def _answer(self, question: tsp.TimeStampReq) -> bytes:
            if service.fault == "babbles":
                return b"<html>It works!</html>"
            if service.fault == "refuses":
                return REFUSAL
            if service.fault == "answers another":
                question["message_imprint"]["hashed_message"] = bytes(32)
            stamper = DummyTimeStamper(certificate, asn1_keys.PrivateKeyInfo.load(private), fixed_dt=clock())
            return bytes(stamper.request_tsa_response(question).dump())

        def _send(self, body: bytes, kind: str) -> None:
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: object) -> None:
            """Quiet."""

    return Handler


def _root(now: datetime) -> tuple[rsa.RSAPrivateKey, x509.Certificate]:
    key = rsa.generate_private_key(65537, 2048)
    name = _name("Simulated time root")
    builder = _builder(name, name, key.public_key(), now).add_extension(
        x509.BasicConstraints(True, 0), critical=True
    )
    usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    return key, builder.add_extension(usage, critical=True).sign(key, hashes.SHA256())


def _leaf(
    root_key: rsa.RSAPrivateKey, root: x509.Certificate, list_url: str, now: datetime
) -> tuple[rsa.RSAPrivateKey, x509.Certificate]:
    key = rsa.generate_private_key(65537, 2048)
    point = x509.DistributionPoint([x509.UniformResourceIdentifier(list_url)], None, None, None)
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    builder = (
        _builder(_name("Simulated time"), root.subject, key.public_key(), now)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.CRLDistributionPoints([point]), critical=False)
    )
    return key, builder.sign(root_key, hashes.SHA256())


def _builder(
    subject: x509.Name, issuer: x509.Name, public: rsa.RSAPublicKey, now: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder(issuer, subject, public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=100))
        .not_valid_after(now + timedelta(days=1000))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _empty_list(root_key: rsa.RSAPrivateKey, root: x509.Certificate, now: datetime) -> bytes:
    builder = x509.CertificateRevocationListBuilder().issuer_name(root.subject)
    dated = builder.last_update(now - timedelta(days=1)).next_update(now + timedelta(days=30))
    return dated.sign(root_key, hashes.SHA256()).public_bytes(DER)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])

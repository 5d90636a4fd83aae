"""Errors of this room.

    ReportError
    ├── NotCertifiable        the record is not one that a certificate may be made from
    ├── NothingFailed         a failure sheet was asked for a unit that passed
    ├── NotSignable           these bytes are not a PDF that can be signed, or are signed already
    ├── NoTwin                a PDF does not carry the machine-readable twin of a certificate
    │   └── OtherForm         the twin is of a form that this program does not know
    ├── BadCertificateFile    a file of signers' certificates cannot be read
    ├── TimestampRefused      a timestamp service answered, but not with a timestamp
    ├── ClockDoubtful         a timestamp service tells another time than this computer
    └── KeyUnusable           the signing key cannot be used
        ├── NotAKey           the file is no PKCS#12 key, or holds no key with its signer's certificate
        ├── WrongPassphrase   the passphrase does not open it
        ├── KeyExpired        its signer's certificate has run out
        ├── KeyRevoked        the works' root has revoked it
        ├── TokenUnusable     the token that it is on is not there, or does not sign
        └── KeyNotYetValid    its signer's certificate does not begin until later

Each message says what is wrong and what to do instead, in one line.
"""

from __future__ import annotations


class ReportError(Exception):
    """A report, a PDF or a key that cannot be used as asked."""


class NotCertifiable(ReportError):
    """The record is not one that a certificate may be made from."""


class NothingFailed(ReportError):
    """A failure sheet was asked for a unit that passed."""


class NotSignable(ReportError):
    """These bytes are not a PDF that can be signed, or are signed already."""


class NoTwin(ReportError):
    """A PDF does not carry the machine-readable twin of a certificate, or not one whose parts agree."""


class OtherForm(NoTwin):
    """The machine-readable twin is of a form that this program does not know."""


class BadCertificateFile(ReportError):
    """A file of signers' certificates cannot be read."""


class NotAProof(ReportError):
    """A file that should prove a record proves nothing."""


class TimestampRefused(ReportError):
    """A timestamp service answered, but not with a timestamp."""


class ClockDoubtful(ReportError):
    """A timestamp service tells another time than this computer."""


class KeyUnusable(ReportError):
    """The signing key cannot be used."""


class NotAKey(KeyUnusable):
    """The file is no PKCS#12 key, or holds no key with its signer's certificate."""


class WrongPassphrase(KeyUnusable):
    """The passphrase does not open the key file."""


class KeyExpired(KeyUnusable):
    """The signer's certificate has run out."""


class KeyNotYetValid(KeyUnusable):
    """The signer's certificate does not begin until later."""


class TokenUnusable(KeyUnusable):
    """The token that the key is on is not there, lacks the key, or does not sign."""


class KeyRevoked(KeyUnusable):
    """The works' root has revoked the key."""

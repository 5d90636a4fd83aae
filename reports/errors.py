"""Errors of this room.

    ReportError
    ├── NotCertifiable        the record is not one that a certificate may be made from
    ├── NothingFailed         a failure sheet was asked for a unit that passed
    ├── NotSignable           these bytes are not a PDF that can be signed, or are signed already
    ├── BadCertificateFile    a file of signers' certificates cannot be read
    └── KeyUnusable           the signing key cannot be used
        ├── NotAKey           the file is no PKCS#12 key, or holds no key with its certificate
        ├── WrongPassphrase   the passphrase does not open it
        ├── KeyExpired        its certificate has run out
        └── KeyNotYetValid    its certificate does not begin until later

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


class BadCertificateFile(ReportError):
    """A file of signers' certificates cannot be read."""


class KeyUnusable(ReportError):
    """The signing key cannot be used."""


class NotAKey(KeyUnusable):
    """The file is no PKCS#12 key, or holds no key with its certificate."""


class WrongPassphrase(KeyUnusable):
    """The passphrase does not open the key file."""


class KeyExpired(KeyUnusable):
    """The key's certificate has run out."""


class KeyNotYetValid(KeyUnusable):
    """The key's certificate does not begin until later."""

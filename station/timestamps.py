"""Asking the works' timestamp service over HTTP, and what one needs beside its answer.

The service is asked once on trial in each run of the program: its certificate goes into what is signed.
"""

from __future__ import annotations

import http.client
import urllib.error
import urllib.request
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from station.errors import TimestampFault
from station.keyring import lists_in, own_lists
from station.settings import Works

if TYPE_CHECKING:
    from reports.signing import SigningKey
    from reports.timestamping import TimestampService

PATIENCE_S = 5.0
"""An operator waits for this at a unit's end while the service is down."""

MOST_BYTES = 1_000_000
"""Of an answer; tokens have some thousands, lists of revoked keys rarely more than this."""


def service_for(works: Works) -> TimestampService | None:
    """The service that the works names, with the lists of revoked keys at hand; None where it names none.

    Raises TimestampFault where it does not answer as it should.
    """
    if works.timestamping is None:
        return None
    service = _known(works.timestamping.service)
    return service.with_lists((*lists_in(own_lists(works)), *_lists_of(service)))


def sign_for(
    works: Works, pdf: bytes, key: SigningKey, said: tuple[str, str], now: datetime
) -> tuple[bytes, str]:
    """The signed PDF, and why it has no timestamp where the works wants one; `said` are reason and place.

    Raises TimestampFault where the works issues nothing without a timestamp, else as `reports.signing.sign` does.
    """
    from reports.errors import TimestampRefused
    from reports.signing import sign

    reason, location = said
    try:
        service = service_for(works)
        return sign(pdf, key, reason=reason, location=location, signed_at=now, service=service), ""
    except (TimestampFault, TimestampRefused) as error:
        wanted = works.timestamping
        if wanted is None or wanted.refuse_without:
            raise TimestampFault(
                f"{error}. Or let works.yaml say 'if_down: issue' under 'timestamp'"
            ) from error
        return sign(
            pdf, key, reason=reason, location=location, signed_at=now
        ), f"without a timestamp: {error}"


@cache
def _known(url: str) -> TimestampService:
    from reports.errors import TimestampRefused
    from reports.timestamping import first_look

    try:
        return first_look(lambda question: _asked(url, question))
    except TimestampRefused as error:
        raise TimestampFault(f"{url}: {error}; ask whoever runs it") from error


def _asked(url: str, question: bytes) -> bytes:
    head = {"Content-Type": "application/timestamp-query", "Accept": "application/timestamp-reply"}
    return _fetched(urllib.request.Request(url, question, head))


def _lists_of(service: TimestampService) -> tuple[bytes, ...]:
    """The lists of revoked keys that the service's certificates point to, those that can be had."""
    from reports.authority import list_addresses, revocation_lists
    from reports.errors import BadCertificateFile

    found: list[bytes] = []
    for address in dict.fromkeys(each for der in service.certificates for each in list_addresses(der)):
        try:
            found += revocation_lists(_fetched(urllib.request.Request(address)))
        except (TimestampFault, BadCertificateFile):
            # Without it the signature is as good, only for fewer years: B-T.
            continue
    return tuple(found)


def _fetched(request: urllib.request.Request) -> bytes:
    try:
        with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
            return bytes(answer.read(MOST_BYTES))
    except (OSError, http.client.HTTPException, ValueError) as error:
        why = getattr(error, "reason", None) or error
        raise TimestampFault(
            f"the timestamp service {request.full_url} does not answer: {why}; see that the network is there, or try "
            "again later"
        ) from error

"""The data pack of an order for its customer: every certificate, what is attached to it, a table, and a signed list.

One ZIP file. The same records and the same moment give the same bytes, but for the signature, which is another each
time. `SHA256SUMS` is of the form that `sha256sum -c` reads; `SHA256SUMS.p7s` is a detached signature over it (CMS,
RFC 5652), so that one check covers all files.
"""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from limits.yamlfile import read_bytes
from reports import wording
from reports.attached import Twin, twin_in
from reports.errors import NoTwin
from station.database.store import Store
from station.errors import UserMistake
from station.issuing import Issued, already
from station.issuing_many import OrderStanding, standing_of
from station.settings import Works

if TYPE_CHECKING:
    from reports.signing import SigningKey

LIST, SIGNATURE = "SHA256SUMS", "SHA256SUMS.p7s"
LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a ZIP file knows: the files' own times would make each pack another."""

COLUMNS = (
    "serial",
    "certificate",
    "characteristic",
    "title",
    "unit",
    "value",
    "claim",
    "expanded_uncertainty",
    "found_at_hz",
    "limit",
    "margin",
    "outcome",
)


@dataclass(frozen=True, slots=True)
class Pack:
    """A data pack, not written yet."""

    data: bytes
    certificates: int
    left_out: tuple[tuple[str, str], ...]
    """Units of the order that are not in it, each with why not."""


def pack(works: Works, store: Store, number: str, now: datetime, key: SigningKey) -> Pack:
    """The data pack of an order as it stands.

    Raises UserMistake where there is no such order, no unit of it has passed, or one that has has no certificate yet.
    """
    from reports.signing import sign_text

    standing = standing_of(store, number)
    issued = _issued(works, store, standing)
    files = dict(_files(issued))
    files["cover.txt"] = _cover(works, standing, issued, now).encode()
    sums = "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))
    files[LIST] = sums.encode()
    files[SIGNATURE] = sign_text(sums, key, now)
    return Pack(_zipped(files), len(issued), standing.others)


def _issued(works: Works, store: Store, standing: OrderStanding) -> list[Issued]:
    number = standing.order.number
    if not standing.good:
        raise UserMistake(f"no unit of order {number} has passed yet, so there is nothing to pack")
    found, missing = [], []
    for serial in standing.good:
        run = store.latest_judged(serial)
        made = None if run is None else already(works, store, run)
        if made is None:
            missing.append(serial)
        else:
            found.append(made)
    if missing:
        raise UserMistake(
            f"{wording.count(len(missing), 'unit', 'units')} of order {number} passed and "
            f"{'has' if len(missing) == 1 else 'have'} no certificate yet, {missing[0]} first; "
            f"make them with `station certify-order {number}`"
        )
    return found


def _files(issued: Iterable[Issued]) -> Iterable[tuple[str, bytes]]:
    rows: list[list[object]] = []
    for each in issued:
        pdf = read_bytes(each.path)
        yield f"certificates/{each.path.name}", pdf
        try:
            twin = twin_in(pdf)
        except NoTwin:
            # Of a form that was released before there were twins; the list says what is there.
            continue
        yield f"data/{each.entry.number}.json", twin.data
        if twin.network:
            yield f"touchstone/{each.entry.number}.s3p", twin.network.encode()
        rows += _rows(twin)
    yield "summary.csv", _table(rows)


def _rows(twin: Twin) -> Iterable[list[object]]:
    said = twin.said
    for each in said["characteristics"]:
        decision: Mapping[str, Any] = each["decision"] or {}
        yield [
            said["unit"]["serial"],
            said["number"],
            each["name"],
            each["title"],
            each["unit"],
            each["value"],
            each["claim"],
            each["expanded_uncertainty"],
            each["found_at_hz"],
            decision.get("limit"),
            decision.get("margin"),
            decision.get("outcome"),
        ]


def _table(rows: Iterable[Iterable[object]]) -> bytes:
    """As RFC 4180 has it, in UTF-8; a field without a value is empty."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return text.getvalue().encode()


def _cover(works: Works, standing: OrderStanding, issued: Iterable[Issued], now: datetime) -> str:
    order = standing.order
    lines = [
        f"Order {order.number}, {order.model}, for {order.customer}",
        f"TX {wording.frequency(order.tx_hz)}, RX {wording.frequency(order.rx_hz)}",
        f"Put together by {works.name}, {', '.join(works.address)}, on {wording.moment(now)}",
        "",
        "certificates/  signed test certificates (PDF)",
        "data/          the same for programs (JSON), as attached inside each certificate",
        "touchstone/    S-parameters, ports TX, ANT, RX, as attached inside each certificate",
        "summary.csv    every reading of every unit",
        "",
        f"To check all of it with the works' certificate, works.pem:  sha256sum -c {LIST}",
        f"  openssl cms -verify -binary -inform DER -in {SIGNATURE} -content {LIST} -CAfile works.pem -out -",
        "",
        "Certificates in this pack:",
        *(f"  {each.entry.number}, issued on {wording.moment(each.entry.issued)}" for each in issued),
    ]
    if standing.others:
        lines += ["", "Units of the order that are not in it:"]
        lines += [f"  {serial}, {why}" for serial, why in standing.others]
    return "\n".join(lines) + "\n"


def _zipped(files: Mapping[str, bytes]) -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            # What made the file stands in each entry, and would differ between systems.
            entry.create_system = 3
            archive.writestr(entry, files[name])
    return kept.getvalue()

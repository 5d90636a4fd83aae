"""What the check of a signed certificate found: a frozen status of parts, and the bottom line derived from them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from reports import wording
from reports.authority import Cause


class Level(StrEnum):
    """The levels of PAdES (ETSI EN 319 142-1) that are told apart here."""

    BASIC = "B-B"
    TIMESTAMPED = "B-T"
    """With a timestamp of a service that is trusted."""

    LONG_TERM = "B-LT"
    """And with the certificates and lists of revoked keys that one needs to check both."""


class Status(StrEnum):
    """The bottom line of a verification."""

    VALID = "valid"
    UNKNOWN_SIGNER = "signer unknown"
    """Whole and unchanged, but signed by nobody we know: not ours."""

    TIME_DOUBTFUL = "signing time doubtful"
    """Whole, unchanged and ours, but signed when the key was not valid, or in the future."""

    KEY_REVOKED = "key revoked"
    """Whole, unchanged and ours, but the key was revoked, and nothing proves that it was signed before."""

    CONTRADICTED = "contradicted"
    """Whole, unchanged and ours, but its parts, or the works' records, say something else."""

    ADDED_TO = "added to"
    """The signed part is unchanged, but something was appended."""

    ALTERED = "altered"
    NOT_SIGNED = "not signed"
    UNREADABLE = "unreadable"
    """It begins as a PDF, but is damaged or altered so that it cannot be read."""

    NOT_A_PDF = "not a PDF"


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check found, part by part. `status` and `sentence` are derived, never stored."""

    is_pdf: bool = False
    """Whether it begins as a PDF does."""

    readable: bool = False
    """Whether its structure could be read to the end of the check."""

    signatures: int = 0
    """How many signatures it carries; only the first is judged, and it must cover the whole file."""

    intact: bool = False
    """Whether what the signature covers is what was signed, and the signature belongs to the signer's key."""

    covers_whole_file: bool = False
    """Whether nothing but the signature itself lies outside what it covers."""

    signer: str = ""
    """The name in the signer's certificate, as the signer claims it."""

    fingerprint: str = ""
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""

    signed_at: datetime | None = None
    """When it was signed, as the signer claims it."""

    reason: str = ""
    """Why it was signed, as the signer claims it."""

    trusted: bool = False
    """Whether the signer's certificate is one of those given, or was issued by one of them."""

    key_valid_when_signed: bool = False
    """Whether the claimed time lies within the validity of the signer's certificate."""

    claimed_in_future: bool = False
    """Whether the claimed time lies ahead of the moment of the check."""

    level: Level | None = None
    """How much of what a verifier needs the signature brings along; None where there is none."""

    stamped_at: datetime | None = None
    """When a timestamp service saw the signature, as it says."""

    stamped_by: str = ""
    """The name of that service, as it says."""

    stamp_trusted: bool = False
    """Whether that service is one of those given, or was issued by one of them; else its time proves nothing."""

    stamp_agrees: bool = True
    """Whether the service's time is that which the signer claims, but for the error of a clock."""

    revoked: datetime | None = None
    """When the signer's key was revoked; None where no list at hand says so."""

    revoked_as: str = ""
    """Why, in a word: stolen, replaced or closed."""

    twin: str = ""
    """SHA-256 of the certificate's data as JSON inside it, 64 hexadecimal digits; empty where none was read."""

    twin_note: str = ""
    """What is to be known of that data, as a sentence; empty for a file that was not signed, or altered."""

    records_note: str = ""
    """What the works' records say of it, as a sentence; empty where they were not asked."""

    contradiction: str = ""
    """Who says something else than the page, as in `but ...`; empty where all agree."""

    detail: str = ""
    """What is wrong with a file that cannot be read, in our own words."""

    @property
    def proven_at(self) -> datetime | None:
        """The time that a trusted service stands for; None where only the signer claims one."""
        return self.stamped_at if self.stamp_trusted else None

    @property
    def _spoilt(self) -> bool:
        """Whether the revocation of its key takes this signature with it.

        Of a stolen key only a trusted timestamp proves that it was used before; one that was replaced or closed was
        in good hands, whose own word on the time counts.
        """
        if self.revoked is None:
            return False
        when = self.proven_at if self.revoked_as == Cause.STOLEN.word else self.proven_at or self.signed_at
        return when is None or when >= self.revoked

    @property
    def status(self) -> Status:
        """The bottom line: the gravest thing found, and valid only where every part is good."""
        findings = (
            (not self.is_pdf, Status.NOT_A_PDF),
            (not self.readable, Status.UNREADABLE),
            (self.signatures == 0, Status.NOT_SIGNED),
            (not self.intact, Status.ALTERED),
            (not self.covers_whole_file, Status.ADDED_TO),
            (not self.trusted, Status.UNKNOWN_SIGNER),
            (self._spoilt, Status.KEY_REVOKED),
            (self.claimed_in_future or not self.key_valid_when_signed, Status.TIME_DOUBTFUL),
            (not self.stamp_agrees, Status.TIME_DOUBTFUL),
            (bool(self.contradiction), Status.CONTRADICTED),
        )
        return next((status for wrong, status in findings if wrong), Status.VALID)

    @property
    def sentence(self) -> str:
        """The bottom line in words, for a person."""
        when = "at an unknown time" if self.signed_at is None else f"on {wording.moment(self.signed_at)}"
        who = f"{self.signer}, key {wording.digest(self.fingerprint)}"
        revoked = "" if self.revoked is None else f"{wording.day(self.revoked)} ({self.revoked_as})"
        return {
            Status.VALID: f"Valid: signed by {self.signer} {when} and unchanged since.",
            Status.UNKNOWN_SIGNER: f"Not ours: signed {when} and unchanged since, but by somebody unknown ({who}).",
            Status.KEY_REVOKED: f"Doubtful: unchanged, but the key of {self.signer} was revoked on {revoked}, and "
            "nothing proves that it was signed before.",
            Status.TIME_DOUBTFUL: f"Doubtful: unchanged, but said to be signed {when}, when that cannot be right.",
            Status.CONTRADICTED: f"Doubtful: signed by {self.signer} {when} and unchanged since, but "
            f"{self.contradiction}.",
            Status.ADDED_TO: f"Altered: something was added after {self.signer} signed it {when}.",
            Status.ALTERED: f"Altered: this is not what {self.signer or 'the signer'} signed.",
            Status.NOT_SIGNED: "Not signed: this PDF carries no signature, so it proves nothing.",
            Status.UNREADABLE: f"Unreadable: this PDF is damaged or altered ({self.detail}).",
            Status.NOT_A_PDF: "Not a PDF: no certificate of any kind.",
        }[self.status]

    @property
    def time_sentence(self) -> str:
        """What stands for the time of signing, for a person; empty where there is no signature."""
        if self.level is None:
            return ""
        if self.stamped_at is None:
            return "The time of signing is the signer's own word: there is no timestamp."
        stamp = f"{self.stamped_by} at {wording.moment(self.stamped_at)}"
        if not self.stamp_trusted:
            return f"Timestamped by {stamp}; that service is not one you trust, so it proves nothing."
        return f"Timestamped by {stamp}."

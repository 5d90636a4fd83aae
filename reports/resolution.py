"""What a person decided of a unit that the readings could not decide: to release it or to reject it.

It is a record of its own beside the verdict, which stays as measured. A correction is a further one that names the
one it corrects; the last one counts. The works' key signs its text (`signing.sign_text`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from reports import wording


class Ruling(StrEnum):
    """What can be decided of an undecided unit."""

    RELEASE = "release"
    REJECT = "reject"

    @property
    def done(self) -> str:
        """As of a unit: `released`, `rejected`."""
        return f"{self.value.removesuffix('e')}ed"


@dataclass(frozen=True, slots=True)
class Resolution:
    """One decision of a person about one undecided run."""

    number: int
    """1 for the first one of its run."""

    ruling: Ruling
    person: str
    made: datetime
    """Aware."""

    why: str
    corrects: int | None
    """The number of the one it corrects; None for the first."""

    text: str
    """What was signed: all of the above, the run, and its undecided readings as they stood."""

    signature: bytes
    """Detached CMS over `text` in UTF-8, with the signer's certificate inside, as DER."""

    fingerprint: str
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""

    @property
    def reason(self) -> str:
        """`why` as a sentence."""
        return self.why if self.why.endswith((".", "!", "?")) else f"{self.why}."

    @property
    def sentence(self) -> str:
        """E.g. `released by A. Berg on 25 November 2026`."""
        return f"{self.ruling.done} by {self.person} on {wording.day(self.made)}"

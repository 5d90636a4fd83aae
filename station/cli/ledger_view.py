"""The ledger at a terminal: looking through it, signing it, proving one record and checking such a proof."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from reports import wording
from station.cli.asking import aside, out, passphrase
from station.cli.exits import Exit
from station.cli.tables import print_json, say
from station.errors import UserMistake


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be done; at most one of them, and nothing means to look through all."""

    sign: bool
    prove: str | None
    to: Path | None
    check: Path | None
    trust: tuple[Path, ...]


def ledger(folder: Path, wish: Wish, *, as_json: bool) -> Exit:
    """Do it."""
    if sum((wish.sign, wish.prove is not None, wish.check is not None)) > 1:
        raise UserMistake("--sign, --prove and --check are three different things; ask for one of them")
    if (wish.prove is None) is not (wish.to is None):
        raise UserMistake(
            "--prove KEY and --to FILE go together: the record, and where its proof is to be put"
        )
    if wish.check is not None:
        return _check(folder, wish.check, wish.trust, as_json=as_json)
    if wish.prove is not None and wish.to is not None:
        return _prove(folder, wish.prove, wish.to)
    return _sign(folder) if wish.sign else _look(folder, wish.trust, as_json=as_json)


def _look(folder: Path, trust: tuple[Path, ...], *, as_json: bool) -> Exit:
    from station.desk import open_desk
    from station.keyring import own_certificates
    from station.ledgers import look_through

    with open_desk(folder) as desk:
        look = look_through(desk.store, own_certificates(desk.works) + trust)
        found = []
        for finding in look.findings:
            found.append({"sentence": finding.sentence, **asdict(finding)})
            if not as_json:
                say(out(), finding.sentence, "bold red")
    tally = look.tally
    if as_json:
        print_json({"whole": not found, "findings": found, **asdict(tally)}, out())
        return Exit.FAIL if found else Exit.PASS
    lines = wording.count(tally.lines, "line", "lines")
    seen = f"{lines} and {wording.count(tally.records, 'record', 'records')} looked at"
    signed = wording.count(tally.signed, "signature", "signatures")
    say(out(), f"{'Not whole' if found else 'Whole'}: {seen}, {signed}.", "" if found else "green")
    if tally.unsigned_lines:
        after = wording.count(tally.unsigned_lines, "line is", "lines are")
        say(
            aside(),
            f"{after} not signed for yet, so their loss at the end would go unseen: station ledger --sign",
        )
    return Exit.FAIL if found else Exit.PASS


def _sign(folder: Path) -> Exit:
    from station.desk import open_desk
    from station.keyring import open_key
    from station.ledgers import sign_end

    with open_desk(folder) as desk:
        key = open_key(desk.works, passphrase(desk.works)(), desk.clock())
        head = sign_end(desk.store, key, desk.clock())
    if head is None:
        say(out(), "All that was entered is signed for already.")
    else:
        place = f"line {head.mark.number} of {head.mark.station}"
        say(out(), f"Signed for all up to {place}.\nLink: {head.mark.link}")
        say(out(), "A copy of that link in other hands shows later that nothing before it was changed.")
    return Exit.PASS


def _prove(folder: Path, key: str, target: Path) -> Exit:
    from reports.proof import to_text
    from station.desk import open_desk
    from station.files import write_whole
    from station.ledgers import prove

    with open_desk(folder) as desk:
        proof = prove(desk.store, key)
    write_whole(target, to_text(proof).encode())
    say(
        out(), f"{target}: {proof.entry.kind} {proof.entry.key}, signed for {wording.moment(proof.head.made)}"
    )
    return Exit.PASS


def _check(folder: Path, file: Path, trust: tuple[Path, ...], *, as_json: bool) -> Exit:
    from station import settings
    from station.keyring import own_certificates
    from station.ledgers import check_file

    if (folder / settings.FILE).exists():
        trust += own_certificates(settings.load(folder))
    found = check_file(file, trust)
    if as_json:
        facts = {"file": str(file), "status": found.status.value, "sentence": found.sentence}
        print_json({**facts, "record": found.proof.record}, out())
    else:
        say(out(), f"{file.name}: {found.sentence}")
    return Exit.PASS if found.status == "valid" else Exit.FAIL

"""The words for every table and column: what each means, and in what unit. The one place for it.

Types, keys and what may be missing come from `schema`; a test holds both together.
"""

from __future__ import annotations

from collections.abc import Mapping

SECRET = frozenset({"person_secret"})
"""Tables that no export shows."""

PACKED: Mapping[str, tuple[str, ...]] = {
    "sweep": ("data",),
    "standard_sweep": ("data",),
    "calibration_load": ("data",),
    "error_terms": ("leak", "match", "tracking"),
}
"""Columns that hold many numbers in the station's own packing; an export gives the name of a file instead."""

Words = str | tuple[str, str]
"""What a column means; before it the unit, where it has one."""

_RUN = "the run, `id` of table run"
_CALIBRATION = "the calibration, `id` of table calibration"
_PLACE = "place in the order of its kind within that, from 0"
_FILE = "in an export: the file with the numbers, its path within the export"
_SWEPT: Mapping[str, Words] = {
    "ports": "the unit's ports on the analyzer's ports, first the one on port 1, e.g. TX-ANT",
    "started": "when the sweep began",
    "took_s": ("s", "how long it took"),
    "bandwidth_hz": ("Hz", "resolution bandwidth"),
    "averages": "number of sweeps averaged",
    "power_dbm": ("dBm", "source power"),
    "points": "number of frequencies",
    "phase": "whether phases were measured; without them the numbers are magnitudes",
    "data": f"S-parameters as the analyzer gave them, before any correction by the station; {_FILE}",
}

TABLES: Mapping[str, tuple[str, Mapping[str, Words]]] = {
    "work_order": (
        "What customers ordered. A check standard is the one unit of an order of kind `reference`, and its checks "
        "are the runs of that unit.",
        {
            "id": "number of the row",
            "number": "the order's number, as people know it",
            "customer": "for whom",
            "model": "kind of duplexer",
            "tx_hz": ("Hz", "transmit channel that its units are tuned to"),
            "rx_hz": ("Hz", "receive channel that its units are tuned to"),
            "due": "day by which it is to leave",
            "kind": "`production` for a customer, `reference` for a check standard",
        },
    ),
    "unit": (
        "The pieces of the orders.",
        {
            "id": "number of the row",
            "order_id": "its order, `id` of table work_order",
            "position": "place within the order, from 0",
            "serial": "serial number as on its label",
            "serial_key": "the serial in capitals, by which it is known",
        },
    ),
    "document": (
        "Files as they stood when they were used: recipes, limit tables, bench files, loads, kits, known values.",
        {
            "digest": "SHA-256 of the file's bytes",
            "kind": "what it was used as",
            "name": "what it is called",
            "revision": "its revision, empty where it has none",
            "text": "all of it",
        },
    ),
    "calibration": (
        "Calibrations of the test ports that the station made and accepted.",
        {
            "id": "number of the row",
            "station": "the test station",
            "operator": "who calibrated",
            "made": "when it was begun",
            "valid_for_s": ("s", "how long it counts"),
            "analyzer": "the analyzer's answer to *IDN?",
            "temperature_c": ("°C", "at the bench; missing where nobody said"),
            "cables": "which ones, in the works' words",
            "load_return_loss_db": ("dB", "how far the kit's load can be trusted; missing where it has none"),
        },
    ),
    "calibration_document": (
        "The kit of a calibration, then the measured standards that it names.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "digest": "the file, `digest` of table document",
        },
    ),
    "error_terms": (
        "What a calibration found wrong with the test ports, for the hook-ups that it holds for: three matrices at "
        "each frequency, by which sweeps are corrected.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "hookups": "those that they hold for, with spaces between",
            "largest_step_hz": ("Hz", "largest distance over which they may be interpolated"),
            "points": "number of frequencies",
            "leak": f"what is read with nothing behind the ports (directivity and leakage); {_FILE}",
            "match": f"reflection of the ports towards the unit; {_FILE}",
            "tracking": f"response of path and receiver; {_FILE}",
        },
    ),
    "residual": (
        "What was left over when a calibration's standards were read again.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "what": "which error",
            "port": "port of the analyzer, from 1",
            "value_db": ("dB", "its size"),
            "at_hz": ("Hz", "where it is worst"),
            "turn_deg": ("°", "turn of phase, where that was looked at; otherwise 0"),
        },
    ),
    "noise": (
        "Noise and leakage measured during a calibration.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "bandwidth_hz": ("Hz", "at which bandwidth"),
            "floor_dbm": ("dBm", "noise floor, rms, ports terminated"),
            "trace_db": ("dB", "scatter of a strong signal, standard deviation"),
            "leakage_db": (
                "dB",
                "from port to port within the analyzer, as a ratio; missing where not told apart",
            ),
        },
    ),
    "calibration_load": (
        "The bench's own terminations for idle ports, as a calibration measured them.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "port": "the unit's port that it terminates",
            "name": "what it is called",
            "points": "number of frequencies",
            "data": f"its reflection; {_FILE}",
        },
    ),
    "standard_sweep": (
        "What was read of each standard of a calibration.",
        {
            "calibration_id": _CALIBRATION,
            "position": _PLACE,
            "standard": "which one was connected",
            "test_ports": "to which ports of the analyzer, e.g. 1-2",
            "use": "whether it was to calibrate or to check",
            **_SWEPT,
        },
    ),
    "run": (
        "Passes of a recipe over a unit. A retest is a further run; none is ever replaced.",
        {
            "id": "number of the row",
            "unit_id": "the unit, `id` of table unit",
            "run_number": "1 for the first run of its unit",
            "operator": "who tested",
            "station": "the test station",
            "started": "when it began",
            "finished": "when it ended; missing while it runs",
            "state": "`judged`, or why it has no verdict: `running`, `station fault`, `stopped` by the operator",
            "why": "why it ended without a verdict, in words; otherwise empty",
            "outcome": "the verdict as measured: `pass`, `fail` or `undecided`; missing without one",
            "temperature_c": ("°C", "of the unit when the run began; missing where nobody said"),
            "temperature_end_c": ("°C", "of the unit after the last sweep; missing where nobody said"),
            "settled_since": "since when the unit had lain at the bench; missing where nobody said",
            "retest_code": "why the unit was tested again, a code of the works' list; missing where nobody said",
            "retest_means": "what the works' list said of that code then",
            "retest_why": "what the operator added to it; missing where nothing",
            "recipe_digest": "the recipe, `digest` of table document",
            "limits_digest": "the limit table, `digest` of table document",
            "bench_digest": "the bench file, `digest` of table document",
            "calibration_id": "what corrects its sweeps, `id` of table calibration; missing where nothing does",
        },
    ),
    "instrument": (
        "The instruments of a run.",
        {"run_id": _RUN, "position": _PLACE, "role": "what for", "identity": "its answer to *IDN?"},
    ),
    "load": (
        "The loads that idle ports carried in a run, where their reflection was known.",
        {
            "run_id": _RUN,
            "position": _PLACE,
            "port": "the unit's port",
            "digest": "the measured reflection as Touchstone text, `digest` of table document",
        },
    ),
    "sweep": (
        "Acquisitions of a run.",
        {
            "run_id": _RUN,
            "position": _PLACE,
            **_SWEPT,
            "doubt": "why it is not believed and does not count; empty for one that counts",
        },
    ),
    "reading": (
        "Values of the characteristics of a unit. Losses, isolation and return loss are positive dB.",
        {
            "run_id": _RUN,
            "position": _PLACE,
            "name": "of the characteristic, as the recipe calls it",
            "title": "of the characteristic, as it is printed",
            "unit": "of `value` and `u`",
            "value": ("see unit", "what was read; missing where nothing could be"),
            "u": ("see unit", "expanded uncertainty U for about 95 %; missing where nobody evaluated it"),
            "at_hz": ("Hz", "where it was found; missing where that says nothing"),
            "span_low_hz": ("Hz", "lower end of what was looked at"),
            "span_high_hz": ("Hz", "upper end of what was looked at"),
            "trace": "the pair of ports, e.g. TX-ANT",
            "note": "what else is to be known of it; otherwise empty",
            "claim": "whether `value` is the value itself or a bound of it, such as `at least`",
        },
    ),
    "decision": (
        "Each reading against each limit that it was held to.",
        {
            "run_id": _RUN,
            "position": _PLACE,
            "reading": "`position` of the reading within the same run",
            "level": "the customer's `specification`, or the tighter `works` limit",
            "limit_text": "the limit in words",
            "rule": "the decision rule in words",
            "outcome": "`pass`, `fail` or `undecided`",
            "margin": ("as the reading", "distance from the limit to its good side; missing without a value"),
            "lines": "the limit over frequency as drawn, JSON: lists of frequencies in Hz, values, and words",
        },
    ),
    "certificate": (
        "Certificates and failure sheets that were made.",
        {
            "id": "number of the row",
            "run_id": _RUN,
            "number": "of the document: serial, run, and which decision of a person",
            "kind": "`certificate` or `failure sheet`",
            "issued": "when",
            "sha256": "SHA-256 of the file's bytes",
            "file": "where it was put, within the works folder",
            "resolution": "`number` of the person's decision that it tells of; 0 for the measured verdict alone",
        },
    ),
    "resolution": (
        "What persons decided of undecided runs.",
        {
            "run_id": _RUN,
            "number": "1 for the first one of its run; the last one counts",
            "ruling": "`release` or `reject`",
            "person": "who decided",
            "made": "when",
            "why": "the reason given",
            "corrects": "`number` of the one that it corrects; missing for the first",
            "text": "the text that was signed",
            "signature": "detached signature over that text, CMS in DER; hexadecimal in CSV and JSON",
            "fingerprint": "SHA-256 of the signer's certificate",
        },
    ),
    "cable_event": (
        "Matings of cables and savers, and services that begin their count anew.",
        {
            "id": "number of the row",
            "station": "the test station",
            "cable": "which one, in the bench file's words",
            "made": "when",
            "matings": "so many more; 0 for a service",
            "person": "who serviced it; otherwise empty",
            "why": "what was done; otherwise empty",
        },
    ),
    "standard_reset": (
        "From when on a check standard counts as another one, having been serviced or certified anew.",
        {
            "id": "number of the row",
            "unit_id": "the check standard, `id` of table unit",
            "made": "when",
            "person": "who said so",
            "why": "the reason given",
        },
    ),
    "person_event": (
        "What was recorded of the works' people; all of it together tells who somebody is now.",
        {
            "id": "number of the row",
            "name_key": "the name in one case, by which people are told apart",
            "number": "1 for the first one of its person",
            "name": "of whom",
            "change": "`added`, `changed`, `pin set` or `retired`",
            "roles": "from then on, where somebody was added or changed; with spaces between",
            "badge": "from then on, where somebody was added or changed; empty for none",
            "secret_sha256": "SHA-256 of the hash of the PIN, which is in no export; missing where none was set",
            "person": "who recorded it",
            "made": "when",
        },
    ),
    "act": (
        "What people asked to do, and what they were told.",
        {
            "id": "number of the row",
            "name_key": "the name in one case, by which people are told apart",
            "name": "who asked",
            "act": "what for; missing where somebody only gave a name",
            "about": "which unit, order or person it is about",
            "made": "when",
            "answer": "`allowed`, `no right`, or `wrong name or PIN`",
        },
    ),
    "ledger_entry": (
        "The ledger: one line for each record, in the order of entry, each chained to the one before.",
        {
            "station": "whose chain",
            "number": "1 for the first line of its station",
            "kind": "of record",
            "key": "how people know the record",
            "made": "when the line was entered",
            "late": "why it was not entered together with its record; empty for nearly all",
            "content": "SHA-256 of what the record says, as JSON by RFC 8785",
            "link": "SHA-256 of the link before and of this line",
            "row": "the key of the record's first row in the works' database, as JSON; no part of the chain",
        },
    ),
    "ledger_aside": (
        "In the database of a works with many stations: records that were carried there and not put in, because "
        "another one had their name.",
        {
            "station": "whose line",
            "number": "of that line",
            "why": "what stood against it",
            "content": "what the record says, as JSON",
        },
    ),
    "ledger_head": (
        "Places in the ledger that the works signed: what stands up to there is as it was then.",
        {
            "station": "whose chain",
            "number": "of the line",
            "link": "of that line",
            "made": "when it was signed",
            "signature": "detached CMS (RFC 5652) over station, number, link, time and key, DER",
            "fingerprint": "SHA-256 of the signer's certificate",
        },
    ),
    "approval": (
        "Which recipes and limit tables production may run by; of each kind and name the last one counts.",
        {
            "id": "number of the row",
            "kind": "`recipe` or `limit table`",
            "name": "as the file calls it",
            "number": "1 for the first one of its kind and name",
            "digest": "the text as it was approved, `digest` of table document",
            "person": "who approved it",
            "made": "when",
            "why": "why, as it was said; may be empty",
        },
    ),
    "disposition": (
        "What persons decided about units, beside all that was measured of them.",
        {
            "id": "number of the row",
            "unit_id": "the unit, `id` of table unit",
            "number": "1 for the first one of its unit",
            "fate": "`release`, `rework` or `scrap`",
            "person": "who decided",
            "made": "when",
            "why": "the reason; of a rework what was done",
            "after_run": "the number of the unit's latest run by then; 0 where there was none",
            "corrects": "the number of an earlier one that was a mistake and counts no more",
        },
    ),
}
"""Of each table what it holds, and its columns."""

"""How a fault of an instrument is told: in few words in its message, whole in what it carries.

An order is often twenty commands in one message, and an answer may be thousands of bytes; neither may hide what
went wrong.
"""

from __future__ import annotations

from station.errors import InstrumentFault
from station.instruments.block import split_answers

ANSWER_SHOWN, COMMAND_SHOWN = 40, 60
"""Characters of them in a message."""


def fault_of(
    kind: type[InstrumentFault],
    what: str,
    *,
    instrument: str,
    command: str = "",
    answer: str = "",
    brief_answer: str = "",
    error_query: str = "",
) -> InstrumentFault:
    """A fault whose message is short and whose `command` and `answer` are whole.

    `command` may be several joined by ';'; `brief_answer` is what to tell of the answer instead of its beginning;
    `error_query` goes with every order and is not counted.
    """
    told = brief_answer or cut(answer, ANSWER_SHOWN)
    order = brief_order(command, answer, error_query)
    fault = kind(what, instrument=instrument, command=order, answer=told)
    fault.command, fault.answer = command, answer
    return fault


def brief_order(command: str, answer: str = "", error_query: str = "") -> str:
    """Of several commands the one that matters, and how many went with it.

    That is the one the answer names, else the last that sets or starts something and the last question.
    """
    every = [part.removeprefix(":") for part in split_answers(command)]
    parts = [part for part in every if part and part != error_query] or every
    headers = {part: part.partition(" ")[0] for part in parts}
    named = [part for part in parts if headers[part] and headers[part] in answer]
    deeds = [part for part in parts if not headers[part].endswith("?")]
    questions = [part for part in parts if headers[part].endswith("?")]
    matter = [max(named, key=len)] if named else deeds[-1:] + questions[-1:]
    shown = ", ".join(cut(part, COMMAND_SHOWN // len(matter)) for part in matter)
    others = len(parts) - len(matter)
    return f"{shown} (and {others} with it)" if others else shown


def cut(text: str, most: int) -> str:
    """At most so many characters, and dots where there were more."""
    return text if len(text) <= most else f"{text[:most]}..."

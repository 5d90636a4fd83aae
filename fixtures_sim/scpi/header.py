"""Command headers: patterns as the standard prints them, and the tree that finds what a client typed.

A pattern reads `[SENSe]:FREQuency:STARt?`: upper case is the short form, brackets may be left out, `#` after
a mnemonic allows a numeric suffix, a trailing `?` makes it a query. Rules: SCPI-1999 volume 1, chapter 6.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from fixtures_sim.scpi.errors import ScpiError

T = TypeVar("T")
MOST_LETTERS = 12
"""Of one mnemonic, IEEE 488.2-1992 section 7.6.1."""

_PART = re.compile(r"(\[?):?([A-Za-z]+)(#?):?\]?")
_DIGITS = re.compile(r"(.*?\D)(\d+)$")


def short_form(mnemonic: str) -> str:
    """`FREQuency` -> `FREQ`."""
    return "".join(letter for letter in mnemonic if not letter.islower())


@dataclass(slots=True, eq=False)
class _Node(Generic[T]):
    numbered: bool = False
    children: dict[str, _Node[T]] = field(default_factory=dict)
    values: dict[bool, T] = field(default_factory=dict)

    def child(self, mnemonic: str, numbered: bool) -> _Node[T]:
        long, short = mnemonic.upper(), short_form(mnemonic)
        node = self.children.get(long)
        if node is None:
            node = _Node(numbered)
            self.children[long] = self.children[short] = node
        return node


class CommandTree(Generic[T]):
    """Every header an instrument knows, each with what belongs to it."""

    def __init__(self) -> None:
        self._root: _Node[T] = _Node()
        self._common: dict[str, T] = {}

    def add(self, pattern: str, value: T) -> None:
        """Let `pattern` stand for `value`."""
        if pattern.startswith("*"):
            self._common[pattern.upper()] = value
            return
        ends = [self._root]
        for bracket, mnemonic, number in _PART.findall(pattern):
            deeper = [node.child(mnemonic, number == "#") for node in ends]
            ends = ends + deeper if bracket else deeper
        for node in ends:
            node.values[pattern.endswith("?")] = value

    def find(self, header: str) -> tuple[T, tuple[int, ...]]:
        """What an absolute header (or common command) stands for, and its numeric suffixes, 1 where left out.

        Raises ScpiError: -113 for a header nobody knows, -112 for a mnemonic longer than 12 letters.
        """
        if header.startswith("*"):
            if header.upper() in self._common:
                return self._common[header.upper()], ()
            raise ScpiError(-113)
        query = header.endswith("?")
        node, suffixes = self._root, []
        for mnemonic in header.removesuffix("?").removeprefix(":").upper().split(":"):
            node, suffix = _step(node, mnemonic)
            if node.numbered:
                suffixes.append(suffix)
        if query not in node.values:
            raise ScpiError(-113)
        return node.values[query], tuple(suffixes)


def _step(node: _Node[T], mnemonic: str) -> tuple[_Node[T], int]:
    if len(mnemonic) > MOST_LETTERS:
        raise ScpiError(-112)
    if mnemonic in node.children:
        return node.children[mnemonic], 1
    match = _DIGITS.match(mnemonic)
    child = node.children.get(match[1]) if match else None
    if match is None or child is None or not child.numbered:
        raise ScpiError(-113)
    return child, int(match[2])

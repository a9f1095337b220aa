"""Lines of a word-address program (ISO 6983-1, RS-274-D) as words; variables and expressions where they occur."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field

WORD = re.compile(r"([A-Z])\s*([+-]?(?:\d+\.?\d*|\.\d+))")
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
WORDS = re.compile(rf"(?:[A-Z]\s*{_NUMBER}\s*)+")
STRAIGHT = re.compile(
    rf"(?:N\d+\s*)?(?:G0?([01])\s*)?(?:X({_NUMBER})\s*)?(?:Y({_NUMBER})\s*)?(?:Z({_NUMBER})\s*)?(?:F({_NUMBER}))?\s*"
)
COMMENT = re.compile(r"\([^()]*\)|;.*")
_GAP = re.compile(r"(?<=[\d.])\s+(?=[\d.])")
_LABEL = re.compile(
    r"\s*O\s*(?:(\d+)|<([^>]+)>)\s*(SUB|ENDSUB|CALL|IF|ELSEIF|ELSE|ENDIF|WHILE|ENDWHILE|DO|REPEAT|ENDREPEAT|RETURN)?\b(.*)"
)
_TOKEN = re.compile(r"\s*(\*\*|\d+\.?\d*|\.\d+|#<[^>]+>|#|\[|\]|[A-Z]+|[-+*/,])")


class NotUnderstood(Exception):
    """A line, or a part of it, that the reader can't give a meaning; the message says which."""


class ControlVariable(NotUnderstood):
    """A variable that only the control knows: a tool's length, a probed position, its own state."""


FIRST_KEPT, FIRST_OF_CONTROL = 500, 1000
"""Numbered variables from here on a control keeps from run to run (from memory, unconfirmed), and belong to it."""


@dataclass
class Variables:
    """Numbered and named variables of a program. A variable that was never set is an error, not zero."""

    values: dict[str, float] = field(default_factory=dict)

    def get(self, name: str) -> float:
        if name not in self.values:
            if name.isdigit() and int(name) >= FIRST_OF_CONTROL:
                raise ControlVariable(f"asks the control's variable #{name}")
            if name.isdigit() and int(name) >= FIRST_KEPT:
                raise ControlVariable(f"asks variable #{name}, which only an earlier run can have set")
            raise NotUnderstood(f"variable #{name} has no value in this program")
        return self.values[name]


def bare(line: str) -> str:
    """`line` in capitals without comments; a program number after a colon (ISO 6983-1, 6.1) as one after O."""
    text = COMMENT.sub(" ", line.upper()).strip() if "(" in line or ";" in line else line.upper().strip()
    return f"O{text[1:]}" if text[:1] == ":" else text


def label(line: str) -> tuple[str, str, str] | None:
    """(name, keyword, rest) of an O line in capitals without comments; None where it is none."""
    found = _LABEL.fullmatch(line)
    if not found:
        return None
    name = found[1].lstrip("0") or "0" if found[1] else found[2].strip()
    return name, found[3] or "", found[4].strip()


def words_of(line: str, variables: Variables) -> list[tuple[str, float]]:
    """Words of a bare line with variables and expressions worked out; assignments are carried out afterwards."""
    if WORDS.fullmatch(line):
        return [(letter, float(number)) for letter, number in WORD.findall(line)]
    text = _Text(_GAP.sub("", line), variables)  # spaces within a number mean nothing (RS-274/NGC)
    words: list[tuple[str, float]] = []
    sets: list[tuple[str, float]] = []
    while not text.done:
        if text.peek.startswith("#"):
            name = text.variable_name()
            text.expect("=")
            sets.append((name, text.expression()))
        elif len(text.peek) == 1 and text.peek.isalpha():
            words.append((text.take(), text.signed()))
        else:
            raise NotUnderstood(f"{text.peek!r} is no word (a letter and a number)")
    for name, value in sets:
        variables.values[name] = value
    return words


def expression(text: str, variables: Variables) -> float:
    """Value of an expression such as `[#1 + 2] GT 3`."""
    reader = _Text(text, variables)
    value = reader.expression()
    if not reader.done:
        raise NotUnderstood(f"{reader.peek!r} after an expression")
    return value


_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "SIN": lambda x: math.sin(math.radians(x)),
    "COS": lambda x: math.cos(math.radians(x)),
    "TAN": lambda x: math.tan(math.radians(x)),
    "ASIN": lambda x: math.degrees(math.asin(x)),
    "ACOS": lambda x: math.degrees(math.acos(x)),
    "SQRT": math.sqrt,
    "ROUND": lambda x: float(math.floor(x + 0.5)),
    "FIX": lambda x: float(math.floor(x)),
    "FUP": lambda x: float(math.ceil(x)),
    "EXP": math.exp,
    "LN": math.log,
}
_BINARY: tuple[dict[str, Callable[[float, float], float]], ...] = (
    {
        "AND": lambda a, b: float(bool(a) and bool(b)),
        "OR": lambda a, b: float(bool(a) or bool(b)),
        "XOR": lambda a, b: float(bool(a) != bool(b)),
    },
    {
        "EQ": lambda a, b: float(a == b),
        "NE": lambda a, b: float(a != b),
        "GT": lambda a, b: float(a > b),
        "GE": lambda a, b: float(a >= b),
        "LT": lambda a, b: float(a < b),
        "LE": lambda a, b: float(a <= b),
    },
    {"+": lambda a, b: a + b, "-": lambda a, b: a - b},
    {"*": lambda a, b: a * b, "/": lambda a, b: a / b, "MOD": math.fmod},
    {"**": lambda a, b: a**b},
)


class _Text:
    """A cursor over the tokens of one line."""

    def __init__(self, line: str, variables: Variables) -> None:
        self.variables = variables
        self.tokens: list[str] = []
        at = 0
        spaced = line.replace("=", " = ")
        while at < len(spaced.rstrip()):
            found = _TOKEN.match(spaced, at)
            if found:
                self.tokens.extend(self._split(found[1]))
                at = found.end()
            elif spaced[at:].lstrip().startswith("="):
                self.tokens.append("=")
                at = spaced.index("=", at) + 1
            else:
                raise NotUnderstood(f"{spaced[at:].strip()[:12]!r} can't be read")
        self.at = 0

    @staticmethod
    def _split(token: str) -> list[str]:
        """Letters that run together: a function or an operator stays whole, else one word letter each."""
        known = token in _FUNCTIONS or any(token in level for level in _BINARY) or token == "ATAN"
        return [token] if known or not token.isalpha() else list(token)

    @property
    def done(self) -> bool:
        return self.at >= len(self.tokens)

    @property
    def peek(self) -> str:
        return "" if self.done else self.tokens[self.at]

    def take(self) -> str:
        token = self.peek
        self.at += 1
        return token

    def expect(self, token: str) -> None:
        if self.take() != token:
            raise NotUnderstood(f"{token!r} is missing")

    def variable_name(self) -> str:
        token = self.take()
        if token != "#":
            return token[2:-1].strip()
        return f"{self.signed():g}"

    def signed(self) -> float:
        """A number, a variable or a bracket, with signs before it."""
        token = self.take()
        if token in ("-", "+"):
            return -self.signed() if token == "-" else self.signed()
        if token == "[":
            value = self.expression()
            self.expect("]")
            return value
        if token.startswith("#"):
            self.at -= 1
            return self.variables.get(self.variable_name())
        if token == "ATAN":
            rise = self.signed()
            if self.peek == "/":
                self.take()
                return math.degrees(math.atan2(rise, self.signed()))
            return math.degrees(math.atan(rise))
        try:
            if token in _FUNCTIONS:
                return _FUNCTIONS[token](self.signed())
            return float(token)
        except ValueError as error:
            raise NotUnderstood(f"{token or 'nothing'!r} where a number is needed") from error

    def expression(self, level: int = 0) -> float:
        """Operators from the loosest (AND, OR) to the tightest (**), each from left to right."""
        if level == len(_BINARY):
            return self.signed()
        value = self.expression(level + 1)
        while self.peek in _BINARY[level]:
            operator = self.take()
            try:
                value = _BINARY[level][operator](value, self.expression(level + 1))
            except (ZeroDivisionError, ValueError, OverflowError) as error:
                raise NotUnderstood(f"{operator} can't be worked out: {error}") from error
        return value

"""Conversion formulas of one variable, read by a small grammar and computed on whole arrays.

    sum     = product (("+" | "-") product)*
    product = sign (("*" | "/") sign)*
    sign    = ("+" | "-")* power
    power   = atom ("^" sign)?
    atom    = number | X1 | name "(" sum ("," sum)* ")" | "(" sum ")"

Nothing else is accepted and no text is ever executed as code.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.errors import BadInput

Array = NDArray[np.float64]
Node = Callable[[Array], Array]

_TOKEN = re.compile(r"\s*(?:(\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?)|([A-Za-z_]\w*)|([-+*/^(),]))")
_DEPTH = 50
_LENGTH = 300
_ONE: dict[str, Any] = {
    "abs": np.abs,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "ln": np.log,
    "log": np.log10,
    "log10": np.log10,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "arcsin": np.arcsin,
    "arccos": np.arccos,
    "arctan": np.arctan,
    "sinh": np.sinh,
    "cosh": np.cosh,
    "tanh": np.tanh,
}
_TWO: dict[str, Any] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "^": np.power,
    "pow": np.power,
}
_VARIABLES = frozenset({"X1", "X", "x1", "x"})


@lru_cache(maxsize=1024)
def compile_formula(text: str) -> Node:
    """A function from array to array for a formula in X1; BadInput says what in the text is not understood.

    >>> compile_formula("X1*0.5+3")(np.array([101.0]))
    array([53.5])
    """
    return _Parser(text).whole()


class _Parser:
    def __init__(self, text: str) -> None:
        self.text, self.at, self.depth = text, 0, 0
        self.tokens: list[tuple[str, str]] = []
        at = 0
        while text[at:].strip():
            match = _TOKEN.match(text, at)
            if match is None:
                raise self.bad(text[at:].strip()[:1])
            number, name, sign = match.groups()
            self.tokens.append(("number", number) if number else ("name", name) if name else ("sign", sign))
            at = match.end()
            if len(self.tokens) > _LENGTH:
                raise BadInput(f"The formula {text[:80]!r} is too long to be read.")

    def bad(self, what: str) -> BadInput:
        return BadInput(
            f"The formula {self.text[:80]!r} is not understood at {what!r}; it may use X1, numbers, "
            "+ - * / ^, brackets and the usual functions."
        )

    def peek(self) -> str:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else "its end"

    def take(self, *wanted: str) -> str | None:
        if self.at < len(self.tokens) and self.tokens[self.at][1] in wanted:
            self.at += 1
            return self.tokens[self.at - 1][1]
        return None

    def whole(self) -> Node:
        node = self.sum()
        if self.at < len(self.tokens):
            raise self.bad(self.peek())
        return node

    def sum(self) -> Node:
        self.depth += 1
        if self.depth > _DEPTH:
            raise self.bad(self.peek())
        node = self.product()
        while sign := self.take("+", "-"):
            node = _binary(_TWO[sign], node, self.product())
        self.depth -= 1
        return node

    def product(self) -> Node:
        node = self.sign()
        while sign := self.take("*", "/"):
            node = _binary(_TWO[sign], node, self.sign())
        return node

    def sign(self) -> Node:
        negative = False
        while sign := self.take("+", "-"):
            negative ^= sign == "-"
        node = self.power()
        return _unary(np.negative, node) if negative else node

    def power(self) -> Node:
        node = self.atom()
        if not self.take("^"):
            return node
        self.depth += 1
        if self.depth > _DEPTH:
            raise self.bad(self.peek())
        node = _binary(np.power, node, self.sign())
        self.depth -= 1
        return node

    def atom(self) -> Node:
        if self.take("("):
            node = self.sum()
            self.close()
            return node
        if self.at == len(self.tokens):
            raise self.bad(self.peek())
        kind, text = self.tokens[self.at]
        self.at += 1
        if kind == "number":
            return _constant(float(text))
        if text in _VARIABLES:
            return _argument
        return self.call(text)

    def call(self, name: str) -> Node:
        if (name not in _ONE and name != "pow") or not self.take("("):
            raise self.bad(name)
        first = self.sum()
        if name in _ONE:
            self.close()
            return _unary(_ONE[name], first)
        if not self.take(","):
            raise self.bad(self.peek())
        second = self.sum()
        self.close()
        return _binary(np.power, first, second)

    def close(self) -> None:
        if not self.take(")"):
            raise self.bad(self.peek())


def _argument(x: Array) -> Array:
    return x


def _constant(value: float) -> Node:
    return lambda x: np.full(x.shape, value)


def _unary(function: Any, inner: Node) -> Node:
    return lambda x: function(inner(x))


def _binary(function: Any, left: Node, right: Node) -> Node:
    return lambda x: function(left(x), right(x))

"""The grammar of amounts: text to phrases, before any phrase has been given a meaning.

The grammar stands in amount.lark; this module builds its LALR parser once, and turns its trees into the
few dataclasses below. Positions count characters of the text as it was written.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any, Literal

from lark import Lark, Token, Transformer, UnexpectedCharacters, UnexpectedToken, v_args
from lark.exceptions import VisitError

from underlid.quantity.amount import AmountError
from underlid.quantity.mistake import LONGEST, plain, word_at

Mark = Literal[
    "", "about", "exactly", "just above", "just under", "at least", "at most", "over", "under", "nothing",
    "not noted",
]  # fmt: skip

EXAMPLES = "Write for example '6 C', '6 to 7 C', 'about 6 C', 'at least 25' or 'not noted'."
_EXAMPLE_OF = {
    "degC": ("6", "7", " C"),
    "L": ("10", "12", " L"),
    "kg": ("150", "200", " g"),
    "m": ("20", "25", " cm"),
    "pH": ("6.5", "7", ""),
    "%": ("70", "75", " %"),
    "mS/cm": ("1.2", "1.5", " mS/cm"),
    "1": ("25", "30", ""),
}

_MARKS: dict[str, Mark] = {
    "ABOUT": "about",
    "ISH": "about",
    "EXACTLY": "exactly",
    "JUST_ABOVE": "just above",
    "JUST_UNDER": "just under",
    "AT_LEAST": "at least",
    "PLUS": "at least",
    "OR_MORE": "at least",
    "AT_MOST": "at most",
    "OR_LESS": "at most",
    "OVER": "over",
    "UNDER": "under",
}
_SMALL = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
]  # fmt: skip
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
NUMBER_WORDS = {word: n for n, word in enumerate(_SMALL)} | {w: 10 * n for n, w in enumerate(_TENS, 2)}
_SCALES = {"dozen": 12, "hundred": 100, "thousand": 1000}
_SOME = {"few": (3, 5), "several": (4, 8), "couple": (2, 3)}


@dataclass(frozen=True, slots=True)
class Number:
    """A number from `low` to `high` (the same unless vague, as "a few"), read to `step` (its last digit)."""

    low: Fraction
    high: Fraction
    step: Fraction
    at: int
    vague: bool = False
    open: bool = False  # "dozens": low or more


@dataclass(frozen=True, slots=True)
class Quantity:
    """Numbers with their units as written, one or (as "1 lb 4 oz") two; `unit` "" is none written."""

    parts: tuple[tuple[Number, str], ...]
    mark: Mark
    at: int
    unit_at: int


@dataclass(frozen=True, slots=True)
class Phrase:
    """One or two quantities (from, to) under a mark, or neither for "none" and "not noted"."""

    mark: Mark
    quantities: tuple[Quantity, ...]
    unit: str = ""
    at: int = 0


def examples(expect: str | None) -> str:
    """How to write an amount in the canonical unit that is expected, or in any."""
    if expect is None:
        return EXAMPLES
    one, other, unit = _EXAMPLE_OF[expect]
    return f"Write for example '{one}{unit}', '{one} to {other}{unit}', 'about {one}{unit}' or 'not noted'."


def read(text: str, expect: str | None = None) -> tuple[Phrase, ...]:
    """One phrase, or two that name the same amount twice, as "43 F / 6 C"; `expect` serves a mistake's mend."""
    return _parse(text, "start", examples(expect))  # type: ignore[no-any-return]


def read_size(text: str) -> tuple[Phrase, ...]:
    """Length, width and height."""
    return _parse(text, "size", "Write length by width by height, as '17 x 12 x 11 in'.")  # type: ignore[no-any-return]


@cache
def _parser() -> Lark:
    return Lark.open("amount.lark", rel_to=__file__, parser="lalr", start=["start", "size"], maybe_placeholders=False)


@lru_cache(maxsize=4096)  # the same few words come up again and again; what they mean cannot be changed
def _parse(text: str, start: str, mend: str) -> Any:
    if len(text) > LONGEST:
        raise AmountError(f"that is {len(text)} characters, more than an amount needs", text, LONGEST, mend)
    if not text.strip():
        raise AmountError("there is nothing written", text, 0, mend)
    try:
        return _Reader(text).transform(_parser().parse(plain(text), start=start))
    except UnexpectedCharacters as error:
        at = error.pos_in_stream or 0
        raise AmountError(f"'{word_at(text, at)}' has no place in an amount", text, at, mend) from None
    except UnexpectedToken as error:
        raise _unexpected(text, error.token, mend) from None
    except VisitError as error:
        if isinstance(error.orig_exc, AmountError):
            raise error.orig_exc from None
        raise


def _unexpected(text: str, token: Token, mend: str) -> AmountError:
    at = token.start_pos
    if token.type == "$END" or at is None:
        return AmountError("something is missing at the end", text, len(text.rstrip()), mend)
    return AmountError(f"'{text[at : at + len(token)].strip()}' was not expected here", text, at, mend)


@v_args(inline=True)
class _Reader(Transformer[Token, Any]):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def pair(self, first: Phrase, second: Phrase) -> tuple[Phrase, ...]:
        return first, second

    def single(self, phrase: Phrase) -> tuple[Phrase, ...]:
        return (phrase,)

    def size(self, *parts: Token | Quantity) -> tuple[Phrase, ...]:
        mark: Mark = "about" if isinstance(parts[0], Token) else ""  # of all three sides
        return tuple(Phrase(mark, (side,), at=side.at) for side in parts if isinstance(side, Quantity))

    def phrase(self, *parts: Any) -> Phrase:
        if isinstance(parts[0], Phrase):
            return parts[0]
        quantities = tuple(p for p in parts if isinstance(p, Quantity))
        return Phrase("", quantities, at=quantities[0].at)

    def ph_marked(self, _ph: Token, marked: Phrase) -> Phrase:
        def with_ph(q: Quantity) -> Quantity:
            return replace(q, parts=tuple((n, unit or "ph") for n, unit in q.parts))

        return replace(marked, quantities=tuple(map(with_ph, marked.quantities)), unit=marked.unit or "ph")

    def marked(self, before: Token, *parts: Any) -> Phrase:
        quantities = tuple(p for p in parts if isinstance(p, Quantity))
        return Phrase(_MARKS[before.type], quantities, at=before.start_pos or 0)

    def between(self, _between: Token, low: Quantity, _and: Token, high: Quantity) -> Phrase:
        return Phrase("", (low, high), at=low.at)

    def nothing(self, word: Token, unit: tuple[str, int] = ("", 0)) -> Phrase:
        return Phrase("nothing", (), unit[0], at=word.start_pos or 0)

    def not_noted(self, word: Token, unit: tuple[str, int] = ("", 0)) -> Phrase:
        return Phrase("not noted", (), unit[0], at=word.start_pos or 0)

    def before(self, token: Token) -> Token:
        return token

    def after(self, token: Token) -> Token:
        return token

    def sign(self, token: Token) -> Token:
        return token

    def unit(self, *words: Token) -> tuple[str, int]:
        return " ".join(words), words[0].start_pos or 0

    def quantity(self, *parts: Any) -> Quantity:
        number = next(p for p in parts if isinstance(p, Number))
        unit, unit_at = next((p for p in parts if isinstance(p, tuple)), ("", number.at))
        mark: Mark = ""
        for part in parts:
            if not isinstance(part, Token):
                continue
            if part.type == "PH":
                if unit not in ("", "ph"):
                    raise AmountError(f"pH has no unit '{unit}'", self.text, unit_at, "Write 'pH 6.5'.")
                unit = "ph"
            elif part.type in ("DASH", "MINUS"):
                number = _negative(number)
            elif part.type != "PLUS" or (part.start_pos or 0) > number.at:
                mark = _MARKS[part.type]
        return Quantity(((number, unit),), mark, number.at, unit_at)

    def freezing(self, token: Token) -> Quantity:
        at = token.start_pos or 0
        return Quantity(((_exact(0, token), "c"),), "", at, at)

    def compound(self, *parts: Any) -> Quantity:
        numbers = [p for p in parts if isinstance(p, Number)]
        units = [p for p in parts if isinstance(p, tuple)]
        pair = [unit.rstrip(".s") for unit, _ in units]
        if pair not in (["lb", "oz"], ["pound", "ounce"], ["ft", "in"], ["foot", "inche"], ["'", '"']):
            mend = "Put a comma between them, or write one of them only."
            raise AmountError("two amounts stand side by side", self.text, numbers[1].at, mend)
        mark: Mark = ""
        for token in (p for p in parts if isinstance(p, Token)):
            if token.type in ("DASH", "MINUS"):
                numbers = [_negative(n) for n in numbers]
            elif token.type != "PLUS" or (token.start_pos or 0) > numbers[0].at:
                mark = _MARKS[token.type]
        both = tuple((n, unit) for n, (unit, _) in zip(numbers, units, strict=True))
        return Quantity(both, mark, numbers[0].at, units[0][1])

    def digits(self, token: Token) -> Number:
        whole, _, decimals = token.partition(",")
        if len(decimals) == 3 and whole != "0":
            what = f"'{token}' may be {whole}{decimals} or {whole}.{decimals}"
            raise AmountError(what, self.text, token.start_pos or 0, "Write it without the comma.")
        mantissa, _, exponent = token.replace(",", ".").partition("e")
        places = len(mantissa.partition(".")[2])
        step = Fraction(10) ** (int(exponent or 0) - places)
        value = Fraction(token.replace(",", "."))
        return Number(value, value, step, token.start_pos or 0)

    def fraction(self, token: Token) -> Number:
        above, _, below = token.partition("/")
        value = Fraction(int(above), int(below)) if below else _glyph(token)
        return Number(value, value, Fraction(1, value.denominator), token.start_pos or 0)

    def mixed(self, whole: Token, part: Token) -> Number:
        number, fraction = self.digits(whole), self.fraction(part)
        if number.step != 1:
            raise AmountError("a decimal and a fraction do not mix", self.text, number.at, "Write one of them.")
        value = number.low + fraction.low
        return replace(fraction, low=value, high=value, at=number.at)

    def word(self, token: Token) -> Number:
        return _exact(sum(NUMBER_WORDS[w] for w in token.replace("-", " ").split()), token)

    def and_a_half(self, token: Token, _half: Token) -> Number:
        number = self.digits(token) if token.type == "NUMBER" else self.word(token)
        value = number.low + Fraction(1, 2)
        return replace(number, low=value, high=value, step=Fraction(1, 2))

    def one(self, token: Token) -> Number:
        return _exact(1, token)

    def fraction_word(self, token: Token) -> Number:
        above = 3 if "three" in token else 2 if "two" in token else 1
        below = 4 if "quarter" in token else 3 if "third" in token else 2
        value = Fraction(above, below)
        return Number(value, value, Fraction(1, below), token.start_pos or 0)

    def some(self, token: Token) -> Number:
        low, high = next(span for word, span in _SOME.items() if word in token)
        return Number(Fraction(low), Fraction(high), Fraction(1), token.start_pos or 0, vague=True)

    def scaled(self, *tokens: Token) -> Number:
        *count, scale = tokens
        name = scale.split()[0]
        if not count:
            return _exact(_SCALES[name], scale)
        first = count[0]
        if first.type == "COUPLE" and name == "dozen":
            # Said of some twenty-odd to thirty, seldom of as many as three full dozen.
            return Number(Fraction(20), Fraction(30), Fraction(1), first.start_pos or 0, vague=True)
        readers = {"NUMBER": self.digits, "NUMBER_WORD": self.word, "A": self.one}
        number = readers.get(first.type, self.fraction_word if first.type == "FRACTION_WORD" else self.some)(first)
        times = _SCALES[name]
        return replace(number, low=number.low * times, high=number.high * times, step=Fraction(1))

    def scales(self, token: Token) -> Number:
        low = Fraction(2 * _SCALES[token.split()[0].removesuffix("s")])
        return Number(low, low, Fraction(1), token.start_pos or 0, open=True)


def _exact(value: int, token: Token) -> Number:
    return Number(Fraction(value), Fraction(value), Fraction(1), token.start_pos or 0)


def _glyph(token: Token) -> Fraction:
    return Fraction(unicodedata.numeric(token)).limit_denominator(8)


def _negative(number: Number) -> Number:
    return replace(number, low=-number.high, high=-number.low)

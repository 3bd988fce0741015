"""What a phrase for an amount means: from numbers with units and marks to an interval with a kind.

The conventions. Those marked *ours* are this program's own, chosen for keepers; the others are common
practice without a source we can name.

* A plain number is *exact to the instrument*: half of the last digit written each way, in the unit written,
  then converted. "6 C" is 5.5 to 6.5 °C and "43 F" is 5.83 to 6.39 °C. (Common practice.) A fraction counts
  as the last digit: "1 ½ L" is read to the half litre, so 1.25 to 1.75 L. (Ours.)
* A plain whole number of animals or pieces is that number and no other.
* A range, "6 to 7 C", has the two numbers as its bounds, no wider: *between*.
* *About* holds the true value with 90 %: 1.5 °C (2.5 °F) each way for a temperature, 0.5 for a pH, 20 % for
  anything else but never less than one unit of the last digit. "About 4 to 6" has those very bounds. (Ours.)
* "Just above 1" runs from 1 to one unit of the last digit more; "just under" mirrors it. (Ours.)
* "More than 25" animals begins at 26, "over 25 L" at 25 L; an open side is infinite.
* "A couple" is 2 to 3, "a few" 3 to 5, "several" 4 to 8, "a couple of dozen" 20 to 30, "dozens" at least 24:
  all *about*, save the last. (Ours.)
* A container filled by eye is 20 % each way beyond what the container is known to hold: *about*. (Ours.)
* Two units, "43 F / 6 C", are one thermometer read twice: the intersection. If their rounding does not
  overlap the whole hull is kept, *between*, and flagged with both conversions. (Ours.)
* Intervals stop at what can be: no negative volume, no pH beyond 14. A value beyond it is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from underlid.quantity import units
from underlid.quantity.amount import AmountError, Kind, VagueAmount, VagueSize
from underlid.quantity.bounds import Bound, Measured, one_number, two_numbers, within
from underlid.quantity.phrase import Mark, Phrase, Quantity, examples
from underlid.quantity.units import DEGREES, FAHRENHEIT, UNIT_OF, Unit

BY_EYE = Fraction(1, 5)  # how far a filled container may be from full
MAYBE_FAHRENHEIT = 30  # a temperature without a letter from here on may have been meant in °F
COLDEST, HOTTEST = -40, 90  # °C; beyond this it is a slip of the pen (our judgement)
LARGEST = 10**15


@dataclass(frozen=True, slots=True)
class _Span:
    low: Bound
    high: Bound
    kind: Kind
    unit: str
    measured: tuple[Measured, ...]
    flags: tuple[str, ...]

    @property
    def loose(self) -> tuple[Fraction, Fraction]:
        """The numbers as written, each with its rounding."""
        first, last = self.measured[0], self.measured[-1]
        lows = [m.low - m.step / 2 for m in (first, last)]
        highs = [m.high + m.step / 2 for m in (first, last)]
        return min(lows), max(highs)


def amount_of(
    phrases: tuple[Phrase, ...], text: str, expect: str | None, containers: Mapping[str, VagueAmount], unit: str = ""
) -> VagueAmount:
    """The amount that one phrase, or two for the same thing, stand for; `unit` serves numbers without one."""
    means = _Means(text, expect, containers, unit.lower())
    if len(phrases) == 1:
        return means.vague_amount(means.span(phrases[0]))
    return means.vague_amount(means.twice(*phrases))


def size_of(sides: tuple[Phrase, ...], text: str) -> VagueSize:
    """Length, width and height, where a unit written once, last, holds for all."""
    last = sides[-1].quantities[0].parts[-1][1]
    means = _Means(text, "m", {}, last)
    if not last:
        raise AmountError("the sides have no unit", text, len(text), "Write it last, as '17 x 12 x 11 in'.")
    spans = [means.span(side) for side in sides]
    for span in spans:
        if span.measured[0].low <= 0 or span.low is None or span.high is None:
            raise AmountError("a side needs a size", text, span.measured[0].at, "Write all three sides.")
    length, width, height = (means.vague_amount(span) for span in spans)
    flags = tuple(dict.fromkeys(flag for span in spans for flag in span.flags))
    return VagueSize(length, width, height, text, flags)


@dataclass(frozen=True, slots=True)
class _Means:
    text: str
    expect: str | None
    containers: Mapping[str, VagueAmount]
    unit: str  # the spelling taken where no unit is written

    def error(self, what: str, at: int, mend: str) -> AmountError:
        return AmountError(what, self.text, at, mend)

    def vague_amount(self, span: _Span) -> VagueAmount:
        low = float("-inf") if span.low is None else float(span.low)
        high = float("inf") if span.high is None else float(span.high)
        return VagueAmount(low, high, span.unit, span.kind, self.text, span.flags)

    def span(self, phrase: Phrase) -> _Span:
        if not phrase.quantities:
            return self._without_number(phrase)
        spellings = [q.parts[-1][1] for q in phrase.quantities]
        # In "6 to 7 C" and "43° to 45°F" the one unit holds for both numbers.
        # "Degrees" alone says so little that the unit of the reading before comes first.
        written = [s for s in spellings if s and units.find_unit(s) is not DEGREES]
        shared = written[-1] if written else self.unit or next((s for s in spellings if s), "")
        measured = tuple(self._measure(q, shared) for q in phrase.quantities)
        kinds = {m.unit.canonical for m in measured}
        if len(kinds) > 1:
            words = " and ".join(units.KIND_OF_UNIT[m.unit.canonical] for m in measured)
            raise self.error(f"{words} make no range", measured[1].at, "Write both in units of one kind.")
        mark = self._mark(phrase)
        flags = [flag for m in measured for flag in m.flags]
        if len(measured) == 2 and measured[0].low > measured[1].low:
            measured = measured[::-1]
            flags.append("the larger number came first; taken the other way round")
        bounds = one_number(mark, measured[0]) if len(measured) == 1 else two_numbers(mark, measured)
        if bounds is None:
            mend = "Write one number, or the range alone."
            raise self.error("a range already has both ends", phrase.at, mend)
        low, high, kind = bounds
        canonical = measured[0].unit.canonical
        low, high = within(canonical, low, high)
        if canonical == "degC":
            self._refuse_beyond(low, high, measured[0])
        return _Span(low, high, kind, canonical, measured, tuple(dict.fromkeys(flags)))

    def twice(self, first: Phrase, second: Phrase) -> _Span:
        """One amount written in two units: "43 F / 6 C"."""
        if first.mark and not second.mark:  # "about 43 F / 6 C" is about both
            second = Phrase(first.mark, second.quantities, second.unit, second.at)
        a, b = self.span(first), self.span(second)
        bare = any(not any(q.parts[-1][1] for q in phrase.quantities) for phrase in (first, second))
        if bare or a.measured[0].unit == b.measured[0].unit:
            mend = "Write a range as '6 to 7 C', one amount in two units as '43 F / 6 C'."
            raise self.error("these are two amounts", second.at, mend)
        if a.unit != b.unit:
            kinds = f"{units.KIND_OF_UNIT[a.unit]} and {units.KIND_OF_UNIT[b.unit]}"
            raise self.error(f"{kinds} are not one amount", second.at, "Write each by itself.")
        flags = a.flags + b.flags
        lows = [x for x in (a.low, b.low) if x is not None]
        highs = [x for x in (a.high, b.high) if x is not None]
        measured = a.measured + b.measured
        agree = max(a.loose[0], b.loose[0]) <= min(a.loose[1], b.loose[1])
        if not agree:
            flags += (_disagree(a, b),)
        if len(lows) < 2 or len(highs) < 2:  # one-sided: the looser of the two bounds
            low = min(lows) if len(lows) == 2 else None
            high = max(highs) if len(highs) == 2 else None
            if low is None and high is None:
                raise self.error("these contradict each other", second.at, "Write one of them.")
            return _Span(low, high, a.kind, a.unit, measured, flags)
        if agree and max(lows) <= min(highs):
            kind: Kind = a.kind if a.kind == b.kind else "between"
            return _Span(max(lows), min(highs), kind, a.unit, measured, flags)
        return _Span(min(lows), max(highs), "between", a.unit, measured, flags)

    def _without_number(self, phrase: Phrase) -> _Span:
        unit = self._unit(phrase.unit, phrase.at)
        canonical = unit.canonical if isinstance(unit, Unit) else unit.unit
        if phrase.mark == "not noted":
            return _Span(None, None, "not noted", canonical, (), ())
        if canonical in ("degC", "pH"):
            what = f"{units.KIND_OF_UNIT[canonical]} cannot be none"
            raise self.error(what, phrase.at, "Write 0 if it was 0, or 'not noted'.")
        return _Span(Fraction(0), Fraction(0), "exact", canonical, (), ())

    def _mark(self, phrase: Phrase) -> Mark:
        marks: set[Mark] = {mark for mark in (phrase.mark, *(q.mark for q in phrase.quantities)) if mark}
        if len(marks) > 1:
            what = f"'{' and '.join(sorted(marks))}' do not go together"
            raise self.error(what, phrase.at, "Keep one of them.")
        return marks.pop() if marks else ""

    def _unit(self, spelling: str, at: int) -> Unit | VagueAmount:
        if not spelling:
            if self.expect == "degC":
                return DEGREES
            return UNIT_OF[self.expect or "1"]
        own = {name.lower(): held for name, held in self.containers.items() if not units.is_unit(name)}
        plain = spelling.rstrip(".")
        held = next((own[s] for s in (plain, plain.removesuffix("s"), plain.removesuffix("es")) if s in own), None)
        unit: Unit | VagueAmount | None = held or units.find_unit(spelling)
        if unit is None:
            if not plain.isalpha() or self.expect not in (None, "L", "kg"):
                raise self.error(f"'{plain}' is no unit", at, examples(self.expect))
            mend = f'If that is a container of yours, say first what it holds: underlid container {plain} "0.2 L".'
            raise self.error(f"'{plain}' is no unit, and no container of that name is defined", at, mend)
        if held is not None and not 0 <= held.low <= held.high < LARGEST:
            raise self.error(
                f"what '{plain}' holds has no bounds", at, "Say it again with both, for example 0.2 L or 1 to 2 L."
            )
        canonical = unit.canonical if isinstance(unit, Unit) else unit.unit
        if self.expect is not None and canonical != self.expect:
            what = f"'{spelling}' makes {units.KIND_OF_UNIT[canonical]}, not {units.KIND_OF_UNIT[self.expect]}"
            raise self.error(what, at, examples(self.expect))
        return unit

    def _measure(self, quantity: Quantity, shared: str) -> Measured:
        if len(quantity.parts) == 2:
            return self._compound(quantity)
        number, spelling = quantity.parts[0]
        if not spelling or units.find_unit(spelling) is DEGREES:
            spelling = shared
        unit = self._unit(spelling, quantity.unit_at)
        if not -LARGEST <= number.low <= number.high <= LARGEST:
            raise self.error("that number is too large", quantity.at, "Check its digits.")
        if isinstance(unit, VagueAmount):
            low = number.low * Fraction(unit.low) * (1 - BY_EYE)
            high = number.high * Fraction(unit.high) * (1 + BY_EYE)
            written = UNIT_OF[unit.unit]
            self._possible(unit.unit, low, high, quantity.at)
            return Measured(low, high, BY_EYE * high, written, quantity.at, vague=True, flags=unit.flags)
        low, high = unit.to_canonical(number.low), unit.to_canonical(number.high)
        self._possible(unit.canonical, low, high, quantity.at)
        flags = [unit.flag] if unit.flag else []
        if unit is DEGREES and high >= MAYBE_FAHRENHEIT:
            other = float(FAHRENHEIT.to_canonical(number.high))
            flags.append(f"no letter written; taken as °C (as °F it would be {other:.1f} °C)")
        if unit.canonical == "degC" and not COLDEST <= low <= high <= HOTTEST:
            flags.append("no bin is that cold or hot: please check")
        step = number.step * unit.factor
        return Measured(low, high, step, unit, quantity.at, number.vague, number.open, tuple(flags))

    def _refuse_beyond(self, low: Bound, high: Bound, first: Measured) -> None:
        """Refuse a temperature that lies wholly beyond what any bin or night has."""
        if (low is None or low <= HOTTEST) and (high is None or high >= COLDEST):
            return
        number = first.unit.from_canonical(first.low)
        mend = "Check the number and its unit."
        if first.unit is not FAHRENHEIT and COLDEST <= FAHRENHEIT.to_canonical(number) <= HOTTEST:
            mend = f"Was it in °F? Then write '{float(number):g} F'."
        what = f"no bin is that cold or hot: a temperature here is from {COLDEST} to {HOTTEST} °C"
        raise self.error(what, first.at, mend)

    def _compound(self, quantity: Quantity) -> Measured:
        (big, big_name), (small, small_name) = quantity.parts
        unit, small_unit = (self._unit(name, quantity.unit_at) for name in (big_name, small_name))
        if not isinstance(unit, Unit) or not isinstance(small_unit, Unit):
            raise self.error("a container has no parts", quantity.at, "Write it as 'half a bucket'.")
        low = unit.to_canonical(big.low) + small_unit.to_canonical(small.low)
        if not -LARGEST <= low <= LARGEST:
            raise self.error("that number is too large", quantity.at, "Check its digits.")
        self._possible(unit.canonical, low, low, quantity.at)
        return Measured(low, low, small.step * small_unit.factor, unit, quantity.at)

    def _possible(self, canonical: str, low: Fraction, high: Fraction, at: int) -> None:
        floor, ceiling = units.FLOOR[canonical], units.CEILING.get(canonical)
        if low < floor or (ceiling is not None and high > ceiling):
            unit = "" if canonical == "pH" else f" {UNIT_OF[canonical].name}".rstrip()
            least = f"{float(floor):g}{unit}"
            ends = f"{least} or more" if ceiling is None else f"from {least} to {float(ceiling):g}{unit}"
            what = f"{units.KIND_OF_UNIT[canonical]} is {ends}"
            raise self.error(what, at, "Check the number and its unit.")


def _disagree(a: _Span, b: _Span) -> str:
    def said(span: _Span, unit: Unit) -> str:
        ends = dict.fromkeys(
            f"{float(unit.from_canonical(x)):.4g}" for x in (span.measured[0].low, span.measured[-1].high)
        )
        return f"{' to '.join(ends)} {unit.name or 'pieces'}"

    one, other = a.measured[0].unit, b.measured[0].unit
    return f"{said(a, one)} is {said(a, other)}, but {said(b, other)} is {said(b, one)}: please check"

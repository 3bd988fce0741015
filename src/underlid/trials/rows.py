"""Reading rows of a claims file: each reader gives what is written, or says what is wrong and where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar, cast

Table = Mapping[str, object]
Found = TypeVar("Found")


class DamagedClaims(ValueError):
    """A file of claims does not say what it must."""


def only(table: Table, known: Iterable[str], where: str, kind: str = "") -> None:
    """Refuse a key that is not known, for it is a slip of the pen."""
    if unknown := sorted(table.keys() - set(known)):
        raise DamagedClaims(f"{where}: {unknown[0]!r} is not known{kind}; known: {', '.join(sorted(known))}.")


def table(row: Table, key: str, where: str) -> Table:
    """The table under a key."""
    found = _there(row, key, where, "a table")
    if not isinstance(found, dict):
        raise DamagedClaims(f"{where}: {key} must be a table of its own, with keys and values.")
    return cast("Table", found)


def rows(row: Table, key: str, where: str) -> list[Table]:
    """A list of tables under a key, at least one."""
    found = _there(row, key, where, "a list of tables")
    if not (isinstance(found, list) and found and all(isinstance(each, dict) for each in found)):
        raise DamagedClaims(f"{where}: {key} must be a list of tables, at least one, such as [{{ says = ... }}].")
    return cast("list[Table]", found)


def words(row: Table, key: str, where: str) -> str:
    """Words that must be there and say something."""
    found = _there(row, key, where, "words in quotes")
    if not (isinstance(found, str) and found.strip()):
        raise DamagedClaims(f"{where}: {key} must be words in quotes.")
    return " ".join(found.split())


def listed(row: Table, key: str, where: str) -> tuple[str, ...]:
    """A list of words; none where there is no such key."""
    found = row.get(key, [])
    if not (isinstance(found, list) and all(isinstance(each, str) and each.strip() for each in found)):
        raise DamagedClaims(f"{where}: {key} must be a list of words in quotes.")
    return tuple(" ".join(each.split()) for each in found)


def one_of(row: Table, key: str, choices: Iterable[str], where: str) -> Any:
    """One of a few words; typed by whoever asks, as the choices are."""
    found = _there(row, key, where, f"one of: {', '.join(choices)}")
    if not (isinstance(found, str) and found in choices):
        raise DamagedClaims(f"{where}: {key} must be one of: {', '.join(choices)}.")
    return found


def number(row: Table, key: str, where: str) -> float:
    """A number."""
    found = _there(row, key, where, "a number")
    # true is an int to Python; nan and inf are TOML, but no amounts
    if isinstance(found, int | float) and not isinstance(found, bool) and abs(found) < 1e9:
        return float(found)
    raise DamagedClaims(f"{where}: {key} must be a number, without quotes.")


def whole(row: Table, key: str, where: str, least: int, most: int) -> int:
    """A whole number within bounds."""
    found = number(row, key, where)
    if not (found.is_integer() and least <= found <= most):
        raise DamagedClaims(f"{where}: {key} must be a whole number from {least} to {most}; it is {found:g}.")
    return int(found)


def named(known: Mapping[str, Found], names: Iterable[str], where: str) -> tuple[Found, ...]:
    """What the names stand for, each once."""
    wanted = tuple(dict.fromkeys(names))
    if unknown := [name for name in wanted if name not in known]:
        raise DamagedClaims(f"{where}: {unknown[0]!r} is not known; use some of {', '.join(known)}.")
    return tuple(known[name] for name in wanted)


def _there(row: Table, key: str, where: str, what: str) -> object:
    if key not in row:
        raise DamagedClaims(f"{where}: {key} is missing; it must be {what}.")
    return row[key]

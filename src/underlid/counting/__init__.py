"""How many animals live in a bin: from samples, from several passes, from two sorters, and what sorting overlooks.

    samples    counts out of known volumes -> totals by stage, each with a range (`estimate`)
    density    the posterior of density and clumping behind it
    narrowing  what more samples, or a recovery trial, would do to that range
    clumping   are the animals clumped, and the textbook's sample sizes
    removal    the same bedding sorted several times
    account    all of it for one bin and its records; `telling` puts that into sentences
    detection  a known number put in and looked for; two sorters of the same bedding

Where the data cannot say, a function raises `CannotTell` with a sentence, and never returns a number to be
explained away.
"""

from __future__ import annotations


class CannotTell(ValueError):
    """The data cannot answer what was asked; the sentence says why and what would."""

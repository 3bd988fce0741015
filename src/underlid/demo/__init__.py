"""Invented keepers: `winter` keeps three bins through a typical year of public weather, `trial` tests a claim."""

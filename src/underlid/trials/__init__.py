"""Sentences that people repeat about keeping worms, made testable, and the trials that test them."""

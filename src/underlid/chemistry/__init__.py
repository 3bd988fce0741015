"""Acid and base in the water that bedding holds."""

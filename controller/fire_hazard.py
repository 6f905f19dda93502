"""From where on heat in a tent is no matter of plants any more."""

DANGEROUS_C = 60.0
"""Cables, lamp drivers, fans and the fabric of a tent are made for cooler air [°C] (common
practice, no source)."""

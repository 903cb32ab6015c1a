"""Turns pieces into packs, dates and order lines by region."""

"""Designs the seal of every duct end and counts its pieces."""

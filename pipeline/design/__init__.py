"""Designs the seal of every duct end and counts its pieces."""

from pipeline.design.stage import design

__all__ = ["design"]

"""Designs the seal of every duct end and counts its pieces."""

from pipeline.design.later_sheet import Stored, change_sheet
from pipeline.design.stage import design

__all__ = ["Stored", "change_sheet", "design"]

"""Turns test campaigns of small electric motors into published, re-runnable reports."""

from importlib.metadata import version

__version__ = version("benchproof")

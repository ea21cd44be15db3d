"""roomlink: a soft controller for divisible rooms."""

__version__ = "0.1.0"

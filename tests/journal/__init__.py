"""Tests of ``roomlink.journal``."""

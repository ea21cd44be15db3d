"""Tests of ``roomlink.drivers.e131``."""

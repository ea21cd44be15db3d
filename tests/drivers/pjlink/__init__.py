"""Tests of ``roomlink.drivers.pjlink``."""

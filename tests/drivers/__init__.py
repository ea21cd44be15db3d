"""Tests of ``roomlink.drivers``."""

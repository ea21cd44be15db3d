"""Tests of ``roomlink.drivers.mqtt``."""

"""Tests of ``roomlink.drivers.modbus``."""

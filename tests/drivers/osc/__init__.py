"""Tests of ``roomlink.drivers.osc``."""

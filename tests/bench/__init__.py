"""Measurements: printed, compared with a floor measured in the same run, never asserted in tests."""

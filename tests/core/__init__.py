"""Tests of ``roomlink.core``: the rules, in virtual time."""

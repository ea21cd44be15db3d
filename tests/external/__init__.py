"""Checks whose expected values nobody here made up; the source stands beside each."""

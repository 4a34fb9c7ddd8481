"""The timeout of tests for what has to happen: a page changes, a service starts, an answer comes."""

PATIENCE = 90.0
"""Seconds. It is long enough for a busy machine, since only a failing test waits that long."""

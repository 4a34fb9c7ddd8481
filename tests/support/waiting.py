"""How long a test waits for what has to come: a page to change, a service to start, an answer."""

PATIENCE = 90.0
"""Seconds; long enough for a busy machine, since only a test that fails waits so long."""

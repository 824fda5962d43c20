"""Polling: each bus in a thread of its own, its pumps in turns, until told to stop."""

from collector.poll.claims import AlreadyClaimed, claim_site
from collector.poll.outbox import LineSink, Sink, UndeliveredReadings
from collector.poll.poll_site import poll_site

__all__ = ["AlreadyClaimed", "LineSink", "Sink", "UndeliveredReadings", "claim_site", "poll_site"]

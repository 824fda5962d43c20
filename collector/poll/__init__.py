"""Polling: each bus in a thread of its own, its pumps in turns, until told to stop."""

from collector.poll.claims import AlreadyClaimed, claim_site
from collector.poll.outbox import Sink, UndeliveredReadings
from collector.poll.poll_site import poll_site

__all__ = ["AlreadyClaimed", "Sink", "UndeliveredReadings", "claim_site", "poll_site"]

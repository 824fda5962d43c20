"""What is known of one serial port of this machine."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """A process that has the port open."""

    pid: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Holders:
    """Who has a port open, as far as can be seen.

    ``hidden_processes`` is how many processes of other users could not be looked into.
    """

    seen: tuple[Holder, ...] = ()
    hidden_processes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Adapter:
    """A serial port. What a system does not tell is ``None``.

    ``stable_path`` stays the same when adapters are plugged in another order; ``usb_vendor_id`` and
    ``usb_product_id`` are the numbers of the USB descriptor. ``latency_timer_ms`` [ms] is how long the
    adapter keeps bytes back before it hands them over, where it says so; ``latency_path`` is its file.
    ``rights_trouble`` is the sentence on what keeps this user out, empty when nothing does.
    """

    path: str
    stable_path: str | None = None
    words: str = ""
    maker_words: str = ""
    usb_vendor_id: int | None = None
    usb_product_id: int | None = None
    serial_number: str | None = None
    holders: Holders | None = None
    rights_trouble: str = ""
    latency_timer_ms: int | None = None
    latency_path: str | None = None

    @property
    def best_path(self) -> str:
        """The path to write into a site file."""
        return self.stable_path or self.path

"""The last bytes of a stream, with the time at which each was handed over."""

from __future__ import annotations

from bisect import bisect_right


class TimedBytes:
    """Bytes from ``begin`` on [place in the stream]; ``data`` are those kept."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.begin = 0
        self._starts: list[int] = []
        self._times_s: list[float] = []

    @property
    def end(self) -> int:
        """The place after the last byte that came."""
        return self.begin + len(self.data)

    def take(self, data: bytes, time_s: float) -> None:
        """Keep the next bytes, handed over at this time [s]."""
        if data:
            self._starts.append(self.end)
            self._times_s.append(time_s)
            self.data += data

    def between(self, start: int, end: int) -> bytes:
        """Return the bytes between two places in the stream."""
        return bytes(self.data[start - self.begin : end - self.begin])

    def time_s(self, place: int) -> float:
        """Return when the byte at a place was handed over [s]."""
        return self._times_s[bisect_right(self._starts, place) - 1]

    def forget(self, before: int) -> None:
        """Drop what stands before a place."""
        del self.data[: before - self.begin]
        self.begin = before
        over = bisect_right(self._starts, before) - 1
        if over > 0:
            del self._starts[:over], self._times_s[:over]

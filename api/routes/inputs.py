"""What a request may say: everything else is answered with 422 and the reason."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import Depends, HTTPException, Query, Request
from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, Field

from api.answers.source import Source
from collector.site import Pump
from dashboards.addresses import UNITS_COOKIE
from dashboards.views import UnitSystem
from dashboards.wording.terms import ROLES

LARGEST_NUMBER = 2**53
EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
LATEST = datetime(9999, 1, 1, tzinfo=UTC)


def _printable(text: str) -> str:
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in text):
        raise ValueError("holds a control character")
    return text


def _known_role(role: str) -> str:
    if role not in ROLES:
        raise ValueError(f"is no role; there are: {', '.join(ROLES)}")
    return role


def _no_bool(value: Any) -> Any:  # noqa: ANN401 - whatever JSON may hold
    if isinstance(value, bool):
        raise ValueError("is true or false, expected a whole number")
    return value


def _storable(moment: datetime) -> datetime:
    if not EARLIEST <= moment <= LATEST:
        raise ValueError("is outside the years 1970 to 9998")
    return moment


Name = Annotated[str, Query(min_length=1, max_length=100), AfterValidator(_printable)]
Number = Annotated[int, Field(ge=1, le=LARGEST_NUMBER), BeforeValidator(_no_bool)]
Moment = Annotated[AwareDatetime, AfterValidator(_storable)]
"""An instant with its offset from UTC: without one it could be meant in any zone."""
Role = Annotated[str, Field(max_length=40), AfterValidator(_known_role)]
Note = Annotated[str, Field(max_length=200), AfterValidator(_printable)]
StateWord = Literal["active", "returned_to_normal", "withdrawn"]


class Acknowledgement(BaseModel, extra="forbid"):
    """Who has seen a finding: a role, never a person."""

    role: Role
    note: Note = ""


def milliseconds(moment: datetime) -> int:
    """Return an instant in whole milliseconds UTC."""
    return round(moment.timestamp() * 1000)


def source_of(request: Request) -> Source:
    """Return what the app answers from."""
    source: Source = request.app.state.source
    return source


Answering = Annotated[Source, Depends(source_of)]


def pump_of(source: Answering, pump: Name) -> Pump:
    """Return the pump named in the query; 404 when the site has none of this name."""
    found = source.pump(pump)
    if found is None:
        raise HTTPException(404, f"The site file knows no pump {pump!r}.")
    return found


NamedPump = Annotated[Pump, Depends(pump_of)]


def units_of(
    request: Request, source: Answering, units: Annotated[UnitSystem | None, Query()] = None
) -> UnitSystem:
    """Return the display units: asked for, remembered, or the site's."""
    if units is not None:
        return units
    remembered = request.cookies.get(UNITS_COOKIE)
    if remembered == "SI":
        return "SI"
    return "US" if remembered == "US" else source.site.units


Units = Annotated[UnitSystem, Depends(units_of)]

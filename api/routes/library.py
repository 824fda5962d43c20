"""The chart library's file, compressed once: it is large and never changes while the process lives."""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Final

from fastapi import APIRouter, Header
from fastapi.responses import Response

from dashboards import addresses
from dashboards.figures import chart_library

router = APIRouter(include_in_schema=False)
_A_WEEK_S: Final = 7 * 86_400


@dataclass(frozen=True, slots=True)
class _File:
    plain: bytes
    packed: bytes
    tag: str


@cache
def _file() -> _File:
    plain = chart_library().read_bytes()
    return _File(plain, gzip.compress(plain, 6), f'"{hashlib.sha256(plain).hexdigest()[:32]}"')


@router.get(addresses.PLOTLY)
def plotly(
    accept_encoding: Annotated[str, Header()] = "", if_none_match: Annotated[str, Header()] = ""
) -> Response:
    """Send the chart library, or nothing to a browser that has it already."""
    file = _file()
    headers = {
        "Cache-Control": f"public, max-age={_A_WEEK_S}",
        "ETag": file.tag,
        "Vary": "Accept-Encoding",
    }
    if file.tag in if_none_match:
        return Response(status_code=304, headers=headers)
    if "gzip" not in accept_encoding:
        return Response(file.plain, media_type="text/javascript", headers=headers)
    return Response(
        file.packed, media_type="text/javascript", headers={**headers, "Content-Encoding": "gzip"}
    )

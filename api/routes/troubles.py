"""What a reader is told when something cannot be shown: a page for browsers, JSON for programs."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException

from api.answers.mistakes import FieldMistakes
from api.answers.pages import page_frame
from api.answers.source import Source
from collector.store import StoreError
from dashboards.pages import error_page
from dashboards.views import ErrorPage, PageFrame

DATABASE_TROUBLE = 503
_NO_SUCH_PAGE = "There is no page at this address."
_FOR_PROGRAMS = ("/api", "/figure", "/live", "/health", "/ready")


def answer_troubles(app: FastAPI) -> None:
    """Let the app answer every trouble in the reader's words."""
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(FieldMistakes, _mistaken)
    app.add_exception_handler(StoreError, _database)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return _say(request, error.status_code, str(error.detail))


def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return _say(request, 422, _in_words(error.errors()[0]))


def _mistaken(request: Request, error: Exception) -> Response:
    assert isinstance(error, FieldMistakes)
    return _say(request, 422, str(error))


def _in_words(trouble: dict[str, Any]) -> str:
    """Return what is wrong with a request: the name that was asked with, and what was expected of it."""
    name = str(trouble["loc"][-1]) if trouble["loc"] else "the request"
    if trouble["type"] == "missing":
        return f"{name} is missing"
    words = str(trouble["msg"]).removeprefix("Value error, ").replace("Input should", "should")
    return f"{name} {words}" if words.startswith(("is ", "holds ", "should ")) else f"{name}: {words}"


def _database(request: Request, error: Exception) -> Response:
    return _say(request, DATABASE_TROUBLE, str(error))


def _say(request: Request, status: int, sentence: str) -> Response:
    # A lone half of a surrogate pair may arrive in a query; it can be neither JSON nor HTML.
    text = sentence.encode("utf-8", "replace").decode("utf-8")
    if request.url.path.startswith(_FOR_PROGRAMS):
        return JSONResponse({"detail": text}, status)
    source: Source = request.app.state.source
    text = _NO_SUCH_PAGE if text == HTTPStatus.NOT_FOUND.phrase else text
    page = ErrorPage(frame=_frame(source, status), status=status, sentence=text)
    return HTMLResponse(error_page(page), status, headers={"Cache-Control": "no-store"})


def _frame(source: Source, status: int) -> PageFrame:
    # No question to the database where that is what is in trouble.
    if status != DATABASE_TROUBLE:
        try:
            return page_frame(source)
        except StoreError:
            pass
    return PageFrame(
        site_name=source.site.name,
        time_zone=source.site.time_zone,
        units=source.site.units,
        now_utc_ms=source.clock.now_utc_ms(),
        data_as_of_utc_ms=None,
        is_imported_only=True,
        is_known=False,
    )

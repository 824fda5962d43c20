"""The app as a whole."""

from __future__ import annotations

from typing import Final

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from api.answers.back_test_desk import BackTestDesk
from api.answers.source import Source
from api.routes import (
    document_routes,
    field_check_routes,
    figure_routes,
    handover_routes,
    json_routes,
    label_routes,
    library,
    line_routes,
    page_routes,
    service_routes,
    threshold_routes,
    upkeep_routes,
    week_routes,
)
from api.routes.description_page import DESCRIPTION, OPENAPI, description_page
from api.routes.guard import Guard
from api.routes.troubles import answer_troubles
from dashboards import addresses
from dashboards.pages import STATIC_FOLDER

_ABOUT: Final = (
    "What this site's pumps do, what was found, and what the water cost. Names carry their units; times are "
    "ISO 8601 in UTC and need an offset when asked for. Nothing here can write to a drive."
)


def create_app(source: Source) -> FastAPI:
    """Return the app that answers from this source. The caller opens and closes the source."""
    app = FastAPI(title="Owncurve", description=_ABOUT, docs_url=None, redoc_url=None, openapi_url=OPENAPI)
    app.state.source = source
    app.state.desk = BackTestDesk()
    for routes in (
        page_routes,
        figure_routes,
        threshold_routes,
        line_routes,
        service_routes,
        upkeep_routes,
        field_check_routes,
        document_routes,
        handover_routes,
        label_routes,
        week_routes,
        json_routes,
        library,
    ):
        app.include_router(routes.router)
    app.add_api_route(
        DESCRIPTION, lambda: HTMLResponse(description_page(app.openapi())), include_in_schema=False
    )
    app.mount(addresses.STATIC, StaticFiles(directory=STATIC_FOLDER))
    answer_troubles(app)
    # Level 1: a higher one costs more time than serialising a chart does.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=1)
    app.add_middleware(Guard)
    return app

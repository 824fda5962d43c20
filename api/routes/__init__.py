"""The door for browsers and programs: pages, figures, JSON. It answers on the machine itself only."""

from api.routes.app import create_app

__all__ = ["create_app"]

"""The interface described for people, made from the OpenAPI description; nothing comes from elsewhere."""

from __future__ import annotations

from html import escape
from typing import Any, Final

from dashboards import addresses

DESCRIPTION: Final = "/api"
OPENAPI: Final = "/api/openapi.json"


def description_page(openapi: dict[str, Any]) -> str:
    """Return the page: every address with what it takes and gives."""
    parts = [
        _operation(method.upper(), path, operation)
        for path, methods in openapi["paths"].items()
        for method, operation in methods.items()
    ]
    title = escape(openapi["info"]["title"])
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}: JSON for programs</title>"
        f'<link rel="icon" href="{addresses.STATIC}/mark.svg" type="image/svg+xml">'
        f'<link rel="stylesheet" href="{addresses.STATIC}/page.css">'
        f"</head><body data-ready><main><h1>{title}: JSON for programs</h1>"
        f"<p>{escape(openapi['info']['description'])}</p>"
        f'<p>The same for machines: <a href="{OPENAPI}">{OPENAPI}</a>, OpenAPI {escape(openapi["openapi"])}. '
        f'<a href="{addresses.SITE}">Back to the pumps</a></p>{"".join(parts)}</main></body></html>'
    )


def _operation(method: str, path: str, operation: dict[str, Any]) -> str:
    takes = "".join(_parameter(parameter) for parameter in operation.get("parameters", []))
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema")
    if body:
        takes += f"<li>body: {escape(_type(body))}</li>"
    gives = "".join(_answer(code, answer) for code, answer in operation["responses"].items())
    about = escape(operation.get("description", ""))
    return (
        f"<section><h2><code>{method} {escape(path)}</code></h2><p>{about}</p>"
        f"<h3>Takes</h3><ul>{takes or '<li>nothing</li>'}</ul><h3>Answers</h3><ul>{gives}</ul></section>"
    )


def _parameter(parameter: dict[str, Any]) -> str:
    need = "needed" if parameter.get("required") else "optional"
    words = f"{parameter['name']} ({parameter['in']}, {need}): {_type(parameter['schema'])}"
    return f"<li>{escape(words)}</li>"


def _answer(code: str, answer: dict[str, Any]) -> str:
    schema = answer.get("content", {}).get("application/json", {}).get("schema")
    words = f"{code}: {_type(schema)}" if schema else f"{code}: {answer['description']}"
    return f"<li>{escape(words)}</li>"


def _type(schema: dict[str, Any]) -> str:
    """Return a schema in a few words.

    >>> _type({"anyOf": [{"type": "array", "items": {"$ref": "#/x/Week"}}, {"type": "null"}]})
    'list of Week or null'
    """
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in schema:
        return " or ".join(_type(item) for item in schema["anyOf"])
    if "enum" in schema:
        return " or ".join(map(str, schema["enum"]))
    if schema.get("type") == "array":
        return f"list of {_type(schema['items'])}"
    return str(schema.get("format") or schema.get("type", "anything"))

"""The one way to take a form: mistakes beside their fields with what was typed, success as the changed page.

A route asks for a :data:`Posted` form, reads its fields and answers with :func:`answered`. A program sends
the same as JSON to an address under ``/api``; what refuses a field there raises the same ``FieldMistakes``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final, TypeVar

from fastapi import Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile

from api.answers.mistakes import FieldMistakes
from dashboards.form_views import FormView

T = TypeVar("T")

FORM_TYPES: Final = ("application/x-www-form-urlencoded", "multipart/form-data")
LONGEST_TEXT: Final = 200
NOT_RIGHT: Final = 422


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A file that came with a form; ``name`` is what the sender calls it, never a path to write to."""

    name: str
    content_type: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class PostedForm:
    """What was typed, by field name, without blanks around it; and the files that came along."""

    values: Mapping[str, str]
    uploads: Mapping[str, Upload] = field(default_factory=dict)

    def text(self, name: str, most: int = LONGEST_TEXT) -> str:
        """Return one line that was typed, empty where none was.

        Raises
        ------
        FieldMistakes
            When it is longer than ``most`` letters or holds a line break or another control character.
        """
        text = self.values.get(name, "")
        if len(text) > most:
            raise FieldMistakes({name: f"has {len(text)} letters, at most {most} are kept"})
        if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in text):
            raise FieldMistakes({name: "holds a control character; expected one line"})
        return text

    def needed(self, name: str, expected: str, most: int = LONGEST_TEXT) -> str:
        """Return one line that must be there; ``expected`` tells what belongs into the field.

        Raises
        ------
        FieldMistakes
            When it is missing, or as :meth:`text` refuses it.
        """
        text = self.text(name, most)
        if not text:
            raise FieldMistakes({name: f"is missing; expected {expected}"})
        return text

    def is_ticked(self, name: str) -> bool:
        """Return whether a box was ticked: a browser sends nothing of one that was not."""
        return bool(self.values.get(name))


async def posted_form(request: Request) -> PostedForm:
    """Return the form that was sent; of a field sent twice the last. 415 for what is no form."""
    if request.headers.get("content-type", "").split(";")[0].strip().lower() not in FORM_TYPES:
        raise HTTPException(415, "this address takes a form; programs send JSON to its twin under /api")
    values: dict[str, str] = {}
    uploads: dict[str, Upload] = {}
    async with request.form() as form:
        for name, value in form.multi_items():
            if not isinstance(value, UploadFile):
                values[name] = value.strip()
            elif value.filename:
                uploads[name] = await _upload(value.filename, value)
    return PostedForm(values=values, uploads=uploads)


async def _upload(name: str, file: UploadFile) -> Upload:
    return Upload(name=name, content_type=file.content_type or "", content=await file.read())


Posted = Annotated[PostedForm, Depends(posted_form)]


def answered(
    posted: PostedForm, change: Callable[[], T], *, then: Callable[[T], str], again: Callable[[FormView], str]
) -> Response:
    """Make a change and lead the browser to the address that ``then`` gives of it.

    303: the page is asked for anew, so that loading it again sends nothing twice. Where a field is refused
    nothing was changed, and ``again`` shows the form with what was typed and what is wrong with it.
    """
    try:
        changed = change()
    except FieldMistakes as mistakes:
        form = FormView(values=posted.values, mistakes=mistakes.sentences)
        return HTMLResponse(again(form), NOT_RIGHT, headers={"Cache-Control": "no-store"})
    return RedirectResponse(then(changed), status_code=303)

"""``owncurve document``: a pump's manual, submittal, start-up sheet and photos, kept with it."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from api.commands import FAILED, OK, Refusal
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from api.store.documents import StoredDocument
    from collector.site import Pump

SUMMARY = "keep a pump's documents (PDF, PNG, JPEG, at most 20 MB), list, give back or remove them"
EXAMPLE = 'owncurve document P01 add manual.pdf --kind manual --title "Pump manual"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``document``."""
    parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    parser.add_argument(
        "what", nargs="?", choices=("list", "add", "get", "remove"), default="list", help="list, if left out"
    )
    parser.add_argument("which", nargs="?", metavar="FILE_OR_NUMBER", help="the file to add, or its number")
    add_site_argument(parser, clock=True)
    parser.add_argument("--kind", metavar="KIND", help="manual, submittal, start_up_sheet, photo or other")
    parser.add_argument("--title", default="", metavar="WORDS", help="left out, the file's own name")
    parser.add_argument("--role", default="technician", metavar="ROLE", help="who does so (technician)")
    parser.add_argument("--to", type=Path, default=None, metavar="FILE", help="where to save what is got")
    parser.add_argument("--json", action="store_true", help="print what is known of it as JSON")


def run(arguments: argparse.Namespace) -> int:
    """List a pump's documents, or do with one what was asked."""
    from api.answers.mistakes import FieldMistakes

    is_to_read = arguments.what in ("list", "get")
    with opened_source(arguments, to_read=is_to_read) as source:
        must_be_a_pump(source, arguments.pump)
        pump = source.site.pump(arguments.pump)
        try:
            print(_DO[arguments.what](source, pump, arguments))
        except FieldMistakes as mistakes:
            raise Refusal(_as_words(mistakes.sentences, arguments.which)) from mistakes
    return OK


def _as_words(sentences: dict[str, str], file: str | None) -> str:
    return "; ".join(f"{file if name == 'file' else f'--{name}'}: {said}" for name, said in sentences.items())


def _list(source: Source, pump: Pump, arguments: argparse.Namespace) -> str:
    from api.answers.documents import plain_document
    from api.store.documents import documents_of

    rows = documents_of(source.api_store, pump.name)
    if arguments.json:
        return json.dumps([plain_document(row) for row in rows], indent=2)
    return "\n".join(_line(source, row) for row in rows) or f"{pump.name}: no document is kept"


def _line(source: Source, row: StoredDocument) -> str:
    from dashboards.moments import clock_words
    from dashboards.wording.documents import KINDS, MEDIA, size_words
    from dashboards.wording.terms import ROLES

    zone = source.site.time_zone
    size = size_words(row.size_bytes).replace("\N{NO-BREAK SPACE}", " ")
    what = f"{KINDS.get(row.kind, row.kind).lower()}, {MEDIA.get(row.media_type, row.media_type)}, {size}"
    if row.removed_utc_ms is not None:
        by = ROLES.get(row.removed_by or "", row.removed_by or "").lower()
        return f"{row.document_id}: removed {clock_words(row.removed_utc_ms, zone)} ({by}): {what}"
    by = ROLES.get(row.added_by, row.added_by).lower()
    return f"{row.document_id}: {row.title} ({what}), added {clock_words(row.added_utc_ms, zone)} ({by})"


def _add(source: Source, pump: Pump, arguments: argparse.Namespace) -> str:
    from api.answers.documents import keep_document, plain_document

    if arguments.which is None:
        raise Refusal("which file? as in owncurve document PUMP add FILE --kind manual")
    added = keep_document(
        source,
        pump,
        _read(Path(arguments.which)),
        file_name=arguments.which,
        title=arguments.title.strip(),
        kind=arguments.kind or "",
        role=arguments.role,
    )
    if arguments.json:
        return json.dumps(plain_document(added.document) | {"is_new": added.is_new}, indent=2)
    news = "kept" if added.is_new else "was here already, kept once"
    return f"{pump.name}: {news}: {_line(source, added.document)}"


def _read(path: Path) -> bytes:
    """Return the file's bytes, of one that is too large only as many as show that it is."""
    from api.answers.document_content import LARGEST_BYTES, LARGEST_MB

    try:
        if path.stat().st_size > LARGEST_BYTES:
            size = path.stat().st_size / 1e6
            raise Refusal(f"{path}: has {size:.1f} MB; at most {LARGEST_MB} MB are kept")
        with path.open("rb") as file:
            return file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise Refusal(f"{path}: cannot be read: {error.strerror or error}") from error


def _get(source: Source, pump: Pump, arguments: argparse.Namespace) -> str:
    from api.answers.document_content import saved_name
    from api.answers.documents import plain_document
    from api.store.documents import content_of
    from collector.whole_file import NotWrittenError, write_new

    stored = _named(source, pump, arguments)
    place = arguments.to or Path(saved_name(stored.title, stored.media_type))
    try:
        write_new(place, content_of(source.api_store, stored.document_id) or b"")
    except NotWrittenError as error:
        raise Refusal(str(error), FAILED) from error
    if arguments.json:
        return json.dumps(plain_document(stored) | {"saved_as": str(place)}, indent=2)
    return f"{pump.name}: {stored.title}: saved as {place}"


def _remove(source: Source, pump: Pump, arguments: argparse.Namespace) -> str:
    from api.answers.documents import drop_document, plain_document, told_of_removed
    from dashboards.wording.documents import TOLD

    stored = _named(source, pump, arguments)
    removed = drop_document(source, stored.document_id, arguments.role)
    if removed is None:
        raise Refusal(f"{pump.name} keeps no document {stored.document_id} any more")
    if arguments.json:
        said = {"also_with": list(removed.also_with), "is_wiped": removed.is_wiped}
        return json.dumps(plain_document(removed.document) | said, indent=2)
    also = f" (also with {', '.join(removed.also_with)})" if removed.also_with else ""
    copies = _copies(source)
    before = f" Copies of the database may hold it still: {', '.join(copies)}." if copies else ""
    return f"{pump.name}: {stored.title}: {TOLD[told_of_removed(removed)]}{also}{before}"


def _copies(source: Source) -> list[str]:
    """Return the files that a newer version of the program set aside before it changed the database."""
    path = source.api_store.database.path
    return [str(copy) for copy in sorted(path.parent.glob(f"{path.name}.before-*"))]


def _named(source: Source, pump: Pump, arguments: argparse.Namespace) -> StoredDocument:
    from api.store.documents import documents_of

    kept = [row for row in documents_of(source.api_store, pump.name) if row.is_kept]
    found = next((row for row in kept if str(row.document_id) == arguments.which), None)
    if found is None:
        known = ", ".join(str(row.document_id) for row in kept) or "none"
        raise Refusal(f"which document? expected a number of one of {pump.name}: {known}")
    return found


_DO = {"list": _list, "add": _add, "get": _get, "remove": _remove}

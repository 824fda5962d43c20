"""What a document is, told by its content; and a name to save it under that is no path."""

from __future__ import annotations

import struct
import zlib
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.answers.document_content import LARGEST_BYTES, media_type_of, saved_name, title_of

PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00\xff\xd9"


def png() -> bytes:
    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    size = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", size) + chunk(b"IDAT", zlib.compress(b"\x00\x00")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


@pytest.mark.parametrize(
    ("content", "media_type"), [(PDF, "application/pdf"), (png(), "image/png"), (JPEG, "image/jpeg")]
)
def test_a_document_is_what_its_content_says(content: bytes, media_type: str) -> None:
    assert media_type_of(content) == media_type


@pytest.mark.parametrize(
    "content",
    [
        b"<!doctype html><script>alert(1)</script>",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b" %PDF-1.4 behind a blank %%EOF",
        b"<html>%PDF-1.4 %%EOF",
        b"GIF89a",
        b"PK\x03\x04",
        b"\x89PNG\r\n\x1a\nno header chunk IEND\xaeB`\x82",
    ],
)
def test_what_is_no_document_is_refused_whatever_it_holds(content: bytes) -> None:
    with pytest.raises(ValueError, match="is no PDF, PNG or JPEG: its content says so"):
        media_type_of(content)


@pytest.mark.parametrize(("content", "kind"), [(PDF[:-8], "PDF"), (png()[:-6], "PNG"), (JPEG[:-1], "JPG")])
def test_a_file_that_breaks_off_is_refused(content: bytes, kind: str) -> None:
    with pytest.raises(ValueError, match=f"breaks off: it begins as a {kind} and has no end"):
        media_type_of(content)


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(ValueError, match="is empty"):
        media_type_of(b"")


def test_twenty_megabytes_are_kept_and_one_byte_more_is_not() -> None:
    body = PDF[:9] + b"\n" * (LARGEST_BYTES - len(PDF)) + PDF[9:]
    assert len(body) == LARGEST_BYTES
    assert media_type_of(body) == "application/pdf"
    with pytest.raises(ValueError, match="at most 20 MB are kept of a document"):
        media_type_of(body + b"\n")


@pytest.mark.parametrize(
    ("file_name", "title"),
    [
        ("pump manual.pdf", "pump manual"),
        ("C:\\scans\\pump 1.pdf", "pump 1"),
        ("../../etc/passwd", "passwd"),
        (".pdf", ".pdf"),
        ("a\r\nb.pdf", "ab"),
        ("", "document"),
        ("x" * 300 + ".pdf", "x" * 100),
    ],
)
def test_without_a_title_it_has_its_files_name(file_name: str, title: str) -> None:
    assert title_of("", file_name) == title


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Pump manual", "Pump manual.pdf"),
        ("../../etc/passwd", "etc_passwd.pdf"),
        ("..\\..\\boot.ini", "boot_ini.pdf"),
        ("run.exe", "run_exe.pdf"),
        ('a";b\r\nX-Evil: 1', "a__b__X-Evil_ 1.pdf"),
        ("...", "document.pdf"),
        ("Handbuch für Pumpe", "Handbuch für Pumpe.pdf"),
    ],
)
def test_it_is_saved_under_a_plain_name_with_the_ending_of_what_it_is(title: str, name: str) -> None:
    assert saved_name(title, "application/pdf") == name


@given(st.text(max_size=120))
def test_no_title_becomes_a_path_or_breaks_a_header(title: str) -> None:
    name = saved_name(title, "image/png")
    assert PurePosixPath(name).name == PureWindowsPath(name).name == name
    assert name.endswith(".png")
    assert not name.startswith(".")
    assert set(name).isdisjoint('"\r\n/\\:\x00')

"""A file that a command leaves for a person: whole, in a folder that is made, and never over another."""

from __future__ import annotations

from pathlib import Path

from api.commands import Refusal


def keep(path: Path, text: str, *, is_forced: bool) -> None:
    """Write a file and the folder it goes to; over one that is there only if ``is_forced``.

    Raises
    ------
    Refusal
        With one line, when a file is there already or it cannot be written; nothing has changed then.
    """
    from collector.whole_file import AlreadyThereError, NotWrittenError, make_folder, write_new, write_over

    try:
        make_folder(path.parent)
        (write_over if is_forced else write_new)(path, text)
    except AlreadyThereError as error:
        raise Refusal(f"{error}; --force replaces it") from error
    except NotWrittenError as error:
        raise Refusal(str(error)) from error

"""The one place that opens the files of a bank."""

from __future__ import annotations

from pathlib import Path

from quizsvc.bank.check import BankText
from quizsvc.errors import InputError

LARGEST_FILE = 1_000_000
LARGEST_BANK = 50_000_000
# Describes the invented people of `quizsvc demo`, nothing that is asked.
_NO_BANK_TEXT = ("demo-school.yaml",)


def read_folder(path: Path | str) -> list[BankText]:
    """The texts of a bank: `*.yaml` at its top and in each folder, `handbook/*.md`; names as people would type them.

    Raises
    ------
    InputError
        No such folder, nothing in it, or a file that is too large or not UTF-8.
    """
    root = Path(path)
    refuse_missing(root)
    files = sorted(root.glob("*.yaml"))
    for folder in sorted(entry for entry in root.iterdir() if entry.is_dir() and not entry.name.startswith(".")):
        files += sorted(folder.glob("*.yaml")) + sorted((folder / "handbook").glob("*.md"))
    files = [file for file in files if file.is_file() and file.name not in _NO_BANK_TEXT]
    if not files:
        raise InputError(
            "bank-empty", "the folder holds no bank", where=str(root), mend="it needs FOLDER/*.yaml, such as general/"
        )
    texts = []
    left = LARGEST_BANK
    for file in files:
        inside = file.relative_to(root)
        text = _read(file, left)
        left -= len(text)
        texts.append(
            BankText(
                name=f"{root.name}/{inside.as_posix()}",
                folder=inside.parts[0] if len(inside.parts) > 1 else "",
                text=text,
            )
        )
    return texts


def refuse_missing(root: Path) -> None:
    """Raise InputError where a bank's folder is not there."""
    if not root.is_dir():
        raise InputError(
            "bank-folder", "there is no such folder", where=str(root), mend="name a folder that holds a bank"
        )


def read_file(file: Path) -> str:
    """The text of one file of a bank.

    Raises
    ------
    InputError
        It cannot be read, is too large or not UTF-8.
    """
    return _read(file, LARGEST_FILE)


def _read(file: Path, left: int) -> str:
    try:
        size = file.stat().st_size
        if size > min(LARGEST_FILE, left):
            raise InputError(
                "bank-file-size",
                f"the file has {size:,} bytes",
                where=str(file),
                mend=f"at most {LARGEST_FILE:,} bytes",
            )
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputError(
            "bank-file-encoding",
            f"the file is not UTF-8 (byte {fault.start + 1})",
            where=str(file),
            mend="save it as UTF-8",
        ) from None
    except OSError as fault:
        raise InputError(
            "bank-file", f"the file cannot be read: {fault.strerror}", where=str(file), mend="check its rights"
        ) from None

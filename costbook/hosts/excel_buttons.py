"""Buttons for Excel, written into a folder of hers: files to double-click, which need no macro, and a ready add-in.

A double-click file runs one button on the workbook in front. The add-in is made here from the template that xlwings brings
(BSD), so nothing binary of it is in our sources: the template's one macro runs the Python module that bears the add-in's
own name. Hence each button is a small add-in, and all of them put their button on one tab of the ribbon.
"""

from __future__ import annotations

import io
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from costbook.errors import HostUnavailable, WriteRefused
from costbook.hosts import excel, journal
from costbook.hosts.extension import BUTTONS

NOTED = "excel-buttons.txt"  # where buttons were written to, a folder a line, among the user's own files
ADD_IN = "add-in"
RIBBON, SHEET, BOOK = "customUI/customUI.xml", "xl/worksheets/sheet1.xml", "xl/workbook.xml"
PICTURES = {"price": "Calculator", "changed": "ChartInsert", "next": "TableInsert", "post": "FileOpen", "findings": "FindDialog", "takeback": "Undo"}
_RIBBON = """<customUI xmlns="http://schemas.microsoft.com/office/2006/01/customui" xmlns:costbook="costbook">
    <ribbon><tabs><tab idQ="costbook:tab" label="costbook"><group id="{action}Group" label="costbook">
        <button id="{action}Button" label={title} screentip={about} size="large" onAction="RibbonMyAddin.RunMain" imageMso="{picture}" />
    </group></tab></tabs></ribbon>
</customUI>
"""
_MODULE = """from costbook.desk import main_in_excel


def main():
    main_in_excel("{action}")
"""
_NOTICE = "The .xlam files are made from the template of xlwings, under this licence:\n\n"
_WINDOWS = '@echo off\r\nchcp 65001 >nul\r\n"{python}" -m costbook excel {action} %*\r\npause\r\n'
_MAC = '#!/bin/sh\n"{python}" -m costbook excel {action} "$@"\necho "Press Return."; read answer\n'


def buttons() -> list[tuple[str, str, str]]:
    """The buttons there are in Excel: what each does, its name, and a sentence. A run there cannot be cancelled by a button."""
    return [button for button in BUTTONS if button[0] != "cancel"]


def write(folder: Path, system: str = sys.platform, python: str = sys.executable) -> list[Path]:
    """Writes the double-click files for this system and the add-in; returns all files that were written.

    Raises:
        HostUnavailable: xlwings is not installed.
        WriteRefused: the folder cannot be written.
    """
    template = excel.template()
    made: dict[Path, bytes] = {}
    for action, title, about in buttons():
        name, text = (f"{title}.cmd", _WINDOWS) if system == "win32" else (f"{title}.command", _MAC)
        made[folder / name] = text.format(python=python, action=action).encode()
        made[folder / ADD_IN / f"costbook_{action}.py"] = _MODULE.format(action=action).encode()
        made[folder / ADD_IN / f"costbook_{action}.xlam"] = add_in(template.read_bytes(), action, title, about, python)
    made[folder / ADD_IN / "LICENCE of the template.txt"] = (_NOTICE + excel.licence()).encode()
    try:
        (folder / ADD_IN).mkdir(parents=True, exist_ok=True)
        for path, data in made.items():
            path.write_bytes(data)
            if path.suffix == ".command":
                path.chmod(0o755)
        _note(folder.resolve())
    except OSError as error:
        raise WriteRefused(f"the buttons cannot be written into {folder} ({error.strerror}).", do="Name another folder.") from error
    return list(made)


def add_in(template: bytes, action: str, title: str, about: str, python: str) -> bytes:
    """The bytes of one button's add-in: the template with our ribbon, and with the Python that is to be started.

    Raises:
        HostUnavailable: the template is not the one this was made for.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(template)) as there, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        parts = {name: there.read(name) for name in there.namelist()}
        parts[RIBBON] = _RIBBON.format(action=action, title=quoteattr(title), about=quoteattr(about), picture=PICTURES[action]).encode()
        parts[BOOK] = _replaced(parts, BOOK, 'name="_myaddin.conf"', 'name="myaddin.conf"')  # its settings count from now on
        for row in (1, 2):  # the Python for Windows, and that for macOS
            cell = f'<c r="B{row}" t="inlineStr"><is><t xml:space="preserve">{escape(python)}</t></is></c></row>'
            heading = f'<c r="A{row}" s="1" t="s"><v>{row + 5}</v></c>'
            parts[SHEET] = _replaced(parts, SHEET, f"{heading}</row>", heading + cell)
        for name, data in parts.items():
            made.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _replaced(parts: Mapping[str, bytes], name: str, old: str, new: str) -> bytes:
    text = parts.get(name, b"").decode()
    if old not in text:
        raise HostUnavailable("this version of xlwings brings another template, of which no add-in can be made.",
                              do="Use the double-click files, or install xlwings 0.37.")  # fmt: skip
    return text.replace(old, new).encode()


def _noted() -> Path:
    return journal.folder_of(Path(NOTED)) / NOTED


def _note(folder: Path) -> None:
    place = _noted()
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text("\n".join([*(str(p) for p in written_to() if p != folder), str(folder)]) + "\n", encoding="utf-8")


def written_to() -> list[Path]:
    """The folders that buttons were written to, as far as they are still there."""
    try:
        lines = _noted().read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
    return [Path(line) for line in lines if Path(line).is_dir()]


def starts_this_python(folder: Path) -> bool:
    """Whether the buttons in a folder start the Python this runs in."""
    files = [*folder.glob("Price.cmd"), *folder.glob("Price.command")]
    return bool(files) and all(f'"{sys.executable}"' in file.read_text(encoding="utf-8") for file in files)

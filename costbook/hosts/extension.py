"""The extension as one file, the same bytes for the same contents, and putting it into her office program.

What it holds: the files of `addons/calc`, under the names they have here; lists that tell the office of a menu and a
toolbar; and the command that starts the engine, which is the Python this runs in.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from costbook.errors import HostUnavailable
from costbook.hosts.headless import clean_environment, program

IDENTIFIER = "org.costbook.calc"
FILE_NAME = "costbook.oxt"
FOLDER = Path(__file__).parent / "addons" / "calc"
MODULES = ("cells", "drawing", "child", "component")
MADE = (1980, 1, 1, 0, 0, 0)
SECONDS = 120
BUTTONS = (
    ("price", "Price", "Works out costs and prices and writes them into this workbook"),
    ("changed", "What changed", "Shows what announced prices do to costs and margins"),
    ("next", "Make next", "Shows what to make next, what is short and what to buy"),
    ("post", "Post papers", "Posts supplier papers, and what you confirmed on Invoice review"),
    ("findings", "Findings", "Goes to the list of what to look at"),
    ("takeback", "Take back", "Takes back what the tool wrote last"),
    ("cancel", "Cancel", "Stops the tool; the workbook stays as it is"),
)
_ITEM = """        <node oor:name="{name}" oor:op="replace">
          <prop oor:name="Context" oor:type="xs:string"><value>com.sun.star.sheet.SpreadsheetDocument</value></prop>
          <prop oor:name="URL" oor:type="xs:string"><value>costbook:{action}</value></prop>
          <prop oor:name="Title" oor:type="xs:string"><value xml:lang="en-US">{title}</value></prop>
          <prop oor:name="Target" oor:type="xs:string"><value>_self</value></prop>
        </node>
"""
_ADDONS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="Addons" oor:package="org.openoffice.Office">
  <node oor:name="AddonUI">
    <node oor:name="OfficeMenuBar">
      <node oor:name="org.costbook.calc.menu" oor:op="replace">
        <prop oor:name="Context" oor:type="xs:string"><value>com.sun.star.sheet.SpreadsheetDocument</value></prop>
        <prop oor:name="Title" oor:type="xs:string"><value xml:lang="en-US">costbook</value></prop>
        <node oor:name="Submenu">
{items}        </node>
      </node>
    </node>
    <node oor:name="OfficeToolBar">
      <node oor:name="org.costbook.calc.toolbar" oor:op="replace">
{items}      </node>
    </node>
  </node>
</oor:component-data>
"""


def packed(command: Sequence[str], version: str) -> bytes:
    """The bytes of the extension; `command` is what starts the engine."""
    items = "".join(
        _ITEM.format(name=f"m{number}", action=action, title=escape(title)) for number, (action, title, _) in enumerate(BUTTONS)
    )
    inside = f"pythonpath/{'/'.join(('costbook', 'hosts', 'addons', 'calc'))}"
    files = {p.relative_to(FOLDER / "package").as_posix(): p.read_bytes() for p in (FOLDER / "package").rglob("*") if p.is_file()}
    files["description.xml"] = files["description.xml"].replace(b"{version}", version.encode())
    files["Addons.xcu"] = _ADDONS.format(items=items).encode()
    files["costbook_buttons.py"] = b"from costbook.hosts.addons.calc.component import g_ImplementationHelper\n"
    for name in MODULES:
        files[f"{inside}/{name}.py"] = (FOLDER / f"{name}.py").read_bytes()
    folder = inside
    while folder != "pythonpath":
        files[f"{folder}/__init__.py"] = b""
        folder = folder.rpartition("/")[0]
    files[f"{inside}/engine.json"] = json.dumps({"command": list(command)}).encode()
    return _zipped(files)


def _zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name in sorted(files):
            package.writestr(zipfile.ZipInfo(name, MADE), files[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def engine_command() -> list[str]:
    """What starts the engine: the Python this runs in, by its own path."""
    # -P: a file of hers that is named like a module is not what is imported, wherever the office was started.
    return [sys.executable, "-P", "-m", "costbook.serving"]


def install(version: str, profile: Path | None = None) -> None:
    """Puts the extension into her office program, in place of an earlier one.

    Args: profile is the office's user folder; hers where none is named.
    Raises:
        HostUnavailable: there is no office program, or it does not take the extension; the sentence says why.
    """
    with tempfile.TemporaryDirectory() as folder:
        package = Path(folder) / FILE_NAME
        package.write_bytes(packed(engine_command(), version))
        _unopkg(["add", "-f", "--suppress-license", str(package)], profile)


def remove(profile: Path | None = None) -> None:
    """Takes the extension out of her office program.

    Raises:
        HostUnavailable: there is no office program, or the extension is not in it.
    """
    _unopkg(["remove", IDENTIFIER], profile)


def is_installed(profile: Path | None = None) -> bool:
    """Whether the extension is in her office program."""
    return IDENTIFIER in _unopkg(["list"], profile)


def _unopkg(arguments: Sequence[str], profile: Path | None) -> str:
    """What the office's own program for extensions prints."""
    office = Path(program()).resolve()
    tool = next((p for name in ("unopkg", "unopkg.bin", "unopkg.com") if (p := office.with_name(name)).is_file()), None)
    if tool is None:
        raise HostUnavailable(f"beside {office} there is no unopkg, which puts in extensions.", do="Install LibreOffice anew.")
    where = [f"-env:UserInstallation={profile.resolve().as_uri()}"] if profile else []
    # It refuses the administrator; as such it runs in a name space of its own, where it is nobody in particular.
    before = ["unshare", "-U"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    command = [*before, str(tool), *arguments, *where]
    try:
        done = subprocess.run(command, capture_output=True, text=True, env=clean_environment(), stdin=subprocess.DEVNULL,
                              timeout=SECONDS, check=False)  # fmt: skip
    except (OSError, subprocess.TimeoutExpired) as error:
        raise HostUnavailable("the office program did not answer.", do="Close it and try again.") from error
    if done.returncode:
        words = " ".join((done.stderr or done.stdout).split())[-300:]
        if "already running" in words:
            raise HostUnavailable("the office program is open.", do="Close all its windows and try again.")
        if "no such extension" in words:
            raise HostUnavailable("the buttons are not in the office program.")
        raise HostUnavailable(f"the office program refused it: {words}", do="Close all its windows and try again.")
    return done.stdout + done.stderr

"""The extension as a file: what it holds, and that it runs with the standard library alone."""

from __future__ import annotations

import ast
import io
import json
import re
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest

from costbook import cli, desk
from costbook.errors import HostUnavailable
from costbook.hosts import extension
from costbook.hosts.extension import BUTTONS, engine_command, packed
from costbook.hosts.headless import clean_environment

INSIDE = "pythonpath/costbook/hosts/addons/calc"


def files() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(packed(["python", "-m", "x"], "1.2.3"))) as package:
        return {name: package.read(name) for name in package.namelist()}


def test_the_same_contents_give_the_same_bytes() -> None:
    assert packed(["a"], "1") == packed(["a"], "1") != packed(["b"], "1")


def test_everything_listed_is_there_and_well_formed() -> None:
    held = files()
    for name, data in held.items():
        if name.endswith((".xml", ".xcu")):
            ElementTree.fromstring(data)
        elif name.endswith(".py"):
            ast.parse(data, name, feature_version=(3, 8))  # the Python some offices bring
    listed = re.findall(r'full-path="([^"]+)"', held["META-INF/manifest.xml"].decode())
    assert listed and set(listed) <= set(held)
    assert b'version value="1.2.3"' in held["description.xml"]
    assert json.loads(held[f"{INSIDE}/engine.json"]) == {"command": ["python", "-m", "x"]}


def test_every_button_is_in_the_menu_and_on_the_toolbar_and_is_answered() -> None:
    held = files()
    component = held[f"{INSIDE}/component.py"].decode()
    for action, title, _ in BUTTONS:
        assert held["Addons.xcu"].decode().count(f"<value>costbook:{action}</value>") == 2, title
        assert f'"{action}"' in component


def test_what_it_imports_is_in_it() -> None:
    held = files()
    for name in (n for n in held if n.startswith(INSIDE) and n.endswith(".py")):
        for module in re.findall(r"from costbook\.hosts\.addons\.calc\.?(\w*) import (\w+)", held[name].decode()):
            assert f"{INSIDE}/{module[0] or module[1]}.py" in held


def test_the_engine_is_this_python_in_a_clean_environment() -> None:
    assert engine_command()[0] == sys.executable
    told = clean_environment({"PYTHONPATH": "x", "PYTHONHOME": "y", "LD_LIBRARY_PATH": "z", "URE_BOOTSTRAP": "u", "HOME": "h"})
    assert told == {"HOME": "h"}


def test_doctor_tells_each_thing_and_its_fix(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A profile in which another Python's buttons were put in, and a workbook that is open."""
    place = tmp_path / "user/uno_packages/cache/uno_packages/lu1_" / extension.FILE_NAME / INSIDE / "engine.json"
    place.parent.mkdir(parents=True)
    place.write_text(json.dumps({"command": ["/elsewhere/python"]}), encoding="utf-8")
    log = tmp_path / "user" / "config" / desk.LOG
    log.parent.mkdir()
    log.write_text("2026-01-01 10:00:00 first\n2026-01-02 10:00:00 last words\n", encoding="utf-8")
    book = tmp_path / "book.xlsx"
    book.write_bytes(b"x")
    (tmp_path / ".~lock.book.xlsx#").write_text(",her,desk,,;")

    def no_office() -> str:
        raise HostUnavailable("no office program was found.", do="Install LibreOffice.")

    for module in ("headless", "extension"):
        monkeypatch.setattr(f"costbook.hosts.{module}.program", no_office)
    assert cli.main(["doctor", str(book), "--profile", str(tmp_path)]) == 1
    told = capsys.readouterr().out
    assert f"Python {sys.version.split()[0]}" in told and "ok    the engine starts" in told
    assert "FIX   no office program was found\n      Install LibreOffice." in told
    assert "FIX   the buttons are in the office program and start /elsewhere/python\n      Close the office program and run: costbook install" in told
    assert "last words" in told and "FIX   book.xlsx is open by her on desk" in told


def test_an_engine_that_does_not_start_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(extension, "engine_command", lambda: [sys.executable, "-c", "raise SystemExit('no costbook here')"])
    (line,) = [line for line in desk.doctor(None, tmp_path) if "engine does not start" in line.what]
    assert not line.fine and "no costbook here" in line.what and line.do

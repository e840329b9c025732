"""Supplier papers on disk: which files are meant, and what is in one, told by its content and not by its name."""

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from costbook.book import layout
from costbook.book.grid import Snapshot, Value
from costbook.book.model import Invoice, PaperFact
from costbook.errors import HostUnavailable, InvoiceError
from costbook.hosts import backups, disk
from costbook.hosts.file import WorkbookFile

LISTS = (".csv", ".tsv", ".txt")
PRINTED = (".pdf", ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".heic")
WORKBOOKS = (".xlsx", ".xlsm", ".xltx", ".xltm")
HIDDEN = (".", "~$")  # files of the system, and of the office while a workbook is open in it
MOST_FILES = 10_000  # with folders: years of papers, and not a whole disk


class PostedPaper(NamedTuple):
    """What became of one paper: 'posted', 'to review', 'already there' or 'refused', and why.

    `announces` tells a price list, which is taken over to Announced prices.
    """

    file: str
    supplier: str
    paper: str
    state: str
    lines: int
    why: str
    announces: bool = False


class PaperFile(NamedTuple):
    """A file that is meant, and what it is called: in a folder that was named, with the folders between, as 2026-09/B-1041.csv."""

    path: Path
    name: str


def files(papers: Sequence[Path], book: Path) -> list[PaperFile]:
    """The files meant, each once: those named, and those in folders named and in their folders, in order of name.

    Hidden files and folders, lock files, earlier states of workbooks and the book itself are left out. Two files that would be
    called the same are called by their whole paths.

    Raises:
        HostUnavailable: nothing of that name is there, a folder cannot be looked into, or it holds more than MOST_FILES.
    """
    found: dict[Path, PaperFile] = {}
    for paper in papers:
        if not paper.exists():
            raise HostUnavailable(f"there is no file or folder {paper}", do="Look at its name.")
        for path in _inside(paper) if paper.is_dir() else [paper]:
            name = path.relative_to(paper).as_posix() if path != paper else path.name
            if not path.name.startswith(HIDDEN) and not (book.exists() and path.samefile(book)):
                found.setdefault(path.resolve(), PaperFile(path, name))
    alike = Counter(file.name for file in found.values())
    return [file if alike[file.name] == 1 else file._replace(name=file.path.as_posix()) for file in found.values()]


def _inside(folder: Path) -> list[Path]:
    """The files in a folder and in its folders; each folder once, so that a link that leads back comes to an end."""
    found: list[Path] = []
    seen: set[Path] = set()
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        if here.resolve() in seen:
            continue
        seen.add(here.resolve())
        try:
            entries = sorted(here.iterdir())
        except OSError as error:
            raise HostUnavailable(f"the folder {here} cannot be read ({error.strerror})", do="Look at its rights, or name the others one by one.") from error
        entries = [entry for entry in entries if not entry.name.startswith(HIDDEN) and entry.name != backups.FOLDER]
        waiting += [entry for entry in entries if entry.is_dir()]
        found += [entry for entry in entries if entry.is_file()]
        if len(found) + len(waiting) + len(seen) > MOST_FILES:
            raise HostUnavailable(f"the folder {folder} holds more than {MOST_FILES:,} files", do="Name the folder of your papers, or one of its folders.")
    return sorted(found)


Facts = Mapping[str, Sequence[PaperFact]]


def read_paper(path: Path, suppliers: Sequence[str] = (), facts: Facts | None = None, name: str = "") -> list[Invoice]:
    """The papers in one file, by what it is and not by its name: a list, a workbook, an e-invoice, a PDF or a scan.

    Args:
        suppliers: the names the book knows; one of them on a printed page is its supplier.
        facts: what the book knows of how each supplier's papers are laid out.
        name: what the file is called in sentences and as the papers' source; its own name where that is empty.
    Raises:
        CostbookError: not a paper that can be read; the sentence says why.
    """
    from costbook.hosts import pages, reading
    from costbook.invoices import en16931, price_list, tabular

    name = name or path.name
    try:
        data = path.read_bytes()
    except OSError as error:
        raise HostUnavailable(f"{name} cannot be read ({error.strerror})", do="Look at its rights.") from error
    ending = path.suffix.lower()
    if not data:
        raise InvoiceError(f"{name} is empty", do="Save it again from the mail it came with.")
    if pages.is_pages(data) or ending in PRINTED:
        return [_printed(data, name, suppliers, facts)]
    if reading.is_other_workbook(data):
        return _listed(reading.other_workbook(data, name), name, suppliers)
    if data.startswith(b"PK") or ending in WORKBOOKS:
        return _listed(WorkbookFile(path).snapshot(), name, suppliers)
    if ending == ".xml" or en16931.looks_like(data):
        return [en16931.read(data, name)]
    if ending in LISTS:
        prices = price_list.read({"": tabular.csv_rows(data, name)}, name, suppliers)
        return [prices] if prices else tabular.read_csv(data, name)
    kinds = "CSV, XLSX, XLS and ODS lists, PDFs, scans and XML e-invoices are read."
    raise InvoiceError(f"{name} is no kind of paper this tool reads", do=kinds)


def table_rows(path: Path) -> list[Sequence[Value]]:
    """The rows of a list, CSV or the first tab of a workbook that holds something.

    Raises:
        CostbookError: no such file, or no list; the sentence says why.
    """
    from costbook.hosts import reading
    from costbook.invoices import tabular

    try:
        data = path.read_bytes()
    except OSError as error:
        raise HostUnavailable(f"{path.name} cannot be read ({error.strerror})", do="Look at its name and rights.") from error
    if reading.is_other_workbook(data):
        snapshot = reading.other_workbook(data, path.name)
    elif data.startswith(b"PK"):
        snapshot = WorkbookFile(path).snapshot()
    else:
        return list(tabular.csv_rows(data, path.name))
    return next((list(grid.rows) for grid in snapshot.grids.values() if grid.rows), [])


def _listed(snapshot: Snapshot, name: str, suppliers: Sequence[str]) -> list[Invoice]:
    """The papers in a workbook, or the price list it is; a workbook such as hers is neither."""
    from costbook.invoices import price_list, tabular

    if {layout.PRODUCTS.name, layout.CHANNELS.name} <= snapshot.grids.keys():
        raise InvoiceError(f"{name} is a workbook of costs, with the tabs Products and Channels, and no supplier paper", do="Post the papers themselves.")
    prices = price_list.read({grid.name: grid.rows for grid in snapshot.grids.values()}, name, suppliers)
    return [prices] if prices else tabular.read_grids(snapshot, name)


def _printed(data: bytes, name: str, suppliers: Sequence[str], facts: Facts | None) -> Invoice:
    """A PDF or picture: the e-invoice inside where there is one and the page does not contradict it, else the page."""
    from costbook.hosts.pages import read_pages
    from costbook.invoices import en16931, page

    document = read_pages(data, name)
    inside, said = [], []
    for xml in document.xml:
        try:
            inside += [en16931.read(xml, name)] if en16931.looks_like(xml) else []
        except InvoiceError as error:
            said.append(f"the e-invoice inside the file cannot be read: {error.sentence}")
    if len(inside) > 1:
        said.append(f"the file holds {len(inside)} e-invoices")
    if inside and any(line.line_id for line in inside[0].lines):
        said += page.disagreements(inside[0], document.pages, facts)
        return inside[0]._replace(problems=(*inside[0].problems, *said))
    read = page.read(document, name, suppliers, facts)
    # An e-invoice of sums alone (a profile without lines) still has to be the paper that is seen.
    said += [why for one in inside for why in page.disagreements(one, document.pages, facts)]
    return read._replace(problems=(*read.problems, *said))


def picture(paper: Path, folder: Path) -> tuple[Invoice, tuple[str, ...], list[Path]]:
    """Draws each page of a PDF or scan with boxes over what was read of it.

    Returns: the paper as read from its pages, the reasons why it would wait, and the PNG files made in the folder.

    Raises:
        CostbookError: not such a paper, or a picture of that name is there already.
    """
    from costbook.hosts import pages
    from costbook.invoices import checks, page

    try:
        data = paper.read_bytes()
    except OSError as error:
        raise HostUnavailable(f"{paper} cannot be read ({error.strerror})", do="Look at its name.") from error
    document = pages.read_pages(data, paper.name)
    read = page.read(document, paper.name)
    made = []
    for number, png in enumerate(pages.drawn(data, paper.name, page.boxes(document, read)), 1):
        made.append(folder / f"{paper.stem}-read-{number}.png")
        disk.new_file(made[-1], png)
    return read, checks.problems(read), made

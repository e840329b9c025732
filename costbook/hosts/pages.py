"""PDFs, scans and photos as pages of words, each read in a process of its own that has limits of time and memory.

Run as a module this file is the child: it loads the PDF libraries once, stays, and splits off a process for every paper
it is handed; where a system cannot split processes a child is started for each. The parent imports no PDF library, and a
paper that never ends, fills the memory or stops the reader costs a sentence. A picture is read by tesseract where that is
installed, twice at two sizes, so that what was misread once is noticed.
"""

from __future__ import annotations

import base64
import contextlib
import csv
import gc
import io
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import IO, Any, NoReturn

from costbook.book.words import BOX_COLOURS, Box, Document, Page, Word
from costbook.errors import HostUnavailable

LIMIT_BYTES = 20_000_000
LIMIT_PAGES, LIMIT_SCANNED = 30, 8
LIMIT_WORDS = 60_000
LIMIT_XML = 20_000_000
LIMIT_MEMORY = 1536 << 20
LIMIT_DRAWING = 4_000_000  # bytes that all pages of a paper may unpack to, before anything reads them
SECONDS, SECONDS_SCAN = 20, 240
LIMIT_PIXELS = 60_000_000
DPI = 300
# A scan is read again a little larger: letters that were not clear mostly come out otherwise.
AGAIN = 1.3
LANGUAGES = ("eng", "deu", "fra", "nld", "spa")
PDF = b"%PDF-"
PICTURES = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\x00", b"MM\x00*")
TYPE_IT = "Type its lines on the Purchases tab, or ask the supplier for a list or an e-invoice."


def is_pages(data: bytes) -> bool:
    """Whether the first bytes are those of a PDF or of a picture that can be read, whatever the file's name says."""
    return PDF in data[:1024] or data.startswith(PICTURES)


def read_pages(data: bytes, name: str) -> Document:
    """The words of a PDF or picture with their places, and the XML files inside.

    Raises:
        HostUnavailable: too large, damaged, locked, endless, or a picture that nothing here can read.
    """
    if not is_pages(data):
        raise HostUnavailable(f"{name} is neither a PDF nor a picture", do="Name a PDF, a scan or a photo; if it is to be one, ask for it again.")
    if len(data) > LIMIT_BYTES:
        raise HostUnavailable(f"{name} is larger than {LIMIT_BYTES // 1_000_000} MB, which is not read", do=TYPE_IT)
    told: dict[str, Any] = {"pages": [], "xml": []}
    if PDF in data[:1024]:
        told = _child(data, name, "text", SECONDS)
    xml = tuple(text.encode("latin-1") for text in told["xml"])
    pages = _pages(told["pages"])
    if any(page.words for page in pages):
        return Document(xml, pages)
    if shutil.which("tesseract") is None:
        if xml:
            return Document(xml, ())
        do = "Install tesseract-ocr to have it read, or type its lines on the Purchases tab."
        raise HostUnavailable(f"{name} is a picture, which is read only where tesseract is installed", do=do)
    scanned = _child(data, name, "scan", SECONDS_SCAN)
    return Document(xml, _pages(scanned["pages"]), _pages(scanned["again"]))


def drawn(data: bytes, name: str, boxes: Sequence[Box]) -> list[bytes]:
    """Each page of a paper that was read as a PNG picture with boxes over it.

    Raises:
        HostUnavailable: as for `read_pages`.
    """
    asked = [[box.page, box.x0, box.top, box.x1, box.bottom, BOX_COLOURS[box.colour], box.words] for box in boxes]
    told = _child(json.dumps(asked).encode() + b"\n" + data, name, "draw", SECONDS)
    return [base64.b64decode(text) for text in told["pictures"]]


def _pages(told: list[dict[str, Any]]) -> tuple[Page, ...]:
    return tuple(
        Page(
            page["number"], page["width"], page["height"], tuple(Word(*word) for word in page["words"]), page["picture"]
        )
        for page in told
    )


def _child(data: bytes, name: str, way: str, seconds: int) -> dict[str, Any]:
    """What the process that reads the paper says; it and what it started are ended at the time limit."""
    try:
        told = json.loads(_answer(data, way, seconds))
    except TimeoutError:
        raise HostUnavailable(
            f"{name} was still being read after {seconds} seconds and was given up", do=TYPE_IT
        ) from None
    except ValueError:
        what = f"{name} cannot be read: it needs more than {seconds} seconds or {LIMIT_MEMORY >> 20} MB of memory"
        raise HostUnavailable(what, do=TYPE_IT) from None
    if "error" in told:
        raise HostUnavailable(f"{name} {told['error']}", do=told.get("do") or TYPE_IT)
    return dict(told)


_staying: list[subprocess.Popen[bytes]] = []  # the child that stays, if there is one


def _answer(data: bytes, way: str, seconds: int) -> bytes:
    """The bytes the child answers.

    Raises:
        TimeoutError: it did not within the seconds and a few more.
    """
    stays = hasattr(os, "fork")
    child = _staying.pop() if _staying else None
    if child is None or child.poll() is not None or child.args != _command(stays):
        child = _started(stays)
    try:
        if not stays:
            return child.communicate(_asked(data, way, seconds), timeout=seconds + 5)[0].partition(b"\n")[2]
        answer = _heard(child, _asked(data, way, seconds), time.monotonic() + seconds + 5)
    except subprocess.TimeoutExpired:
        _end(child)
        raise TimeoutError from None
    except BaseException:
        _end(child)
        raise
    if answer:
        _staying.append(child)
    else:
        _end(child)
    return answer


def _command(stays: bool) -> list[str]:
    # -P: a file csv.py among the papers of the folder she works in is not what is imported.
    return [sys.executable, "-P", "-m", __name__, "stay" if stays else "once"]


def _started(stays: bool) -> subprocess.Popen[bytes]:
    roof = str(Path(__file__).resolve().parents[2])
    paths = os.pathsep.join(filter(None, [roof, os.environ.get("PYTHONPATH", "")]))
    surroundings = os.environ | {"PYTHONPATH": paths, "OMP_THREAD_LIMIT": "1"}
    pipe, quiet = subprocess.PIPE, subprocess.DEVNULL
    return subprocess.Popen(
        _command(stays), stdin=pipe, stdout=pipe, stderr=quiet, env=surroundings, start_new_session=True, bufsize=0
    )


def _asked(data: bytes, way: str, seconds: int) -> bytes:
    return f"{way} {seconds} {len(data)}\n".encode() + data


def _heard(child: subprocess.Popen[bytes], asked: bytes, until: float) -> bytes:
    """One answer of the child that stays: its length on a line, then so many bytes; nothing where it came to an end."""
    assert child.stdin and child.stdout
    # A thread hands it over: a child that does not listen would hold up a write of more than the pipe takes.
    threading.Thread(target=_handed, args=(child.stdin, asked), daemon=True).start()
    heard, wanted = b"", -1
    while wanted < 0 or len(heard) < wanted:
        if not select.select([child.stdout], [], [], max(0.0, until - time.monotonic()))[0]:
            raise TimeoutError
        more = os.read(child.stdout.fileno(), 1 << 20)
        if not more:
            return b""
        heard += more
        if wanted < 0 and b"\n" in heard:
            length, _, heard = heard.partition(b"\n")
            wanted = int(length)
    return heard


def _handed(stdin: IO[bytes], asked: bytes) -> None:
    with contextlib.suppress(OSError, ValueError):
        left = memoryview(asked)
        while left:
            left = left[stdin.write(left) :]


def _end(child: subprocess.Popen[bytes]) -> None:
    """End the child and what it started."""
    with contextlib.suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(child.pid, signal.SIGKILL)
        else:
            child.kill()
    for pipe in (child.stdin, child.stdout):
        if pipe:
            pipe.close()
    child.wait()


# ------------------------------------------------------------------ in the child


class _Unreadable(Exception):
    """The sentence about a paper, without its name, and what to do."""

    def __init__(self, sentence: str, do: str = "") -> None:
        super().__init__(sentence)
        self.do = do


def _main(stays: bool) -> None:
    """The child: papers from stdin, an answer for each on stdout, whatever happens; the next process waits ready."""
    if stays:
        _warmed_up()
        gc.disable()  # a process that reads one paper ends before its collector of cycles would be of use
    while stays:
        split = os.fork()
        if not split:
            _answered()
        if os.waitpid(split, 0)[1]:  # nothing more is asked, or it was ended, as the parent sees by the end of the pipe
            return
    _answered()


def _warmed_up() -> None:
    """Has the libraries load what they load on their first paper, for all the processes that are split off."""
    import pypdf

    blank, out = pypdf.PdfWriter(), io.BytesIO()
    blank.add_blank_page(9, 9)
    blank.write(out)
    _text(out.getvalue())


def _answered() -> NoReturn:
    """Reads the one paper that is asked for next, and ends."""
    asked = sys.stdin.buffer.readline().split()
    if not asked:
        os._exit(1)
    way, seconds, size = asked
    _say(json.dumps(_told(way.decode(), int(seconds), sys.stdin.buffer.read(int(size)))).encode())
    os._exit(0)


def _say(answer: bytes) -> None:
    sys.stdout.buffer.write(b"%d\n" % len(answer) + answer)
    sys.stdout.buffer.flush()


def _told(way: str, seconds: int, data: bytes) -> dict[str, Any]:
    """What there is to say of one paper, within the limits."""
    _limit(seconds)
    try:
        return {"text": _text, "scan": _scan, "draw": _draw}[way](data)
    except _Unreadable as error:
        return {"error": str(error), "do": error.do}
    except MemoryError:
        return {"error": f"needs more than {LIMIT_MEMORY >> 20} MB of memory, as no honest paper does"}
    except Exception as error:  # a reader of damaged files fails in every way there is; the child has no other duty
        return {"error": f"is damaged and cannot be read ({type(error).__name__})", "do": "Ask for it again."}


def _limit(seconds: int) -> None:
    try:
        import resource
    except ImportError:  # a system without such limits; the time limit of the parent holds there
        return
    for kind, wanted in ((resource.RLIMIT_CPU, seconds), (resource.RLIMIT_AS, LIMIT_MEMORY)):
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(kind, (wanted, wanted))


def _text(data: bytes) -> dict[str, Any]:
    """The XML inside a PDF and the words of its text layer."""
    xml, count = _opened(data)
    if count > LIMIT_PAGES:
        raise _Unreadable(f"has {count:,} pages; more than {LIMIT_PAGES} are not read")
    return {"xml": [part.decode("latin-1") for part in xml], "pages": list(_layer(data))}


def _opened(data: bytes) -> tuple[list[bytes], int]:
    """The XML attachments and the number of pages; refuses a PDF with a password."""
    import pypdf
    from pypdf.errors import PyPdfError

    try:
        reader = pypdf.PdfReader(io.BytesIO(data))
        if reader.is_encrypted and not reader.decrypt(""):
            raise _Unreadable("is locked with a password", "Save it without one.")
        tree: Any = reader.root_object["/Pages"].get_object()
        stated = int(tree.get("/Count", 0))  # counting them one by one takes long where there are very many
        count = stated if stated > LIMIT_PAGES else len(reader.pages)
        if count <= LIMIT_PAGES and sum(map(_drawing, reader.pages)) > LIMIT_DRAWING:
            raise _Unreadable(f"unpacks to more than {LIMIT_DRAWING // 1_000_000} MB of drawing, as no supplier's paper does")
        xml = [part for files in reader.attachments.values() for part in files if b"<" in part[:200]]
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _Unreadable("is damaged or cut off, or no PDF at all", "Ask for it again.") from error
    if not count:
        raise _Unreadable("has no pages", "Ask for it again.")
    return [part for part in xml if len(part) <= LIMIT_XML], count


def _drawing(page: Any) -> int:
    """How many bytes a page's own drawing unpacks to; a stream that its reader will not unpack is too many."""
    from pypdf.errors import LimitReachedError

    found = page.get("/Contents")
    found = found.get_object() if found is not None else []
    try:
        return sum(len(part.get_object().get_data()) for part in (found if isinstance(found, list) else [found]))
    except LimitReachedError:
        return LIMIT_DRAWING + 1


def _layer(data: bytes) -> Iterator[dict[str, Any]]:
    import pdfplumber
    from pdfplumber.utils.text import extract_words

    left = LIMIT_WORDS
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        for number, page in enumerate(pdf.pages, 1):
            found = extract_words(list(_letters(page)), x_tolerance_ratio=0.15, keep_blank_chars=False)
            words = [
                [w["text"], w["x0"], w["top"], w["x1"], w["bottom"], 100.0] for w in found if w.get("upright", True)
            ]
            left -= len(words)
            if left < 0:
                raise _Unreadable(f"has more than {LIMIT_WORDS:,} words, as no supplier's paper has")
            picture = not words and bool(page.images)
            yield _page(number, page.width, page.height, words, picture)
            page.close()


def _letters(page: Any) -> Iterator[dict[str, Any]]:
    """The letters of a page with what `extract_words` asks of them.

    The page's own `chars` are the same letters with everything there is to tell of each, its lines and boxes too; that
    takes as long as all the rest of the reading.
    """
    left, above = page.mediabox[:2]

    def told(shape: Any) -> Iterator[dict[str, Any]]:
        if isinstance(shape, Iterable):
            for one in shape:
                yield from told(one)
        elif hasattr(shape, "upright"):
            top = page.height - shape.y1 + above
            yield {
                "text": shape.get_text(), "x0": shape.x0 + left, "x1": shape.x1 + left, "top": top,
                "bottom": page.height - shape.y0 + above, "doctop": page.initial_doctop + top, "upright": shape.upright,
                "size": shape.size,
            }  # fmt: skip

    return told(page.layout)


def _page(number: int, width: float, height: float, words: list[list[Any]], picture: bool = False) -> dict[str, Any]:
    return {"number": number, "width": float(width), "height": float(height), "words": words, "picture": picture}


def _scan(data: bytes) -> dict[str, Any]:
    """The words of pictures, read twice."""
    first, again = [], []
    for number, picture in enumerate(_pictures(data), 1):
        if number > LIMIT_SCANNED:
            raise _Unreadable(f"has more than {LIMIT_SCANNED} pages that are pictures; more are not read")
        upright = _straightened(picture)
        first.append(_recognised(upright, number, DPI))
        larger = upright.resize((round(upright.width * AGAIN), round(upright.height * AGAIN)))
        again.append(_recognised(larger, number, round(DPI * AGAIN)))
    return {"pages": first, "again": again}


def _pictures(data: bytes) -> Iterator[Any]:
    """Each page in shades of grey, about 300 dots an inch."""
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = LIMIT_PIXELS
    if PDF in data[:1024]:
        import pdfplumber

        with pdfplumber.open(io.BytesIO(data)) as pdf:
            for page in pdf.pages:
                if page.width * page.height * (DPI / 72) ** 2 > LIMIT_PIXELS:
                    raise _Unreadable("has a page larger than any sheet of paper")
                yield page.to_image(resolution=DPI).original.convert("L")
        return
    try:
        with Image.open(io.BytesIO(data)) as opened:
            if opened.width * opened.height > LIMIT_PIXELS:
                raise _Unreadable(f"has more than {LIMIT_PIXELS // 1_000_000} million dots, which are not read")
            for frame in range(getattr(opened, "n_frames", 1)):
                opened.seek(frame)
                yield ImageOps.exif_transpose(opened).convert("L")
    except Image.DecompressionBombError as error:
        raise _Unreadable(f"has more than {LIMIT_PIXELS // 1_000_000} million dots, which are not read") from error
    except (OSError, SyntaxError) as error:
        raise _Unreadable("is a damaged picture", "Ask for it again.") from error


def _straightened(picture: Any) -> Any:
    """The picture turned by the small angle at which its lines of writing stand out best."""
    small = picture.resize((max(picture.width // 4, 1), max(picture.height // 4, 1)))

    def sharpness(angle: float) -> int:
        turned = small.rotate(angle, fillcolor=255, resample=2)
        column = turned.resize((1, turned.height), resample=4)  # each row's mean shade
        shades = list(column.tobytes())
        return sum((a - b) ** 2 for a, b in pairwise(shades))

    coarse = max((step / 2 for step in range(-10, 11)), key=sharpness)
    angle = max((coarse + step / 10 for step in range(-4, 5)), key=sharpness)
    return picture if abs(angle) < 0.15 else picture.rotate(angle, fillcolor=255, resample=3, expand=False)


def _recognised(picture: Any, number: int, dpi: int) -> dict[str, Any]:
    """What tesseract reads of one picture, as a page of words."""
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "page.png")
        picture.save(file, dpi=(dpi, dpi))
        command = ["tesseract", file, "stdout", "--dpi", str(dpi), "--psm", "6", "-l", _languages(), "tsv"]
        done = subprocess.run(command, capture_output=True, check=False, stdin=subprocess.DEVNULL)
    if done.returncode:
        raise _Unreadable("is a picture that tesseract cannot read")
    return _page(number, picture.width * 72 / dpi, picture.height * 72 / dpi, list(_boxes(done.stdout, 72 / dpi)))


def _draw(data: bytes) -> dict[str, Any]:
    """The pages as pictures with boxes over them, which stand as JSON on the first line."""
    from PIL import ImageDraw, ImageFont

    first, _, paper = data.partition(b"\n")
    boxes = json.loads(first)
    scale, font, found = DPI / 2 / 72, ImageFont.load_default(18), []
    is_picture = PDF not in paper[:1024]
    for number, picture in enumerate(_pictures(paper), 1):
        if number > LIMIT_SCANNED:
            break
        upright = _straightened(picture) if is_picture else picture
        half = upright.resize((upright.width // 2, upright.height // 2)).convert("RGB")
        pen = ImageDraw.Draw(half)
        for page, x0, top, x1, bottom, colour, words in boxes:
            if page == number:
                edge = [x0 * scale - 5, top * scale - 3, x1 * scale + 5, bottom * scale + 3]
                pen.rectangle(edge, outline=colour, width=2)
                room = min(edge[2] + 6, half.width - 10 - pen.textlength(words, font))
                pen.text((room, edge[1] - (16 if room < edge[2] else 0)), words, colour, font)
        out = io.BytesIO()
        half.save(out, "PNG")
        found.append(base64.b64encode(out.getvalue()).decode())
    return {"pictures": found}


def _languages() -> str:
    done = subprocess.run(["tesseract", "--list-langs"], capture_output=True, check=False, stdin=subprocess.DEVNULL)
    there = done.stdout.decode("utf-8", "replace").split()
    return "+".join(name for name in LANGUAGES if name in there) or "eng"


def _boxes(table: bytes, scale: float) -> Iterator[list[Any]]:
    """Word boxes of a table by tesseract (TSV: level 5 is a word; places in dots)."""
    for row in csv.DictReader(io.StringIO(table.decode("utf-8", "replace")), delimiter="\t", quoting=csv.QUOTE_NONE):
        text = (row.get("text") or "").strip()
        if row["level"] == "5" and text.strip("|_—-~'`.‘’“”") and float(row["conf"]) >= 0:
            left, top = int(row["left"]) * scale, int(row["top"]) * scale
            right, bottom = left + int(row["width"]) * scale, top + int(row["height"]) * scale
            yield [text, left, top, right, bottom, float(row["conf"])]


if __name__ == "__main__":
    _main(sys.argv[1] == "stay")

"""Every reader of papers under a coverage-guided fuzzer for a few seconds, from the sample papers on: no crash, no hang.

Where the fuzzer does not install (it is built for Linux) the test skips; `COSTBOOK_LONG=1` gives each reader ten minutes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_invoices"
SECONDS = 600 if os.environ.get("COSTBOOK_LONG") else 6
PRINTED = "INVOICE\nHollow Oak Botanicals Ltd\nInvoice no.\tHB-1\nInvoice date\t14 September 2026\nItem code\tDescription\tQty\tUnit price\tAmount\n"
SEEDS = {
    "csv": sorted(SAMPLES.rglob("*.csv")), "xml": sorted(SAMPLES.rglob("*.xml")), "pdf": sorted(SAMPLES.rglob("*.pdf")), "sales": [], "words": [],
}  # fmt: skip
TEXTS = {
    "sales": "Order,Date,Product,Pieces\n#1,2026-10-05,P08,2\n", "words": PRINTED + "LV-10\tLavender oil\t4\t12.50\t50.00\nInvoice total\t50.00\n",
    "csv": "Supplier: Brackwell Dry Goods\nValid from 2026-12-01\nItem code,Description,Pack,Price\nM08,Foaming powder,5 lb,55.00\n",
}  # fmt: skip


@pytest.mark.parametrize("reader", SEEDS)
def test_no_paper_makes_a_reader_fall_over_or_hang(reader: str, tmp_path: Path) -> None:
    pytest.importorskip("atheris", reason="the fuzzer atheris is not installed")
    for path in SEEDS[reader]:
        shutil.copy(path, tmp_path / path.name)
    if reader in TEXTS:
        (tmp_path / "seed.txt").write_text(TEXTS[reader], encoding="utf-8")
    command = [sys.executable, str(Path(__file__).with_name("fuzz_readers.py")), reader, f"-max_total_time={SECONDS}", "-timeout=30", "-rss_limit_mb=3000", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.returncode == 0 and "Done " in done.stderr, done.stderr[-3000:]

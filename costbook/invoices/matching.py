"""Which of her materials a paper's line means, by what is certain: codes and confirmed names, never a likeness."""

from __future__ import annotations

from costbook.amounts.quantity import same_name
from costbook.book.model import Book, InvoiceLine


def material_of(line: InvoiceLine, book: Book) -> str:
    """The code of the material a line means: by her own code on the paper, the supplier's item code, or the very name.

    '' where none of these is known. A name counts as it stands on the Materials tab, aliases included.
    """
    by_code = {same_name(code): m.code for m in book.materials.values() for code in m.supplier_codes}
    for written in (line.buyer_code, line.item_code):
        code = by_code.get(same_name(written)) or book.names.get(same_name(written), "")
        if written and code in book.materials:
            return code
    code = book.names.get(same_name(line.name), "")
    return code if code in book.materials else ""

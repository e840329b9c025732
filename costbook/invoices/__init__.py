"""Supplier papers: bytes or a workbook that was read, into one `Invoice`, and the reasons why one may not be posted.

`en16931` reads e-invoices, `tabular` lists; `wording` knows what the words on a paper mean, `dialect` how it writes
numbers and dates; `matching` finds her material; `checks` adds everything up. A paper with any problem goes to her
review with what was read; nothing on it is dropped.
"""

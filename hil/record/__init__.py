"""The record: what was tested, the results, what was not tested and why.

    items.py      the items of a hose test
    document.py   the record as data, checked
    page.py       the record as a page that prints on two sheets; page.html, its template
    files.py      written; nobody else's file is overwritten
"""

from hil.record.document import hose_test
from hil.record.files import check, check_file, write, write_hose_test

__all__ = ["check", "check_file", "hose_test", "write", "write_hose_test"]

"""The record: what was tested, the results, what was not tested and why.

    items.py      the items of a hose test
    document.py   the record as data, checked
    layout.py     fits tables onto a sheet of paper
    page.py       the record as a page that prints on two sheets; page.html, its template
    files.py      written; nobody else's file is overwritten
"""

from hil.record.document import hose_test, settings_checksum
from hil.record.files import check, check_file, write, write_hose_test

__all__ = ["check", "check_file", "hose_test", "settings_checksum", "write", "write_hose_test"]

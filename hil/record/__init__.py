"""The paper that is left behind: what was tested, what came of it, what was not tested and why.

    items.py      the items of a hose test
    document.py   the record as data, checked
    layout.py     fits tables onto a sheet of paper
    page.py       the record as a page that prints on two sheets
    files.py      written, and nothing overwritten
"""

from hil.record.document import hose_test, settings_checksum
from hil.record.files import check, check_file, write, write_hose_test

__all__ = ["check", "check_file", "hose_test", "settings_checksum", "write", "write_hose_test"]

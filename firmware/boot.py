"""Outputs safe first; then whether main.py is whole, because main.py cannot look after itself.

A soft reset leaves pins as they were and may skip main.py; this file runs all
the same.  Nothing may escape from it: on some ports main.py does not run after
an error here.
"""

try:
    import binascii
    import sys

    def sealed(path: str) -> bool:
        """Tell whether a file is as its last line, the CRC-32 over all before it, says."""
        try:
            with open(path, "rb") as file:
                text = file.read(32768)
            end = text.rfind(b"# sum ")
            return end > 0 and int(text[end + 6 :], 16) == binascii.crc32(text[:end])
        except Exception:
            return False

    if sealed("/lib/duplexsump/station/minimal.py"):
        sys.path.insert(0, "/lib/duplexsump/station")
        minimal = __import__("minimal")
        sys.path.pop(0)
        board = minimal.pins()
        # In maintenance either will do, main.py or the prompt.
        if board.kept() & 3 != minimal.MAINTENANCE and not sealed("/main.py"):
            minimal.run(board, "main.py is damaged")
except BaseException as error:
    print("boot.py:", error)

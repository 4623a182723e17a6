"""The narrative as a page with a mark at every clause, for the links of the living pit."""

import html
import re
import sys
from pathlib import Path

import duplexsump

NAME = "NARRATIVE.md"
CLAUSE = re.compile(r"^(?:- )?\*\*([A-Z]\d+)\b")


def text():
    """Return the narrative: from beside the firmware in a clone, else from where pip has put it."""
    beside = Path(duplexsump.__file__).resolve().parents[2] / NAME
    path = beside if beside.is_file() else Path(sys.prefix) / "share" / "sumpbench" / NAME
    return path.read_text(encoding="utf-8")


def page():
    """Return the narrative as an HTML page; clause D1 has the id "D1"."""
    body = "\n".join(_marked_once(_blocks(text())))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<title>sumpbench: control narrative</title>\n<link rel="stylesheet" href="page.css">\n</head>\n'
        f'<body class="text">\n<main class="text">\n<p><a href="index.html">To the living pit</a></p>\n{body}\n'
        "</main>\n</body>\n</html>\n"
    )


def _marked_once(blocks):
    # A clause that is named again, in a later list, is no second mark.
    seen = set()
    for block in blocks:
        found = re.match(r'<p id="([A-Z]\d+)"', block)
        if found and found.group(1) in seen:
            block = block.replace(f' id="{found.group(1)}"', "", 1)
        elif found:
            seen.add(found.group(1))
        yield block


def _blocks(source):
    for block in re.split(r"\n\s*\n", source):
        lines = block.strip("\n").split("\n")
        if lines[0].startswith("#"):
            level = len(lines[0]) - len(lines[0].lstrip("#"))
            yield f"<h{level}>{_inline(lines[0].lstrip('# '))}</h{level}>"
            lines = lines[1:]
        if not lines or not lines[0]:
            continue
        if lines[0].startswith("|"):
            yield _table(lines)
        else:
            yield from _paragraphs(lines)


def _paragraphs(lines):
    # A list item begins a paragraph of its own; so does a clause.
    held = []
    for line in lines:
        if held and (line.startswith("- ") or CLAUSE.match(line)):
            yield _paragraph(held)
            held = []
        held.append(line)
    yield _paragraph(held)


def _paragraph(lines):
    joined = " ".join(line.strip() for line in lines)
    found = CLAUSE.match(joined)
    mark = f' id="{found.group(1)}"' if found else ""
    kind = ' class="item"' if joined.startswith("- ") else ""
    return f"<p{mark}{kind}>{_inline(joined.removeprefix('- '))}</p>"


def _table(lines):
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in lines]
    kept = [row for row in rows if not all(set(cell) <= set("-: ") for cell in row)]
    head = "".join(f'<th scope="col">{_inline(cell)}</th>' for cell in kept[0])
    body = "".join("<tr>" + "".join(f"<td>{_inline(cell)}</td>" for cell in row) + "</tr>" for row in kept[1:])
    return f'<div class="wide" tabindex="0" role="region" aria-label="table"><table><tr>{head}</tr>{body}</table></div>'


def _inline(words):
    words = html.escape(words, quote=False)
    words = re.sub(r"`([^`]+)`", r"<code>\1</code>", words)
    words = re.sub(r"\*\*([^*]+)\*\*", r"<strong>\1</strong>", words)
    return re.sub(r"\*([^*]+)\*", r"<em>\1</em>", words)

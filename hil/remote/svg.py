"""Small plots as SVG text: a row of bars, and a curve; each names itself, its greatest value and its last."""

WIDTH, HEIGHT, TOP, BOTTOM = 220, 84, 22, 16


def _head(title, note):
    return (f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{title}: {note}" xmlns="http://www.w3.org/2000/svg">'
            f'<text x="0" y="11" font-size="9" font-weight="600">{title}</text>'
            f'<text x="{WIDTH}" y="11" font-size="8" text-anchor="end">{note}</text>')  # fmt: skip


def _foot(first, last):
    y = HEIGHT - 3
    return (f'<text x="0" y="{y}" font-size="8">{first}</text>'
            f'<text x="{WIDTH}" y="{y}" font-size="8" text-anchor="end">{last}</text></svg>')  # fmt: skip


def bars(title, values, show, first="", last=""):
    """Return bars of `values` (None: nothing known, a dot); `show(value)` is the text of a value."""
    known = [value for value in values if value is not None]
    note = f"most {show(max(known))}, last {show(values[-1])}" if known and values[-1] is not None else "no record"
    most, base = max(known, default=0) or 1, HEIGHT - BOTTOM
    step = WIDTH / max(1, len(values))
    parts = [_head(title, note), f'<line x1="0" y1="{base}" x2="{WIDTH}" y2="{base}" stroke="#111"/>']
    for i, value in enumerate(values):
        x = i * step
        if value is None:
            parts.append(f'<circle cx="{x + step / 2:.1f}" cy="{base - 3}" r="1" fill="#777"/>')
            continue
        high = (base - TOP) * value / most
        parts.append(
            f'<rect x="{x + 1:.1f}" y="{base - high:.1f}" width="{step - 2:.1f}" height="{high:.1f}" fill="#111"/>'
        )
    return "".join(parts) + _foot(first, last)


def curve(title, points, show, first="", last=""):
    """Return a curve of `points` [(x, value or None)], x rising; a gap where nothing is known."""
    known = [value for _, value in points if value is not None]
    if not known:
        return _head(title, "no record") + _foot(first, last)
    low, high = min(known), max(known)
    note = show(low) if show(low) == show(high) else f"{show(low)} to {show(high)}"
    if low == high:
        low, high = low - 1, high + 1  # a steady value runs through the middle
    left, right = points[0][0], points[-1][0]
    base, span = HEIGHT - BOTTOM, (high - low) or 1
    parts, run = [_head(title, note)], []
    for x, value in [*points, (right, None)]:
        if value is not None:
            at = (x - left) / ((right - left) or 1) * WIDTH
            run.append(f"{at:.1f},{base - (value - low) / span * (base - TOP):.1f}")
        elif run:
            parts.append(f'<polyline points="{" ".join(run)}" fill="none" stroke="#111" stroke-width="1.3"/>')
            run = []
    parts.append(f'<line x1="0" y1="{base}" x2="{WIDTH}" y2="{base}" stroke="#999"/>')
    return "".join(parts) + _foot(first, last)

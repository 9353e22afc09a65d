"""A delimited file as cells, so that single ones can be damaged."""

from __future__ import annotations


class Table:
    """Header and records of a delimited file, with the comment lines before them."""

    def __init__(self, content: bytes) -> None:
        text = content.decode("utf-8", errors="surrogateescape")
        lines = text.splitlines(keepends=True)
        start = next((n for n, line in enumerate(lines) if not line.startswith("#")), len(lines))
        self.comments, body = "".join(lines[:start]), "".join(lines[start:])
        self.sign = max("\t,;|", key=body.partition("\n")[0].count)
        lines = [line for line in body.splitlines() if line.strip(" ")]
        self.lines = [_split(line, self.sign) for line in lines] or [[""]]
        second = self.lines[1] if len(self.lines) > 1 else []
        formats = [cell[-1:] in ("s", "d", "n") and cell[:-1].isdigit() for cell in second]
        self.first = 2 if formats and all(formats) else 1

    @property
    def records(self) -> int:
        return len(self.lines) - self.first

    def row(self, share: float) -> int:
        """Line number of a record."""
        return min(self.first + int(share * self.records), len(self.lines) - 1)

    @property
    def torn(self) -> set[int]:
        """Records, from 1, whose cells are more or fewer than the header's."""
        width = len(self.lines[0])
        rows = enumerate(self.lines[self.first :], start=1)
        return {number for number, cells in rows if len(cells) != width}

    def content(self) -> bytes:
        body = "".join(self.sign.join(line) + "\n" for line in self.lines)
        return (self.comments + body).encode("utf-8", errors="surrogateescape")


def _split(line: str, sign: str) -> list[str]:
    """Cells of a line with their quotes, so that joining them gives the line again."""
    if '"' not in line:
        return line.split(sign)
    cells, quoted, cell = [], False, ""
    for letter in line:
        quoted ^= letter == '"'
        if letter == sign and not quoted:
            cells.append(cell)
            cell = ""
        else:
            cell += letter
    return [*cells, cell]

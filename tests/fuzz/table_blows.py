"""Blows to the cells of a delimited file: lost, added, hostile, with stray quotes ..."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from tests.fuzz.damage import Blow, Damaged
from tests.fuzz.delimited import Table

HOSTILE: Final = (
    "",
    " ",
    "NULL",
    "12 ft",
    "2099-01-01",
    "2090",
    "03-Aug-66",
    "31/12/1999",
    "1e400",
    "-1e300",
    "inf",
    "nan",
    "9" * 40,
    "x" * 150_000,
    "=cmd()",
    "\x00",
    "\u202eabc",
    "\U0001f6bd",
    "\ud7ff",
    "a\tb",
    "0x10",
    "-9999",
    "1,234",
    "1;2|3",
    "<script>",
    "POINT EMPTY",
)


def _on_table(change: Callable[[Table, Blow], set[int] | None]) -> Callable[..., None]:
    """Make a blow of a change to the main table; `change` gives the record lines it touched."""

    def act(damaged: Damaged, main: str, blow: Blow) -> None:
        if main not in damaged.files:
            return
        table = damaged.table = damaged.table or Table(damaged.files[main])
        if table.records < 1 or len(table.lines[0]) < 2:
            return
        known = damaged.touched is not None
        lines = change(table, blow)
        damaged.resized = True
        damaged.files[main] = table.content()
        damaged.records = table.records if known else None
        damaged.torn = set() if b'"' in damaged.files[main] else table.torn
        if lines is None:
            damaged.touched = None
        elif damaged.touched is not None:
            damaged.touched |= {line - table.first + 1 for line in lines}

    return act


def _cell(table: Table, blow: Blow) -> tuple[int, int]:
    row = table.row(blow.first)
    return row, int(blow.second * len(table.lines[row]))


def _drop_cell(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    if len(table.lines[row]) > 1:
        del table.lines[row][column]
    return {row}


def _add_cell(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    table.lines[row].insert(column, ("", "x", "7")[blow.force % 3])
    return {row}


def _hostile_cell(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    text = HOSTILE[blow.force % len(HOSTILE)]
    table.lines[row][column] = f'"{text}"' if set(text) & set(table.sign + "\t") else text
    return {row}


def _open_quote(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    table.lines[row][column] = '"' + table.lines[row][column]
    return {row}


def _inner_quote(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    cell = table.lines[row][column]
    place = blow.force % (len(cell) + 1)
    table.lines[row][column] = cell[:place] + '"' + cell[place:]
    return {row}


def _quotes_over_rows(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    last = min(row + 1 + blow.force % 4, len(table.lines) - 1)
    table.lines[row][column] = '"' + table.lines[row][column]
    if last == row:
        return {row}
    other = min(column, len(table.lines[last]) - 1)
    table.lines[last][other] += '"'
    return {row, last}


def _break_in_quotes(table: Table, blow: Blow) -> set[int]:
    row, column = _cell(table, blow)
    table.lines[row][column] = '"two\nlines"'
    return {row}


def _rename_column(table: Table, blow: Blow) -> None:
    column = int(blow.second * len(table.lines[0]))
    name = table.lines[0][column]
    others = [name + "_2", name[:-1], name[:1] + name[2:], "", table.lines[0][0], name.swapcase()]
    table.lines[0][column] = others[blow.force % len(others)]


def _drop_column(table: Table, blow: Blow) -> None:
    column = int(blow.second * len(table.lines[0]))
    table.lines = [line[:column] + line[column + 1 :] for line in table.lines]


def _change_header(table: Table, blow: Blow) -> None:
    column = int(blow.second * len(table.lines[0]))
    if blow.force % 2:
        del table.lines[0][column]
    else:
        table.lines[0].insert(column, "MORE")


def _other_sign(table: Table, blow: Blow) -> set[int] | None:
    sign = "\t,;|"[blow.force % 4]
    if sign == table.sign:
        return set()
    if blow.force % 3:
        table.sign = sign
        return None
    row = table.row(blow.first)
    table.lines[row] = [sign.join(table.lines[row])]
    return {row}


def _blank_line(table: Table, blow: Blow) -> set[int]:
    row = table.row(blow.first)
    table.lines[row][-1] += "\n" + " " * (blow.force % 3)
    return set()


def _encode(damaged: Damaged, main: str, blow: Blow) -> None:
    if main not in damaged.files:
        return
    damaged.table = None
    content = damaged.files[main]
    codes = ("utf-16", "utf-8-sig", "utf-16-le", "utf-32", "cp037")
    if blow.force % 2:
        text = content.decode("utf-8", errors="replace")
        damaged.files[main] = text.encode(codes[int(blow.first * len(codes))], errors="replace")
        damaged.touched = None
        return
    place = int(blow.second * len(content))
    damaged.files[main] = content[:place] + "Peña".encode("cp1252") + content[place:]
    damaged.touched = None


TEXT_FILE: Final = {
    "drop cell": _on_table(_drop_cell),
    "add cell": _on_table(_add_cell),
    "hostile cell": _on_table(_hostile_cell),
    "open quote": _on_table(_open_quote),
    "inner quote": _on_table(_inner_quote),
    "quotes over rows": _on_table(_quotes_over_rows),
    "break in quotes": _on_table(_break_in_quotes),
    "rename column": _on_table(_rename_column),
    "drop column": _on_table(_drop_column),
    "change header": _on_table(_change_header),
    "other sign": _on_table(_other_sign),
    "blank line": _on_table(_blank_line),
    "encode": _encode,
}

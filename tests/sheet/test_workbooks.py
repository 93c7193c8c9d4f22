"""A workbook from elsewhere is read or refused in our words, whatever is broken in it, and can't
grow beyond bounds.
"""

from __future__ import annotations

import io
import random
import re
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from helpers import first_short
from sheet.support import new, report

from codec.sheet import Entry, SheetError
from codec.sheet.exports import export, read_export
from grammar.errors import CodeError

TYPE = '<?xml version="1.0"?>\n<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">{}]>\n'
LAUGHS = TYPE.format(
    "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9))
)
OUTSIDE = TYPE.format('<!ENTITY b SYSTEM "file:///etc/passwd">')


@pytest.fixture(scope="module")
def workbook(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("workbook")
    with new(folder) as journal:
        journal.append_all(report() for _ in range(20))
        journal.append(Entry(kind="note", heard="=cmd()"))
        export(journal, folder / "e.xlsx")
    return archive_of(shared(parts_of((folder / "e.xlsx").read_bytes())))


def shared(parts: dict[str, bytes]) -> dict[str, bytes]:
    """Return the parts with their strings in one part, as spreadsheet programs save a workbook."""
    strings: list[bytes] = []

    def numbered(cell: re.Match[bytes]) -> bytes:
        strings.append(b"<si>" + cell[2] + b"</si>")
        return cell[1] + b't="s"><v>%d</v></c>' % (len(strings) - 1)

    cell = re.compile(rb'(<c [^>]*)t="inlineStr"><is>(.*?)</is></c>', re.DOTALL)
    made = {
        name: cell.sub(numbered, part) if name.startswith("xl/worksheets") else part
        for name, part in parts.items()
    }
    assert strings
    kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    made["[Content_Types].xml"] = made["[Content_Types].xml"].replace(
        b"</Types>",
        b'<Override PartName="/xl/sharedStrings.xml" ContentType="' + kind + b'"/></Types>',
    )
    space = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    made["xl/sharedStrings.xml"] = b'<sst xmlns="' + space + b'">' + b"".join(strings) + b"</sst>"
    return made


def parts_of(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def archive_of(parts: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return stream.getvalue()


def outcome(folder: Path, data: bytes) -> list[Entry] | str:
    """Return the entries of a workbook, or how it is refused; anything else is raised."""
    path = folder / "e.xlsx"
    path.write_bytes(data)
    try:
        read = read_export(path)
        return [] if read is None else list(read[1])
    except CodeError as error:
        return str(error)


def refused(folder: Path, data: bytes) -> str:
    told = outcome(folder, data)
    assert isinstance(told, str)
    assert "e.xlsx" in told
    return told


def names() -> list[str]:
    return [
        "[Content_Types].xml", "_rels/.rels", "xl/_rels/workbook.xml.rels", "xl/sharedStrings.xml",
        "xl/styles.xml", "xl/workbook.xml", "xl/worksheets/sheet2.xml", "xl/worksheets/sheet3.xml",
    ]  # fmt: skip


@pytest.mark.parametrize("name", names())
@pytest.mark.parametrize("entities", [LAUGHS, OUTSIDE], ids=["within", "from outside"])
def test_a_part_with_entities_is_refused(
    workbook: bytes, tmp_path: Path, name: str, entities: str
) -> None:
    parts = parts_of(workbook)
    body = parts[name].decode().removeprefix('<?xml version="1.0"?>')
    parts[name] = (entities + body.replace("</", "&b;</", 1)).encode()
    assert "document type declaration" in refused(tmp_path, archive_of(parts))


@pytest.mark.parametrize("name", names())
@pytest.mark.parametrize("cut", first_short([40, -1, 0, 1], 2))
def test_a_part_that_is_cut_or_gone_is_told(
    workbook: bytes, tmp_path: Path, name: str, cut: int
) -> None:
    parts = parts_of(workbook)
    parts[name] = parts[name][:cut]
    assert "is broken" in refused(tmp_path, archive_of(parts))
    del parts[name]
    told = outcome(tmp_path, archive_of(parts))
    assert isinstance(told, str) or name in ("xl/styles.xml", "_rels/.rels")


GROWN: dict[str, tuple[str, Callable[[bytes], bytes], str]] = {
    "strings of one letter": (
        "xl/sharedStrings.xml", lambda part: part + b"<!--" + b"a" * 60_000_000 + b"-->", "grow to",
    ),
    "a text without end": (
        "xl/worksheets/sheet2.xml",
        lambda part: part.replace(b"</v>", b"0" * 9_000_000 + b"</v>", 1), "too long for any cell",
    ),
    "a row of empty cells": (
        "xl/worksheets/sheet2.xml",
        lambda part: part.replace(b"</row>", b"<c/>" * 200_000 + b"</row>", 1), "16384 cells",
    ),
    "a row far down": (
        "xl/worksheets/sheet2.xml",
        lambda part: part.replace(b'r="2"', b'r="99999999999"', 1), "a row numbered",
    ),
    "styles": (
        "xl/styles.xml",
        lambda part: part.replace(b"</cellXfs>", b"<xf/>" * 200_000 + b"</cellXfs>"), "elements",
    ),
    "depth": (
        "xl/workbook.xml", lambda part: part.replace(b"<sheets>", b"<a>" * 5000 + b"<sheets>", 1),
        "nested too deeply",
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    "what",
    first_short(sorted(GROWN, key=lambda what: what in ("styles", "strings of one letter")), 4),
)
def test_a_small_file_does_not_grow_beyond_bounds(
    workbook: bytes, tmp_path: Path, what: str
) -> None:
    name, grow, said = GROWN[what]
    parts = parts_of(workbook)
    grown = grow(parts[name])
    assert grown != parts[name]
    data = archive_of({**parts, name: grown})
    del parts, grown
    tracemalloc.start()
    assert said in refused(tmp_path, data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 30_000_000


def mutated(data: bytes, seed: int) -> Iterator[bytes]:
    """Yield broken workbooks: bytes of the archive, of its parts, and parts in another's place."""
    chance = random.Random(seed)
    spoilt = bytearray(data)
    for _ in range(chance.choice([1, 5, 50])):
        spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
    yield bytes(spoilt)
    yield data[: chance.randrange(len(data))]
    parts = parts_of(data)
    name, other = chance.sample(sorted(parts), 2)
    yield archive_of({**parts, name: parts[other]})
    part = bytearray(parts[name])
    for _ in range(chance.choice([1, 3, 20])):
        place = chance.randrange(len(part))
        part[place : place + chance.choice([0, 1, 5])] = chance.choice(
            [b"<", b">", b'"', b"9" * 400, b"-1", b"e999", b"\0", b"&b;", b"true", b"", b"inf"]
        )
    yield archive_of({**parts, name: bytes(part)})
    text = parts[name].decode("utf-8", "replace")
    for was, now in chance.sample(SWAPS, 3):
        text = text.replace(was, now, chance.choice([1, -1]))
    yield archive_of({**parts, name: text.encode()})


SWAPS = [
    ('t="s"', 't="n"'), ('t="n"', 't="s"'), ('t="n"', 't="b"'), ('t="n"', 't="e"'),
    ('t="n"', 't="d"'), ("<v>", "<v>-"), ("<v>", "<v>9999"), ("</v>", "e99999</v>"),
    ('r="A', 'r="ZZZZZ'), ('r="', 'r="-'), ('r="', 'q="'), ('s="', 's="99'), ("sheet2", "sheet9"),
    ('Id="', 'Id="x'), ("<si>", "<si/><si>"), ("worksheet", "chartsheet"), ('count="', 'count="x'),
    ("numFmtId=", "numFmtID="), ('fontId="', 'fontId="-'), ("1", "x"), ("true", "maybe"),
    ("Target=", "target="), ('name="', 'name="\u202e'), ("main+xml", "main"),
]  # fmt: skip


@pytest.mark.parametrize("count", [8, pytest.param(1000, marks=pytest.mark.slow)])
def test_any_broken_workbook_is_read_or_told(workbook: bytes, tmp_path: Path, count: int) -> None:
    tried = told = 0
    for seed in range(count):
        for data in mutated(workbook, seed):
            tried += 1
            told += isinstance(outcome(tmp_path, data), str)
    print(f"\n  {tried} broken workbooks: {told} refused, {tried - told} read")
    assert told > tried / 3


def test_a_workbook_that_is_whole_is_read(workbook: bytes, tmp_path: Path) -> None:
    assert len(outcome(tmp_path, archive_of(parts_of(workbook)))) == 21


@pytest.mark.slow
def test_a_workbook_of_many_alike_is_not_taken_for_one_that_grows(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append_all(Entry(kind="note", heard="no" * 400) for _ in range(1500))
        export(journal, tmp_path / "e.xlsx")
        read = read_export(tmp_path / "e.xlsx")
        assert read is not None
        assert len(list(read[1])) == 1500


def test_numbers_that_are_none_are_told(workbook: bytes, tmp_path: Path) -> None:
    parts = parts_of(workbook)
    name = "xl/worksheets/sheet2.xml"
    for number in (b"1e999", b"nan", b"-1e400", b"0.5"):
        parts[name] = parts_of(workbook)[name].replace(b"<v>2</v>", b"<v>" + number + b"</v>")
        refused(tmp_path, archive_of(parts))


def test_a_csv_or_json_line_without_end_is_refused(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(report())
        for form in ("csv", "jsonl"):
            path = tmp_path / f"e.{form}"
            export(journal, path)
            with path.open("ab") as stream:
                stream.write(b"a" * 5_000_000)
            with pytest.raises(SheetError, match="more than 4000000 characters"):
                list((read_export(path) or (None, []))[1])

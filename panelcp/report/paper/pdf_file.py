"""A PDF of our own: numbered objects, a table of where they begin, streams packed.

"Portable Document Format" 1.4 as in ISO 32000-1: sections 7.3 (objects), 7.5 (file), 8.9 (images),
9.7 (composite fonts). Written at once, so that a page of words costs milliseconds, and with nothing
in it that changes from one writing to the next.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Mapping
from datetime import date

from panelcp.report.paper.faces import Face, face
from panelcp.report.paper.pixels import PaperPicture

_PACKING = 6
_HEAD = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"
_UNICODE_HEAD = """/CIDInit /ProcSet findresource begin
12 dict begin
begincmap
/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def
/CMapName /Adobe-Identity-UCS def
/CMapType 2 def
1 begincodespacerange
<0000> <FFFF>
endcodespacerange
"""
_UNICODE_FOOT = """endcmap
CMapName currentdict /CMap defineresource pop
end
end
"""
_FLAGS = 4
"""Of a font whose glyphs are reached by number."""


class PdfFile:
    """A PDF that is put together; `bytes()` ends it."""

    def __init__(self):
        self.objects: list[bytes | None] = []
        self.pages: list[int] = []
        self.letters: dict[bool, dict[int, str]] = {False: {}, True: {}}
        self.fonts = {bold: self._reserved() for bold in (False, True)}
        self.tree = self._reserved()

    def _reserved(self) -> int:
        self.objects.append(None)
        return len(self.objects)

    def _added(self, data: bytes, number: int | None = None) -> int:
        number = self._reserved() if number is None else number
        self.objects[number - 1] = data
        return number

    def _stream(self, data: bytes, entries: str = "", packed: bool = False) -> int:
        data = data if packed else zlib.compress(data, _PACKING)
        head = f"<< {entries} /Filter /FlateDecode /Length {len(data)} >>\nstream\n"
        return self._added(head.encode() + data + b"\nendstream")

    def shown(self, text: str, bold: bool) -> str:
        """A text as the glyph numbers that a page shows, which are kept for the font."""
        kept, glyph_of = self.letters[bold], face(bold).glyph_of
        numbers = []
        for letter in text:
            glyph = glyph_of.get(ord(letter), 0)
            kept.setdefault(glyph, letter)
            numbers.append(f"{glyph:04X}")
        return f"<{''.join(numbers)}>"

    def add_picture(self, picture: PaperPicture) -> int:
        """Put a picture into the file; its number."""
        colours = picture.palette.hex().upper()
        last = len(picture.palette) // 3 - 1
        return self._stream(
            picture.packed,
            f"/Type /XObject /Subtype /Image /Width {picture.width} /Height {picture.height} "
            f"/ColorSpace [/Indexed /DeviceRGB {last} <{colours}>] /BitsPerComponent 8",
            packed=True,
        )

    def add_page(self, size: tuple[float, float], drawing: str, pictures: Mapping[str, int]):
        """Put a page into the file.

        Parameters
        ----------
        size : width and height, points
        drawing : operators; fonts are /F0 (plain) and /F1 (bold)
        pictures : their names in the drawing, and their numbers
        """
        content = self._stream(drawing.encode("ascii"))
        named = "".join(f" /{name} {number} 0 R" for name, number in pictures.items())
        fonts = f"/F0 {self.fonts[False]} 0 R /F1 {self.fonts[True]} 0 R"
        box = " ".join(f"{side:.5f}".rstrip("0").rstrip(".") for side in size)
        entries = f"/Type /Page /Parent {self.tree} 0 R /MediaBox [0 0 {box}]"
        entries += f" /Contents {content} 0 R /Resources << /Font << {fonts} >>"
        entries += f" /XObject <<{named} >> >>"
        self.pages.append(self._added(f"<< {entries} >>".encode()))

    def bytes(self, metadata: Mapping[str, str]) -> bytes:
        """The whole file.

        Parameters
        ----------
        metadata : texts by key; "CreationDate" is an ISO date or "", which leaves it out
        """
        for bold, number in self.fonts.items():
            self._add_font(face(bold), self.letters[bold], number)
        kids = " ".join(f"{number} 0 R" for number in self.pages)
        self._added(
            f"<< /Type /Pages /Count {len(self.pages)} /Kids [{kids}] >>".encode(), self.tree
        )
        root = self._added(f"<< /Type /Catalog /Pages {self.tree} 0 R >>".encode())
        info = self._added(_information(metadata))
        out, starts = bytearray(_HEAD), []
        for number, data in enumerate(self.objects, start=1):
            starts.append(len(out))
            out += b"%d 0 obj\n%b\nendobj\n" % (number, data)
        place, count = len(out), len(self.objects) + 1
        out += b"xref\n0 %d\n0000000000 65535 f \n" % count
        out += b"".join(b"%010d 00000 n \n" % start for start in starts)
        name = hashlib.sha256(out).hexdigest()[:32].upper()
        out += f"trailer\n<< /Size {count} /Root {root} 0 R /Info {info} 0 R ".encode()
        out += f"/ID [<{name}> <{name}>] >>\nstartxref\n{place}\n%%EOF\n".encode()
        return bytes(out)

    def _add_font(self, type_: Face, letters: Mapping[int, str], number: int):
        """The part of a face that was shown, with its widths and what its letters mean."""
        part = type_.part(letters)
        file = self._stream(part, f"/Length1 {len(part)}")
        mark = hashlib.sha256(part).digest()[:6]
        name = "".join(chr(65 + byte % 26) for byte in mark) + f"+{type_.name}"
        box = " ".join(str(round(1000.0 * side)) for side in type_.box)
        rise, fall = round(1000.0 * type_.rise), round(1000.0 * type_.fall)
        descriptor = self._added(
            f"<< /Type /FontDescriptor /FontName /{name} /Flags {_FLAGS} /FontBBox [{box}] "
            f"/ItalicAngle 0 /Ascent {rise} /Descent {fall} /CapHeight 729 /StemV 80 "
            f"/FontFile2 {file} 0 R >>".encode()
        )
        widths = " ".join(f"{g} [{1000.0 * type_.advances[g]:.3f}]" for g in sorted(letters))
        system = "/CIDSystemInfo << /Registry (Adobe) /Ordering (Identity) /Supplement 0 >>"
        below = self._added(
            f"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /{name} {system} "
            f"/FontDescriptor {descriptor} 0 R /DW 600 /W [{widths}] "
            "/CIDToGIDMap /Identity >>".encode()
        )
        meaning = self._stream(_meaning(letters).encode("ascii"))
        self._added(
            f"<< /Type /Font /Subtype /Type0 /BaseFont /{name} /Encoding /Identity-H "
            f"/DescendantFonts [{below} 0 R] /ToUnicode {meaning} 0 R >>".encode(),
            number,
        )


def _meaning(letters: Mapping[int, str]) -> str:
    """The table from glyph numbers to letters, so that text can be searched and copied."""
    lines = [
        f"<{glyph:04X}> <{letter.encode('utf-16-be').hex().upper()}>"
        for glyph, letter in sorted(letters.items())
    ]
    text = _UNICODE_HEAD
    for first in range(0, len(lines), 100):
        some = lines[first : first + 100]
        text += "\n".join([f"{len(some)} beginbfchar", *some, "endbfchar", ""])
    return text + _UNICODE_FOOT


def _information(metadata: Mapping[str, str]) -> bytes:
    entries = []
    for key, text in metadata.items():
        if key == "CreationDate":
            day = f"D:{date.fromisoformat(text):%Y%m%d}000000Z" if text else ""
            entries += [f"/{key} ({day})"] if day else []
        else:
            entries.append(f"/{key} <FEFF{text.encode('utf-16-be').hex().upper()}>")
    return f"<< {' '.join(entries)} >>".encode()

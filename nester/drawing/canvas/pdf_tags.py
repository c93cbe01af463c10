"""The structure of a PDF: headings, paragraphs, tables, lists and figures, for who hears it read.

ISO 32000-1, 14.7 and 14.8.  fpdf2 has structure elements for pictures only, and none within one
another; here they are a tree.  What is drawn under no tag is marked as an artifact: lines between
rows, the foot of the page.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from fpdf.syntax import PDFObject, PDFString

from nester.drawing.canvas.marks import Tag

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["StructureTree"]


class StructureTree:
    """The structure of one document, in the place of fpdf2's own.

    fpdf2 asks it for its objects, and hands its pages to what it finds in ``doc_struct_elem.k``.
    """

    def __init__(self, pdf: FPDF) -> None:
        self._pdf = pdf
        self._marked_content: dict[int, list[Tag]] = {}
        self._objects: dict[Tag, _StructureElement] = {}
        self.doc_struct_elem = _Pages()

    def mark(self, tag: Tag) -> int:
        """Return the number of a tag's next marked content on the page that is being written."""
        number = self._pdf.page
        if number not in self._marked_content:
            self._marked_content[number] = []
            self.doc_struct_elem.k.append(_PageReference(number))
            self._pdf.pages[number].struct_parents = number - 1
        leaves = self._marked_content[number]
        leaves.append(tag)
        tag.children.append((number, len(leaves) - 1))
        return len(leaves) - 1

    def empty(self) -> bool:
        """Tell whether nothing is tagged."""
        return not self._marked_content

    def __iter__(self) -> Iterator[PDFObject]:
        """Yield the objects of the tree, its root first."""
        pages = {leaf.number: leaf for leaf in self.doc_struct_elem.k}
        top = next(iter(self._marked_content.values()))[0]
        while top.parent is not None:
            top = top.parent
        root = _StructureRoot()
        self._add(top, root, pages)
        elements = list(self._objects.values())
        parents = _ParentTree(
            [
                (number - 1, [self._objects[tag] for tag in leaves])
                for number, leaves in sorted(self._marked_content.items())
            ]
        )
        root.top, root.parents, root.next = elements[0], parents, max(self._marked_content) + 1
        yield root
        yield parents
        yield from elements

    def _add(self, top: Tag, root: PDFObject, pages: dict[int, _PageReference]) -> None:
        waiting = [top]
        while waiting:
            tag = waiting.pop()
            parent = root if tag.parent is None else self._objects[tag.parent]
            self._objects[tag] = _StructureElement(tag, parent, pages, self._objects)
            waiting += reversed([kid for kid in tag.children if isinstance(kid, Tag)])


class _PageReference:
    """A page as the tree sees it; fpdf2 sets `pg` before anything is written."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.pg: PDFObject | None = None

    def page_number(self) -> int:
        return self.number

    @property
    def ref(self) -> str:
        assert self.pg is not None  # noqa: S101
        return self.pg.ref


class _Pages:
    """Holds the pages where fpdf2 looks for elements."""

    def __init__(self) -> None:
        self.k: list[_PageReference] = []


class _StructureRoot(PDFObject):
    __slots__ = ("_id", "next", "parents", "top")

    def __init__(self) -> None:
        super().__init__()
        self.top: PDFObject = self
        self.parents: PDFObject = self
        self.next = 0

    def serialize(self, *_: object, **__: object) -> str:
        return (
            f"{self.id} 0 obj<</Type/StructTreeRoot/K {self.top.ref}/ParentTree {self.parents.ref}"
            f"/ParentTreeNextKey {self.next}>>endobj"
        )


class _ParentTree(PDFObject):
    """By page, the elements of its marked contents."""

    __slots__ = ("_id", "pages")

    def __init__(self, pages: list[tuple[int, list[_StructureElement]]]) -> None:
        super().__init__()
        self.pages = pages

    def serialize(self, *_: object, **__: object) -> str:
        rows = (f"{key}[{' '.join(element.ref for element in its)}]" for key, its in self.pages)
        return f"{self.id} 0 obj<</Nums[{' '.join(rows)}]>>endobj"


class _StructureElement(PDFObject):
    __slots__ = ("_id", "all", "pages", "parent", "tag")

    def __init__(
        self,
        tag: Tag,
        parent: PDFObject,
        pages: dict[int, _PageReference],
        every: dict[Tag, _StructureElement],
    ) -> None:
        super().__init__()
        self.tag, self.parent, self.pages, self.all = tag, parent, pages, every

    def serialize(self, *_: object, **__: object) -> str:
        tag = self.tag
        on = next((kid[0] for kid in tag.children if not isinstance(kid, Tag)), None)
        kids = []
        for kid in tag.children:
            if isinstance(kid, Tag):
                kids.append(self.all[kid].ref)
            elif kid[0] == on:
                kids.append(str(kid[1]))
            else:
                kids.append(f"<</Type/MCR/Pg {self.pages[kid[0]].ref}/MCID {kid[1]}>>")
        parts = [f"/S/{tag.role}/P {self.parent.ref}"]
        if on is not None:
            parts.append(f"/Pg {self.pages[on].ref}")
        if kids:
            parts.append(f"/K {kids[0]}" if len(kids) == 1 else f"/K[{' '.join(kids)}]")
        if tag.alt:
            parts.append(f"/Alt {PDFString(tag.alt).serialize()}")
        if tag.role == "TH":
            parts.append("/A<</O/Table/Scope/Column>>")
        return f"{self.id} 0 obj<<{''.join(parts)}>>endobj"

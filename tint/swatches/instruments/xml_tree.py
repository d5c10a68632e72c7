"""XML from strangers: no entities, nothing fetched, nothing deep or endless; elements found by local name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from tint.errors import InputError
from tint.swatches.gather import quoted, shown

# Bounds against files that are none of measurements: common practice, no source.
MOST_ELEMENTS = 300_000
DEEPEST = 60
MOST_ATTRIBUTES = 100
LONGEST_TAG = 100_000  # characters

_LONG_TAG = re.compile(rb"<[^<>]{%d}" % LONGEST_TAG)  # the parser would gather all its attributes before it asks


class _Bounded(TreeBuilder):
    """A tree that stops growing."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self._file, self._count, self._depth = file, 0, 0

    def start(self, tag: Any, attrs: Any, /) -> Element:
        """Open an element, unless there are too many."""
        self._count += 1
        self._depth += 1
        if self._count > MOST_ELEMENTS or self._depth > DEEPEST or len(attrs) > MOST_ATTRIBUTES:
            expected = f"at most {MOST_ELEMENTS} elements, {DEEPEST} deep, of {MOST_ATTRIBUTES} attributes"
            raise InputError(self._file, "the XML is too large", expected, "export fewer measurements")
        return super().start(tag, attrs)

    def end(self, tag: Any, /) -> Element:
        """Close an element."""
        self._depth -= 1
        return super().end(tag)


def parsed(data: bytes, file: str) -> Element:
    """The root of an XML document.

    Raises
    ------
    InputError
        If it is not well-formed, declares entities or a document type, or is too large.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import XMLParser

    if _LONG_TAG.search(data):
        raise InputError(file, "the XML is too large", f"tags of at most {LONGEST_TAG} characters", _AGAIN)
    parser = XMLParser(target=_Bounded(file), forbid_dtd=True)
    try:
        parser.feed(data)
        root: Element = parser.close()
    except ParseError as error:
        line, column = error.position
        what = str(error).partition(":")[0]
        raise InputError(f"{file}, line {line}, character {column + 1}", f"is not XML ({what})", mend=_AGAIN) from error
    except DefusedXmlException as error:
        found = "it declares a document type or entities, which tint does not read"
        raise InputError(file, found, "plain XML", _AGAIN) from error
    except (ValueError, LookupError) as error:
        raise InputError(file, f"its text cannot be decoded ({shown(str(error))})", "XML in UTF-8", _AGAIN) from error
    return root


_AGAIN = "export it again"


def local(element: Element) -> str:
    """The name of an element without its namespace."""
    return str(element.tag).rpartition("}")[2]


def every(root: Element, name: str) -> Iterator[Element]:
    """All elements of a local name, at any depth, in the order of the document."""
    return (each for each in root.iter() if local(each) == name)


def first(root: Element | None, *path: str) -> Element | None:
    """The first child of a child ... by local names; None where one is missing."""
    for name in path:
        root = None if root is None else next((each for each in root if local(each) == name), None)
    return root


def text_of(root: Element | None, *path: str) -> str:
    """The text of `first`, in one line; empty where it is missing."""
    element = first(root, *path)
    return " ".join((element.text or "").split()) if element is not None else ""


def needed_attribute(element: Element, name: str, where: str) -> str:
    """An attribute that must be there.

    Raises
    ------
    InputError
        If it is not.
    """
    value = element.get(name)
    if value is None or not value.strip():
        raise InputError(where, f"{quoted(local(element))} has no {name}", f"the attribute {name}")
    return value.strip()

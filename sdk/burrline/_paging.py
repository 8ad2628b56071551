"""Pages of a list: walked to the end by iterating, or one by one by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Generic, TypeVar

from burrline import errors
from burrline._convert import Fields, Reader, listed, text

T = TypeVar("T")


class Page(Generic[T]):
    """One page of a list.

    Iterating gives its items and goes on with the next pages until the list ends, asking for
    each when it is reached. ``items`` and ``next_cursor`` are this page's alone.
    """

    def __init__(
        self, items: tuple[T, ...], next_cursor: str | None, fetch: Callable[[str], Page[T]]
    ) -> None:
        self.items = items
        self.next_cursor = next_cursor
        self._fetch = fetch

    @classmethod
    def from_json(
        cls, answer: Mapping[str, Any], read: Reader[T], fetch: Callable[[str], Page[T]]
    ) -> Page[T]:
        fields = Fields(answer, "page")
        return cls(
            fields.need("items", listed(read)), fields.maybe("next_cursor", text) or None, fetch
        )

    def next_page(self) -> Page[T] | None:
        """The page after this one, None at the end."""
        return None if self.next_cursor is None else self._fetch(self.next_cursor)

    def __iter__(self) -> Iterator[T]:
        page: Page[T] | None = self
        seen = set[str]()
        while page is not None:
            yield from page.items
            if page.next_cursor in seen:
                raise errors.TransportError("the list does not end: a cursor came twice")
            if page.next_cursor is not None:
                seen.add(page.next_cursor)
            page = page.next_page()

    def __repr__(self) -> str:
        return f"Page({len(self.items)} items, next_cursor={self.next_cursor!r})"

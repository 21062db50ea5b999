"""Trade item numbers of the products: prefix 952 is GS1's own for demonstrations and examples."""

from __future__ import annotations

from datetime import timedelta

from demo.clock import FIRST_DAY, local
from demo.records.book import Book
from demo.records.recipes import ALL_LINES, other_products, product

PREFIX = "9521234"


def gtin(item: int) -> str:
    """A GTIN-13 with its check digit: weights 3 and 1 from the right, filled up to ten."""
    digits = f"{PREFIX}{item:05d}"
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(digits)))
    return digits + str(-total % 10)


def numbers(book: Book) -> None:
    """Each product gets its number on the first day."""
    at = local(FIRST_DAY, "06:00") + timedelta(minutes=30)
    every = [*(product(line) for line in ALL_LINES), *other_products()]
    for item, payload in enumerate(every, start=11):
        said = {"product": payload["product"], "gtin": gtin(item)}
        book.write("product.numbered", payload["product"], said, at, "ilo")

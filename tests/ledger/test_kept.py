"""What is worked out once per books."""

from __future__ import annotations

import gc
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier
from time import sleep
from weakref import ref

from millilot.ledger.directives import read_settings
from millilot.ledger.kept import once_per_books
from millilot.ledger.records import Books


def empty(currency: str = "USD") -> Books:
    settings, _ = read_settings([])
    return Books(currency, settings, {}, ())


def test_it_is_worked_out_once_for_each_books_and_argument() -> None:
    asked: list[tuple[str, int]] = []

    @once_per_books
    def work(books: Books, number: int = 0) -> object:
        asked.append((books.currency, number))
        return object()

    dollars, euros = empty(), empty("EUR")
    assert work(dollars) is work(dollars)
    assert work(dollars, 1) is work(dollars, 1)
    assert work(euros) is work(euros)
    assert work(dollars) is work(dollars, 0)
    assert work(dollars, 1) is work(dollars, number=1)
    assert asked == [("USD", 0), ("USD", 1), ("EUR", 0)]


def test_threads_that_ask_at_once_have_the_same_result() -> None:
    together = Barrier(4)

    @once_per_books
    def work(books: Books) -> object:
        sleep(0.01)
        return object()

    def ask(books: Books) -> object:
        together.wait()
        return work(books)

    with ThreadPoolExecutor(4) as threads:
        for _ in range(5):
            assert len(set(threads.map(ask, [empty_ := empty()] * 4))) == 1
            assert work(empty_) is work(empty_)


def test_each_function_keeps_its_own() -> None:
    @once_per_books
    def one(books: Books) -> str:
        return f"one {books.currency}"

    @once_per_books
    def two(books: Books) -> str:
        return f"two {books.currency}"

    books = empty()
    assert (one(books), two(books), one(books)) == ("one USD", "two USD", "one USD")


def test_books_that_were_changed_know_nothing_of_the_books_they_were_made_from() -> None:
    @once_per_books
    def currency(books: Books) -> str:
        return books.currency

    books = empty()
    assert currency(books) == "USD"
    assert currency(replace(books, currency="EUR")) == "EUR"


def test_what_is_kept_goes_with_the_books() -> None:
    @once_per_books
    def itself(books: Books) -> list[Books]:
        return [books]

    books = empty()
    gone = ref(books)
    itself(books)
    del books
    gc.collect()
    assert gone() is None


def test_what_is_kept_makes_no_books_differ() -> None:
    @once_per_books
    def nothing(books: Books) -> None:
        return None

    books = empty()
    nothing(books)
    assert books == replace(books)
    assert "kept" not in repr(books)

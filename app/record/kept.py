"""Results kept in memory because what they were computed from never changes: bounded, and safe between threads."""

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Kept(Generic[K, V]):
    """At most `most` values; the one that was not asked for longest goes first.

    A key names everything that the value follows from, content by its digest, so that it holds for any database.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: OrderedDict[K, V] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: K) -> V | None:
        with self._lock:
            found = self._values.get(key)
            if found is not None:
                self._values.move_to_end(key)
            return found

    def put(self, key: K, value: V) -> None:
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)

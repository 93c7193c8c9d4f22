"""A desk's own journal of drills, handed over to the one that all desks share: what was drilled
while the line was broken is there when it is back.

Each answer has a name, so none is there twice, however often it is brought; what was brought is
kept in the own journal, so that somebody who was taken out of the shared one since does not come
back. The shared one has the answers of a desk in their order, and of several as they came.
"""

from __future__ import annotations

import contextlib

from codec.drill.journal import DrillJournal
from codec.store.place import Place

_AT_ONCE = 100  # answers, or sounds of them, that are brought together


class HandingOver:
    """The own journal and the shared one; either is opened when there is something to bring, and
    the shared one is made where it is not there.
    """

    def __init__(self, own: Place, shared: Place) -> None:
        """Name both."""
        self._own, self._shared = own, shared
        self._stack = contextlib.ExitStack()
        self._mine: DrillJournal | None = None
        self._theirs: DrillJournal | None = None

    def step(self) -> int:
        """Bring what the shared journal lacks, where that was settled; return how much that was.
        Raises DrillError where the line breaks: nothing is lost, and the next step goes on.
        """
        count = 0
        if self._mine is None:
            if not DrillJournal.is_there(self._own):
                return 0
            self._mine = self._stack.enter_context(DrillJournal(self._own))
        if not self._mine.agreed(self._shared):
            return 0
        while some := self._mine.to_hand_over(_AT_ONCE):
            if self._theirs is None:
                shared = DrillJournal(self._shared, create=True)
                self._theirs = self._stack.enter_context(shared)
            self._theirs.take_over(some)
            self._mine.handed_over(some)
            count += len(some)
        return count

    def close(self) -> None:
        """Close both."""
        self._stack.close()

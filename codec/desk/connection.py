"""A connection that nobody can hold for nothing: who takes too long to ask, or to read what is
sent to them, is let go, so that all the others are served.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from typing import cast

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

ASKING = (
    15.0  # seconds in which a request must be there, from its first byte or from the connection
)
STUCK = 60.0  # seconds after which somebody who reads nothing is let go
_FILES = 16_384  # connections that a desk may have open, where the system lets it


class PatientConnection(H11Protocol):
    """A connection by HTTP/1.1 with limits of time on either side."""

    _asking: asyncio.TimerHandle | None = None
    _stuck: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Wait for the first request; what is answered leaves at once, and does not wait until its
        beginning was acknowledged, which takes tens of milliseconds ("Requirements for Internet
        Hosts", RFC 1122, 4.2.3.2 and 4.2.3.4).
        """
        super().connection_made(cast("asyncio.Transport", transport))
        transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what has come; what is not a whole request yet has some time to become one."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE:
            self._wait()
        else:
            self._asking = _stopped(self._asking)

    def _wait(self) -> None:
        if self._asking is None:
            self._asking = self.loop.call_later(ASKING, self._let_go)

    def _let_go(self) -> None:
        self.transport.abort()

    def pause_writing(self) -> None:
        """Wait for somebody who does not read."""
        super().pause_writing()
        self._stuck = self._stuck or self.loop.call_later(STUCK, self._let_go)

    def resume_writing(self) -> None:
        """They read again."""
        super().resume_writing()
        self._stuck = _stopped(self._stuck)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        super().connection_lost(exc)
        for timer in (self._asking, self._stuck):
            _stopped(timer)


def _stopped(timer: asyncio.TimerHandle | None) -> asyncio.TimerHandle | None:
    """Stop a timer, if it runs; return what stands for none."""
    if timer is not None:
        timer.cancel()
    return None


def many_connections() -> None:
    """Let this process have as many connections open as the system grants, up to what a desk
    needs.
    """
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = _FILES if hard == resource.RLIM_INFINITY else min(_FILES, hard)
        if soft != resource.RLIM_INFINITY and soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))

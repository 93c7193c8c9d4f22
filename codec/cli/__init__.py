"""The ``niner`` command.

Nothing is loaded here before ``main`` runs, so that Ctrl-C in the first moments, while the
command is still being loaded, ends it as quietly as later on.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import FrameType

INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it
_LATER = 0.01  # seconds


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    pressed: list[int] = []  # as often as Ctrl-C was
    try:
        code = _watched(argv, pressed)
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception:
        # a library that is interrupted may raise an error of its own, as Python does, up to 3.11,
        # while a class is made
        if pressed:
            return INTERRUPTED
        raise
    return INTERRUPTED if pressed and code else code


def _watched(argv: Sequence[str] | None, pressed: list[int]) -> int:
    import signal

    before, ours = signal.getsignal(signal.SIGINT), False

    def interrupted(number: int, frame: FrameType | None) -> None:
        """End the command, as soon as what is being loaded is loaded: what is interrupted there may
        pass the exception over, or break in a way of its own.
        """
        pressed.append(number)
        while frame is not None:
            if frame.f_code.co_filename.startswith("<frozen importlib"):
                import _thread

                _thread.start_new_thread(_again, (number, _thread.get_ident()))
                return
            frame = frame.f_back
        raise KeyboardInterrupt

    try:
        if before is signal.default_int_handler:
            try:
                signal.signal(signal.SIGINT, interrupted)
                ours = True
            except ValueError:  # not in the main thread, where no signal is heard of
                pass
        from codec.cli.command_line import run

        return run(argv)
    finally:
        if ours:
            signal.signal(signal.SIGINT, before)


def _again(number: int, thread: int) -> None:
    import _thread
    import signal
    import time

    time.sleep(_LATER)
    if hasattr(signal, "pthread_kill"):  # it wakes what sleeps, too
        signal.pthread_kill(thread, number)
    else:
        _thread.interrupt_main()

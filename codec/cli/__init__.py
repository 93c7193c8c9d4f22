"""The ``niner`` command.

Nothing is imported here before ``main`` runs, so that Ctrl-C in the first moments, while the
command is still being loaded, ends it as quietly as later on.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    try:
        from codec.cli.command_line import run

        return run(argv)
    except KeyboardInterrupt:
        return INTERRUPTED
    except RuntimeError as error:
        # what is raised while a class is made reaches us as the cause of this, up to Python 3.11
        if isinstance(error.__cause__, KeyboardInterrupt):
            return INTERRUPTED
        raise

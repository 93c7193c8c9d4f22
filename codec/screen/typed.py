"""The line that somebody types into a screen, as it is shown."""

from __future__ import annotations

import bisect

from prompt_toolkit.layout.processors import Processor, Transformation, TransformationInput

from grammar.errors import visible


class Visible(Processor):
    """Shows what is invisible in the line being typed, which may be pasted or brought back from the
    sheet; the line itself stays as it is.
    """

    def apply_transformation(self, transformation_input: TransformationInput) -> Transformation:
        """Return the fragments, and how places in the line and on the screen belong together."""
        starts, fragments, at = [0], list[tuple[str, str]](), 0
        for style, text, *_ in transformation_input.fragments:
            parts = [visible(character) for character in text]
            fragments.append((style, "".join(parts)))
            for part in parts:
                at += len(part)
                starts.append(at)
        last = len(starts) - 1
        return Transformation(
            list(fragments),
            source_to_display=lambda place: starts[min(place, last)] + max(0, place - last),
            display_to_source=lambda place: (
                bisect.bisect_right(starts, place) - 1 + max(0, place - at)
            ),
        )

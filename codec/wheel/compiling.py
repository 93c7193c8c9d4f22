"""A wheel file's names looked up, and its rules written out: what each touch means, state by state
as far as its places decide.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from codec.wheel.map import (
    MODE,
    ButtonSpec,
    CursorSpec,
    DoesSpec,
    RotarySpec,
    WheelMapSpec,
)
from codec.wheel.wheel import Place, Touch, TouchMeaning, Wheel
from grammar.errors import Keys, Problem
from grammar.problems import nearest

_ONLY = "on"  # the name of the mode where the file gives none
_WAYS = {
    "rotary": ("up", "down"),
    "encoder": ("up", "down"),
    "paddles": ("right", "left"),
}
LONG = "long"  # what a press held is called behind its button


def compiled_wheel(spec: WheelMapSpec, name: str, note: Callable[[Problem], None]) -> Wheel:
    """Return the wheel of a file; what does not fit is noted, and left out of it."""
    return _Compiling(spec, note).wheel(name)


class _Compiling:
    def __init__(self, spec: WheelMapSpec, note: Callable[[Problem], None]) -> None:
        self._spec, self._note = spec, note
        self._modes = list(spec.modes) or [_ONLY]
        self._places = [self._mode_place(), *self._other_places()]
        self._numbers = {place.name: number for number, place in enumerate(self._places)}
        self._touches = list(self._all_touches())

    def wheel(self, name: str) -> Wheel:
        spec = self._spec
        alone: dict[int, tuple[float, int]] = {}
        for number, (mode, one) in enumerate(spec.modes.items()):
            for place, shown in enumerate(one.shows):
                self._known(("modes", mode, "shows", place), "setting", shown, spec.settings)
            if one.left_alone is not None and one.then:
                keys = ("modes", mode, "then")
                if self._known(keys, "mode", one.then, spec.modes):
                    alone[number] = (float(one.left_alone), self._modes.index(one.then))
        meanings: list[list[TouchMeaning]] = [[] for _ in self._touches]
        for number, rule in enumerate(spec.does):
            for touch, meaning in self._written_out(number, rule):
                meanings[touch].append(meaning)
        drafts = frozenset(self._modes.index(mode) for mode, one in spec.modes.items() if one.draft)
        wheel = Wheel(
            spec,
            name,
            tuple(self._places),
            tuple(self._touches),
            tuple(map(tuple, meanings)),
            alone,
            drafts,
        )
        self._time_outs(wheel)
        self._designed()
        return wheel

    def _designed(self) -> None:
        """Note what is told of changes, and of what stays, of settings that there are not."""
        spec = self._spec
        for number, change in enumerate(spec.changes):
            for place, name in enumerate(change.settings):
                keys: Keys = ("changes", number, "settings", place)
                if name in change.settings[:place]:
                    self._note(Problem(keys, f"{name!r} stands twice", "name it once"))
                self._known(keys, "setting", name, spec.settings)
        for key, names in (("stays", spec.design.stays), ("at_once", spec.design.at_once)):
            for place, name in enumerate(names):
                self._known(("design", key, place), "setting", name, spec.settings)

    def _known(self, keys: Keys, what: str, name: str, known: Iterable[str]) -> bool:
        """Tell whether a name is known, noting where not."""
        names = list(known)
        if name in names:
            return True
        hint = nearest(name, names, f"there are: {', '.join(names[:12]) or 'none'}")
        section = {"mode": "modes", "setting": "settings", "cursor": "cursors"}.get(what, "")
        rests = [(section, name)] if section else [("controls", name), ("cursors", name)]
        self._note(Problem(keys, f"there is no {what} {name!r}", hint, rests_on=rests))
        return False

    # what there is

    def _mode_place(self) -> Place:
        start = self._spec.start
        if start and not self._known(("start",), "mode", start, self._modes):
            start = ""
        return Place(MODE, "mode", tuple(self._modes), self._modes.index(start) if start else 0)

    def _other_places(self) -> Iterator[Place]:
        for name, control in self._spec.controls.items():
            if isinstance(control, RotarySpec):
                start = self._start(("controls", name), control, control.positions)
                yield Place(name, "rotary", tuple(control.positions), start, control.wraps)
        for name, cursor in self._spec.cursors.items():
            start = self._start(("cursors", name), cursor, cursor.items)
            items = tuple(cursor.items)
            yield Place(name, "cursor", items, start, cursor.wraps, cursor.remembers)

    def _start(self, keys: Keys, of: RotarySpec | CursorSpec, names: list[str]) -> int:
        twice = next((name for n, name in enumerate(names) if name in names[:n]), None)
        if twice is not None:
            part = "positions" if isinstance(of, RotarySpec) else "items"
            self._note(Problem((*keys, part), f"{twice!r} stands twice", "give each its own name"))
        if not of.start or not self._known((*keys, "start"), "position", of.start, names):
            return 0
        return names.index(of.start)

    def _all_touches(self) -> Iterator[Touch]:
        for name, control in self._spec.controls.items():
            seconds = float(control.seconds)
            if isinstance(control, ButtonSpec):
                yield Touch(name, name, 0, seconds)
                if control.long is not None:
                    yield Touch(f"{name} {LONG}", name, 0, float(control.long))
                continue
            rotary = self._numbers.get(name, -1)
            for way, word in zip((1, -1), _WAYS[control.kind], strict=True):
                yield Touch(f"{name} {word}", name, way, seconds, rotary)

    # what touches mean

    def _written_out(self, number: int, rule: DoesSpec) -> Iterator[tuple[int, TouchMeaning]]:
        """Yield the touches of a rule, and what it makes of each."""
        keys: Keys = ("does", number)
        touches = self._touches_of((*keys, "touch"), rule.touch)
        when = self._when(keys, rule)
        meaning = self._effect(keys, number, rule)
        if when is None or meaning is None:
            return
        for chosen in self._chosen(keys, rule, when, meaning):
            for touch, sign in touches:
                yield touch, replace(chosen, by=chosen.by * sign)

    def _touches_of(self, keys: Keys, text: str) -> list[tuple[int, int]]:
        names = [touch.name for touch in self._touches]
        if text in names:
            return [(names.index(text), 1)]
        both = [
            (number, touch.way)
            for number, touch in enumerate(self._touches)
            if touch.control == text
        ]
        if both:
            return both
        control = self._spec.controls.get(text.rpartition(" ")[0])
        if isinstance(control, ButtonSpec) and text.endswith(f" {LONG}"):
            hint = "give the button `long`, the seconds of a long press"
        else:
            hint = nearest(
                text, [*names, *self._spec.controls], f"there are: {', '.join(names[:12])}"
            )
        rests = [("controls", text), ("controls", text.rpartition(" ")[0])]
        self._note(Problem(keys, f"there is no touch {text!r}", hint, rests_on=rests))
        return []

    def _when(self, keys: Keys, rule: DoesSpec) -> dict[int, frozenset[int]] | None:
        found: dict[int, frozenset[int]] = {}
        sound = True
        for name, wanted in rule.when.items():
            here = (*keys, "when", name)
            if not self._known(here, "mode, rotary or cursor", name, self._numbers):
                sound = False
                continue
            place = self._places[self._numbers[name]]
            values = [wanted] if isinstance(wanted, str) else wanted
            what = "mode" if name == MODE else "position"
            known = [one for one in values if self._known(here, what, one, place.values)]
            sound = sound and len(known) == len(values) > 0
            if not values:
                hint = "name one or more"
                self._note(Problem(here, "of no position it holds in none", hint))
            found[self._numbers[name]] = frozenset(map(place.values.index, known))
        return found if sound else None

    def _effect(self, keys: Keys, number: int, rule: DoesSpec) -> TouchMeaning | None:
        """Return what a rule does, without when; None where a name in it is unknown."""
        spec, sound, cursor, mode, to = self._spec, True, -1, -1, None
        if rule.steps:
            sound = self._known((*keys, "steps"), "setting", rule.steps, spec.settings)
        if rule.moves:
            sound = self._known((*keys, "moves"), "cursor", rule.moves, spec.cursors) and sound
            cursor = self._numbers[rule.moves] if rule.moves in spec.cursors else -1
        if rule.goes:
            sound = self._known((*keys, "goes"), "mode", rule.goes, self._modes) and sound
            mode = self._modes.index(rule.goes) if rule.goes in self._modes else -1
        if rule.to is not None and rule.steps in spec.settings:
            one = spec.settings[rule.steps]
            if not one.low <= rule.to <= one.high or (rule.to - one.low) % one.step:
                message = f"{rule.steps} has no position {rule.to}"
                hint = f"it has {one.low} … {one.high}"
                self._note(Problem((*keys, "to"), message, hint))
                return None
            to = (rule.to - one.low) // one.step
        effect = TouchMeaning(
            (), number, rule.steps, rule.by, to, cursor, mode, rule.confirms, rule.acts
        )
        return effect if sound else None

    def _chosen(
        self, keys: Keys, rule: DoesSpec, when: dict[int, frozenset[int]], meaning: TouchMeaning
    ) -> Iterator[TouchMeaning]:
        """Yield the meaning for each setting that may be chosen; the one it has where none may."""
        if not rule.chosen_by:
            yield replace(meaning, when=tuple(sorted(when.items())))
            return
        here = (*keys, "chosen_by")
        if not self._known(here, "rotary or cursor", rule.chosen_by, list(self._numbers)[1:]):
            return
        number = self._numbers[rule.chosen_by]
        place = self._places[number]
        allowed = when.get(number, frozenset(range(len(place.values))))
        for at in sorted(allowed):
            name, settings = place.values[at], self._spec.settings
            if name not in settings:
                hint = nearest(name, settings, "leave it out with `when`, or add the setting")
                message = f"{rule.chosen_by} stands at {name!r}, which is no setting"
                rests = [("settings", name)]
                self._note(Problem(here, message, hint, rests_on=rests))
                continue
            to = meaning.to
            if rule.to is not None:
                to = (rule.to - settings[name].low) // settings[name].step
                if not 0 <= to < settings[name].count:
                    message = f"{name} has no position {rule.to}"
                    self._note(Problem((*keys, "to"), message, "write its rule out"))
                    continue
            narrowed = {**when, number: frozenset((at,))}
            yield replace(meaning, when=tuple(sorted(narrowed.items())), setting=name, to=to)

    def _time_outs(self, wheel: Wheel) -> None:
        """Note modes that are left before a touch that has a meaning in them is made."""
        for mode, (seconds, _) in wheel.alone.items():
            for touch, meanings in zip(wheel.touches, wheel.meanings, strict=True):
                control = self._spec.controls[touch.control]
                takes = touch.seconds + float(control.find)
                meant = any(
                    all(place or mode in allowed for place, allowed in one.when)
                    and any(not place for place, _ in one.when)
                    for one in meanings
                )
                if meant and takes > seconds:
                    name = wheel.places[0].values[mode]
                    message = f"{touch.name!r} takes {takes:g} s, and the mode is left by then"
                    hint = "make it longer, or the touch quicker"
                    self._note(Problem(("modes", name, "left_alone"), message, hint))
                    break

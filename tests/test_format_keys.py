"""Every key of every file format is explained, in the words of the models themselves."""

from __future__ import annotations

import pytest
from format_keys import bases, filled, key_table, marked, models
from pydantic import BaseModel, Field
from readme import ROOT

FILES = ROOT / "examples" / "files.md"


def test_the_tables_of_keys_are_what_the_models_say() -> None:
    text = FILES.read_text("utf-8")
    assert filled(text) == text, "python tests/readme.py writes them anew"


def test_every_key_of_every_format_is_explained() -> None:
    every = {base.__name__ for model in models().values() for base in bases(model)}
    assert marked(FILES.read_text("utf-8")) == every


def test_a_key_is_told_with_what_it_takes_its_default_and_its_meaning() -> None:
    class Tyre(BaseModel):
        names: list[str] = Field(min_length=1, max_length=4, description="All of them.")
        pressure: float | None = Field(None, gt=0, lt=3, description="In bar; a | b.")
        turns: bool = Field(True, description="Whether it turns.")

    assert key_table(Tyre)[3:] == [
        "| --- | --- | --- | --- |",
        "| `names` | a list of texts, at most 4 entries | needed | All of them. |",
        "| `pressure` | a number, above 0, below 3 | – | In bar; a \\| b. |",
        "| `turns` | `true` or `false` | `true` | Whether it turns. |",
    ]


def test_a_key_without_words_is_refused() -> None:
    class Tyre(BaseModel):
        pressure: float

    with pytest.raises(ValueError, match=r"Tyre\.pressure has no description"):
        key_table(Tyre)


def test_an_old_table_is_written_anew() -> None:
    old = "a\n<!-- keys: SpeechSpec -->\nold\n<!-- end -->\nb\n"
    new = filled(old)
    assert "`run_together`" in new
    assert "old" not in new
    assert filled(new) == new
    with pytest.raises(KeyError):
        filled(old.replace("SpeechSpec", "Nothing"))

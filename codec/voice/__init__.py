"""Radio recordings to what was said in them, with every doubt, by an acoustic model of our own.

recording → gate → features → acoustic model → search over the book's words → slots and score

from codec.voice.listening import listen
for transmission in listen(book, "radio.wav"): ...
"""

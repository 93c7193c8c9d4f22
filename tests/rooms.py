"""The rooms of the house, in order."""

# Every room, a folder or a file, may import those before it.
_IN_ORDER = """
    grammar
    grammar.kept grammar.data grammar.errors grammar.problems grammar.declared grammar.exact
    grammar.libraries grammar.garbage grammar.document grammar.inspection
    grammar.sound grammar.display grammar.colours
    grammar.fields grammar.symbols grammar.hearing grammar.speech
    grammar.codes
    grammar.semirings grammar.layout grammar.message grammar.automaton grammar.paths grammar.proof
    grammar.dash
    grammar.profile
    grammar.models grammar.book grammar.partial_book grammar.binding grammar.parsing
    grammar.compiled grammar.loading
    grammar.reading_sets grammar.figures grammar.difference grammar.design grammar.export
    codec.files codec.key_file codec.lap_report codec.reading codec.refusal codec.ways
    codec.decoding codec.encoding codec
    codec.hear codec.profile
    codec.store codec.sheet codec.radio codec.voice codec.wheel codec.race codec.log
    codec.drill codec.debrief codec.season codec.views
    codec.screen codec.desk codec.cli
"""
LAYERS = _IN_ORDER.split()

"""Finding: which bits of which frames carry what, worked out from traces.

Pure functions over `heard.Heard` (columns of numpy, one `Stream` for each id) that return `found.Answer`: ranked
candidates with how sure they are, what speaks for them, and what another recording would have to show. Whatever reads
files or draws is an edge: `reading` and `picture`.

Bits of a payload are numbered here as ``8 * byte + bit``, bit 0 being the least significant of its byte; a found place
is handed on as `contract.layout.Bits`.
"""

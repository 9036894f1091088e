"""The evidence file: a PDF for reading and a bundle that anyone can check without this program.

In: a store, the practice file and rules beside it, a stretch of days. Out: a folder, written whole or not at all. All judgements come from
`standing` and `science`; what is here gathers, counts, words and writes them. It reads no clock: the same book and stretch give the same
bytes, because the document is dated by the newest entry that it rests on.
"""

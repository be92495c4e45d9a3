"""From a file nobody has described to a profile: what its columns are, by their headings and by their values.

The parts go one way: `sheet` reads the file into cells, `marks` and `days` find how numbers and dates are
written, `evidence` says what each column holds, `headings` and `words` know the words of bookkeeping in six
languages, `sums` finds which columns add up to which, `orders`, `ledger` and `statement` make the profile of a
shape from it, `write` writes it down, and `proposing` joins them and tries the result.

No channel is known by name. A thing that two pieces of evidence contradict is said, not settled.
"""

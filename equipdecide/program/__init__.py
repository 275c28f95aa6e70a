"""Columns as straight-line work on a block of trials: every formula's text, read once more.

The idea, from the text to the arrays:

- `graph`: columns are taken in in the order they were made. Each operation of their formulas becomes one value; equal
  operations on equal values are one value, however many alternatives have them; what rests on no doubtful input is a
  figure, worked out once (`values`).
- `sums`: what is linear in other values stays a sum of figures' matrices times them for as long as that is less work
  than its
  rows. 120 months that rest on ten yearly values are a matrix of 120 by ten; their yearly sums, present worth and
  running total change the matrix alone. Only what bends (a larger of two, a rounding, a carry-forward) needs the rows.
- `operations`: each in the way of least work, by estimated times written in `kernels`: rows that are equal in every
  trial
  once, of the months that may be the lowest those alone that can be, no power or exponential where a product does.
- `kernels`, `mixing`, `carried`: an operation is laid out as calls of numpy on arrays and rows of arrays made
  beforehand.
- `block`: what the wanted values rest on gets places in memory, used again as soon as a value has had its last reader.

Structure rests on figures alone, never on the values of trials. The same sums are added in another order than in the
columns' own evaluators: figures agree to about 1e-12 of their size. A value that is not finite makes sums of its rows
not finite. A value has shape (rows, trials), or (rows, 1) where it is a figure.
"""

from equipdecide.program.block import Program
from equipdecide.program.graph import Graph

__all__ = ["Graph", "Program"]

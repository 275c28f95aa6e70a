"""The fifteen questions: their blanks, how a line of an answer is read, and the dialogue that asks them."""

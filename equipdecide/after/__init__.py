"""What follows the decision: the record that is signed, the dated list of what to do, and the look back."""
